package house

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/words"
)

// Planning is what the day plan reckons with beside the times that stand elsewhere. A field at zero is the house
// default, which [Plan.Filled] puts in. All are common practice, no source, or invented.
type Planning struct {
	Opens    string  `json:"opens,omitempty" toml:"opens" comment:"work begins; '' for 08:00"`
	Closes   string  `json:"closes,omitempty" toml:"closes" comment:"work ends; '' for 17:00"`
	Overtime string  `json:"overtime_until,omitempty" toml:"overtime_until" comment:"latest work, for what is due that day and a planned load; '' for an hour after closing"`
	Lunch    string  `json:"lunch,omitempty" toml:"lunch" comment:"the break, taken at the first moment without live dough; '' for 12:00"`
	LunchS   int     `json:"lunch_s,omitempty" toml:"lunch_s" comment:"its length; 0 for 30 min"`
	Days     string  `json:"days,omitempty" toml:"days" comment:"days on which somebody works; '' for 'Mon Tue Wed Thu Fri'"`
	Day      string  `json:"day_programme,omitempty" toml:"day_programme" comment:"the programme of loads by day, one of the programmes above or below: see the resin maker's cycle.\n'': the longest of the house's of at most 4 h; 'none': no loads by day"`
	Night    string  `json:"night_programme,omitempty" toml:"night_programme" comment:"the programme of loads overnight; '': the first of the house's"`
	Places   int     `json:"bath_places,omitempty" toml:"bath_places" comment:"flasks in a bath at once; 0 for 6"`
	CoatS    int     `json:"coat_s,omitempty" toml:"coat_s" comment:"separator on both halves of a flask; 0 for 5 min"`
	BathInS  int     `json:"bath_in_s,omitempty" toml:"bath_in_s" comment:"a load put in; 0 for 5 min"`
	BathOutS int     `json:"bath_out_s,omitempty" toml:"bath_out_s" comment:"a load taken out; 0 for 5 min"`
	FinishS  int     `json:"finish_s,omitempty" toml:"finish_s" comment:"from deflasking to finished, one base; 0 for 45 min"`
	CleanS   int     `json:"clean_s,omitempty" toml:"clean_s" comment:"a mould cleaned whose dough was lost; 0 for 20 min"`
	Rush     float64 `json:"rush_weight,omitempty" toml:"rush_weight" comment:"how much more a rush case counts; 0 for 2"`
	Late     float64 `json:"cost_late,omitempty" toml:"cost_late" comment:"points (house values, invented) for a case that is late; 0 for 10"`
	LateHour float64 `json:"cost_late_hour,omitempty" toml:"cost_late_hour" comment:"for each hour it is late; 0 for 1"`
	Lost     float64 `json:"cost_lost_dough,omitempty" toml:"cost_lost_dough" comment:"for a flask whose dough is lost; 0 for 3"`
	OverHour float64 `json:"cost_overtime_hour,omitempty" toml:"cost_overtime_hour" comment:"for an hour of overtime; 0 for 3"`
	PerMix   float64 `json:"cost_mix,omitempty" toml:"cost_mix" comment:"for a mix; 0 for 0.5"`
	ByDay    float64 `json:"cost_day_programme,omitempty" toml:"cost_day_programme" comment:"for a flask in the day programme; 0 for 0.1"`
}

// NoDayLoads as the day programme says that the house has no loads by day.
const NoDayLoads = "none"

// longestByDay bounds the programme taken for loads by day where none is named.
const longestByDay = 4 * 3600

// Filled is the plan's settings with the house defaults put in.
func (p Planning) Filled() Planning {
	p.Opens, p.Closes, p.Lunch = cmp.Or(p.Opens, "08:00"), cmp.Or(p.Closes, "17:00"), cmp.Or(p.Lunch, "12:00")
	if p.Overtime == "" {
		p.Overtime = words.HourOf(min(24*60-1, minuteOf(p.Closes)+60))
	}
	p.LunchS = cmp.Or(p.LunchS, 1800)
	p.Days = cmp.Or(p.Days, "Mon Tue Wed Thu Fri")
	p.Places = cmp.Or(p.Places, 6)
	p.CoatS, p.BathInS, p.BathOutS = cmp.Or(p.CoatS, 300), cmp.Or(p.BathInS, 300), cmp.Or(p.BathOutS, 300)
	p.FinishS, p.CleanS = cmp.Or(p.FinishS, 2700), cmp.Or(p.CleanS, 1200)
	p.Rush, p.Late, p.LateHour, p.Lost = cmp.Or(p.Rush, 2), cmp.Or(p.Late, 10), cmp.Or(p.LateHour, 1), cmp.Or(p.Lost, 3)
	p.OverHour, p.PerMix, p.ByDay = cmp.Or(p.OverHour, 3), cmp.Or(p.PerMix, .5), cmp.Or(p.ByDay, .1)
	return p
}

// minuteOf is an hour of the day in minutes, -1 where it is none.
func minuteOf(s string) int {
	t, err := time.Parse(hourMinute, s)
	if err != nil {
		return -1
	}
	return t.Hour()*60 + t.Minute()
}

// MinuteOf is an hour as "08:30" in minutes from midnight; ok is false where it is none.
func MinuteOf(s string) (min int, ok bool) { min = minuteOf(s); return min, min >= 0 }

// weekdays by the names that the settings use.
var weekdays = map[string]time.Weekday{"Mon": time.Monday, "Tue": time.Tuesday, "Wed": time.Wednesday, "Thu": time.Thursday,
	"Fri": time.Friday, "Sat": time.Saturday, "Sun": time.Sunday}

// Works tells whether somebody works on a day of the week.
func (p Planning) Works(d time.Weekday) bool {
	for _, name := range strings.Fields(p.Filled().Days) {
		if weekdays[name] == d {
			return true
		}
	}
	return false
}

// DayProgramme is the programme of loads by day; ok is false where the house has none.
func (h House) DayProgramme() (p Programme, ok bool) {
	switch h.Plan.Day {
	case NoDayLoads:
		return Programme{}, false
	case "":
		for _, x := range h.Programmes {
			if n := LengthS(x.Stages); n <= longestByDay && n > LengthS(p.Stages) {
				p, ok = x, true
			}
		}
		return p, ok
	}
	return h.Programme(h.Plan.Day)
}

// NightProgramme is the programme of loads overnight.
func (h House) NightProgramme() Programme {
	if p, ok := h.Programme(h.Plan.Night); ok {
		return p
	}
	return h.Programmes[0]
}

// valid says what is wrong with the plan's settings; programmes are those of the house.
func (p Planning) valid(programmes []Programme) error {
	for _, x := range []struct{ name, v string }{{"opens", p.Opens}, {"closes", p.Closes}, {"overtime_until", p.Overtime}, {"lunch", p.Lunch}} {
		if x.v != "" && minuteOf(x.v) < 0 {
			return fmt.Errorf("settings: plan.%s must be an hour of the day, as in 08:30, or empty, not %s", x.name, words.Quoted(x.v))
		}
	}
	f := p.Filled()
	if minuteOf(f.Closes) < minuteOf(f.Opens)+30 {
		return fmt.Errorf("settings: plan.closes is %s: it must be at least half an hour after plan.opens, %s", f.Closes, f.Opens)
	}
	if minuteOf(f.Overtime) < minuteOf(f.Closes) {
		return fmt.Errorf("settings: plan.overtime_until is %s, before plan.closes, %s", f.Overtime, f.Closes)
	}
	for _, d := range strings.Fields(p.Days) {
		if _, ok := weekdays[d]; !ok {
			return fmt.Errorf("settings: plan.days names Mon Tue Wed Thu Fri Sat Sun, separated by blanks, not %s", words.Quoted(d))
		}
	}
	if p.Days != "" && strings.TrimSpace(p.Days) == "" {
		return fmt.Errorf("settings: plan.days names no day: give Mon Tue Wed Thu Fri, or leave it empty")
	}
	for _, x := range []struct{ name, v string }{{"day_programme", p.Day}, {"night_programme", p.Night}} {
		known := slices.ContainsFunc(programmes, func(q Programme) bool { return q.Name == x.v })
		if x.v != "" && !known && (x.name != "day_programme" || x.v != NoDayLoads) {
			return fmt.Errorf("settings: plan.%s is %s: the house has no programme of that name", x.name, words.Quoted(x.v))
		}
	}
	for _, x := range []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"lunch_s", float64(p.LunchS), 0, 4 * 3600}, {"bath_places", float64(p.Places), 0, 40},
		{"coat_s", float64(p.CoatS), 0, 7200}, {"bath_in_s", float64(p.BathInS), 0, 7200}, {"bath_out_s", float64(p.BathOutS), 0, 7200},
		{"finish_s", float64(p.FinishS), 0, 12 * 3600}, {"clean_s", float64(p.CleanS), 0, 12 * 3600},
		{"rush_weight", p.Rush, 0, 100}, {"cost_late", p.Late, 0, 1000}, {"cost_late_hour", p.LateHour, 0, 1000},
		{"cost_lost_dough", p.Lost, 0, 1000}, {"cost_overtime_hour", p.OverHour, 0, 1000}, {"cost_mix", p.PerMix, 0, 1000},
		{"cost_day_programme", p.ByDay, 0, 1000},
	} {
		if !(x.v >= x.lo && x.v <= x.hi) {
			return fmt.Errorf("settings: plan.%s must be %g to %g, not %g", x.name, x.lo, x.hi, x.v)
		}
	}
	return nil
}
