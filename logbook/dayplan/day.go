package dayplan

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/house"
	"flaskside/logbook/words"
	"flaskside/timers/each"
	"flaskside/timers/plan"
)

// Question is what a day plan is asked for.
type Question struct {
	House    house.House
	RoomC    float64
	Now      time.Time // the plan begins here; its place gives the hours
	Entries  []Entry
	People   int                  // pairs of hands; 0: of the house
	Presses  int                  // 0: of the house
	Hours    [2]string            // from and to, today; "": of the house
	Down     []string             // baths that cannot be used, by name
	Busy     map[string]time.Time // when the load in a bath now is over, by name
	Choice   Choice               // of a person
	Seed     uint64
	Progress func(float64)
	First    func(*Day) // told of a plan made at once, before all others are tried; it may be nil

	Left        int  // cases that one plan has no room for
	noPress     bool // every press is out of use
	Draws, Days int  // simulated; 0 as package plan has them
}

// Day is a plan with all that is told of it.
type Day struct {
	Question Question
	Entries  []Entry // by due time; Made.Cases are these
	Made     plan.Made
	Soonest  []time.Time // by case: when it could be finished at the soonest
	Baths    []string    // those that can be used
	ByDay    string      // programme of loads by day, "" for none
	Night    string      // programme overnight
	Notes    []string    // what somebody has to know of the plan
	midnight time.Time
}

// daysAhead is how far the days off are looked up.
const daysAhead = 21

// Make plans a day. Errors: cases told twice, settings or hours that cannot be, no bath left, and ctx's error when that
// is done.
func (q Question) Make(ctx context.Context) (*Day, error) {
	d, h, cases, err := q.open()
	if err != nil {
		return nil, err
	}
	o := plan.SearchOptions{Seed: q.Seed, Draws: q.Draws, Days: q.Days, Progress: q.Progress, Wish: d.wish(cases)}
	if q.First != nil {
		o.First = func(m plan.Made) { q.First(d.with(m)) }
	}
	made, err := plan.Make(ctx, h, cases, o)
	if err != nil {
		return nil, err
	}
	return d.with(made), nil
}

// open brings a question to the planner.
func (q Question) open() (d *Day, h plan.Lab, cases []plan.Case, err error) {
	d = &Day{Question: q, Entries: slices.Clone(q.Entries)}
	if c := twice(q.Entries); c != "" {
		return nil, h, nil, fmt.Errorf("case %s is given twice: give each base once, with upper or lower behind the number where one case has both", c)
	}
	slices.SortStableFunc(d.Entries, byDue)
	y, m, day := q.Now.Date()
	d.midnight = time.Date(y, m, day, 0, 0, 0, 0, q.Now.Location())
	if h, err = d.house(); err != nil {
		return nil, h, nil, err
	}
	cases = d.cases(&h)
	for _, c := range cases {
		d.Soonest = append(d.Soonest, d.instant(plan.Soonest(h, c)))
	}
	return d, h, cases, nil
}

// with is the day with a plan and what has to be known of it.
func (d *Day) with(m plan.Made) *Day {
	out := *d
	out.Made, out.Notes = m, slices.Clone(d.Notes)
	out.note()
	return &out
}

// house is the house of the day, with what was asked otherwise.
func (d *Day) house() (plan.Lab, error) {
	q := &d.Question
	hours := q.Hours != [2]string{}
	set := q.House
	h, err := houseOf(set, q.RoomC)
	if err != nil {
		return h, err
	}
	open := h.Hours // of the first day
	if hours {
		p := set.Plan
		p.Opens, p.Closes, p.Overtime = q.Hours[0], q.Hours[1], ""
		open = hoursOf(p)
		if open.ClosesMin < open.OpensMin+30 {
			return h, fmt.Errorf("hours %s-%s: they end less than half an hour after they begin", q.Hours[0], q.Hours[1])
		}
		if d.minutes(q.Now) < open.ClosesMin {
			h.FirstDay = &open
		}
	}
	now, live := d.minutes(q.Now), d.live()
	if live && now < open.OpensMin { // somebody is there, for dough is worked
		open.OpensMin = now
		h.FirstDay = &open
	}
	h.Hands, h.Presses = cmp.Or(q.People, h.Hands), cmp.Or(q.Presses, h.Presses)
	for _, name := range q.Down {
		if !slices.ContainsFunc(set.Baths, func(b house.Bath) bool { return b.Name == name }) {
			names := each.Of(set.Baths, func(b house.Bath) string { return b.Name })
			return h, fmt.Errorf("the settings have no bath %q, but %s", words.Clip(name, 40), strings.Join(names, ", "))
		}
	}
	for _, b := range set.Baths {
		if slices.Contains(q.Down, b.Name) {
			continue
		}
		d.Baths = append(d.Baths, b.Name)
		free := 0.
		if t, ok := q.Busy[b.Name]; ok {
			free = d.minutes(t)
		}
		h.BathFreeMin = append(h.BathFreeMin, free)
	}
	if h.Baths = len(d.Baths); h.Baths == 0 {
		return h, fmt.Errorf("no bath is left to plan with")
	}
	if p, ok := set.DayProgramme(); ok {
		d.ByDay = p.Name
	}
	d.Night = set.NightProgramme().Name
	for k := range daysAhead {
		works := set.Plan.Works(d.midnight.AddDate(0, 0, k).Weekday()) || k == 0 && (hours || live)
		h.Off = append(h.Off, !works || k == 0 && now >= open.ClosesMin && !live)
	}
	h.StartMin = min(max(now, open.OpensMin), open.ClosesMin)
	if live {
		h.StartMin = now
	}
	return h, h.Check()
}

// minutes are those from midnight of the first day, by the clock on the wall.
func (d *Day) minutes(t time.Time) float64 {
	t = t.In(d.midnight.Location())
	y, m, day := t.Date()
	utc := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }
	days := utc(y, m, day).Sub(utc(d.midnight.Date())).Hours() / 24
	return days*plan.Day + float64(t.Hour()*60+t.Minute()) + float64(t.Second())/60
}

// instant is the instant of a minute, to the minute.
func (d *Day) instant(min float64) time.Time {
	y, m, day := d.midnight.Date()
	return time.Date(y, m, day, 0, int(math.Round(min)), 0, 0, d.midnight.Location())
}

// noDueMin is when a flask is due whose case was never taken in: late enough to be late for nobody.
const noDueMin = 399 * plan.Day

// cases brings the entries to the planner, and the dough of each resin with them.
func (d *Day) cases(h *plan.Lab) []plan.Case {
	weight := d.Question.House.Plan.Filled().Rush
	doughs := h.Doughs
	h.Doughs = nil
	var labels, unknown []string
	var out []plan.Case
	mixes := map[int]int{}
	for _, e := range d.Entries {
		label := strings.ToLower(e.Resin)
		k := slices.Index(labels, label)
		if k < 0 {
			k = len(labels)
			labels = append(labels, label)
			i := d.resinOf(label)
			if i < 0 {
				unknown, i = append(unknown, e.Resin), 0
			}
			h.Doughs = append(h.Doughs, doughs[i])
		}
		id := fnv.New64a()
		id.Write([]byte(e.Case))
		c := plan.Case{Key: id.Sum64(), Size: e.Size, Resin: k, DueMin: noDueMin, Weight: 1, Begun: d.begun(e.Work, mixes)}
		if !e.Due.IsZero() {
			c.DueMin = max(-29*plan.Day, min(noDueMin-plan.Day, d.minutes(e.Due)))
		}
		if e.Rush {
			c.Weight = weight
		}
		if c.Begun == nil {
			c.Prep = e.Prep
		}
		if !e.From.IsZero() {
			c.FromMin = max(0, min(29*plan.Day, d.minutes(e.From)))
		}
		out = append(out, c)
	}
	if len(unknown) > 0 {
		d.Notes = append(d.Notes, fmt.Sprintf("the settings have no resin called %s: planned with the times of %s", words.List(unknown), d.Question.House.Resins[0].Name))
	}
	return out
}

// resinOf is the resin of the house that a label means: its name, or its name with a shade behind it; -1 for none.
func (d *Day) resinOf(label string) int {
	best, length := -1, 0
	for i, r := range d.Question.House.Resins {
		name := strings.ToLower(r.Name)
		if (label == name || strings.HasPrefix(label, name+" ")) && len(name) > length {
			best, length = i, len(name)
		}
	}
	return best
}

// note gathers what somebody has to know of the plan beside it.
func (d *Day) note() {
	if today := d.today(); today > 0 {
		why := "nobody works today (plan.days in the settings)"
		if d.Question.House.Plan.Works(d.midnight.Weekday()) {
			why = "work is over for today"
		}
		d.Notes = append(d.Notes, fmt.Sprintf("%s: planned from %s on", why, d.say(float64(today)*plan.Day+d.open().OpensMin)))
	}
	if n := d.Question.Left; n > 0 {
		d.Notes = append(d.Notes, fmt.Sprintf("%s in no plan: one has room for %d, those due first", words.Count(n, "more case is", "more cases are"), plan.MaxCases))
	}
	if d.Question.noPress {
		d.Notes = append(d.Notes, "every press is out of use: planned as if one were there again")
	}
	if slices.ContainsFunc(d.Entries, func(e Entry) bool { return !e.From.IsZero() || len(e.Prep) > 0 }) {
		d.Notes = append(d.Notes, "some moulds are not ready yet: planned with the hands and the time that the steps before the separator take (hands_s and aim_s of their route)")
	}
	d.Notes = append(d.Notes, d.workNotes()...)
	if d.ByDay == "" {
		d.Notes = append(d.Notes, "the house has no programme of at most 4 h for loads by day: all go overnight (plan.day_programme in the settings)")
	}
	if most := d.Question.House.BenchSet.MaxS; most > 0 {
		for i, c := range d.Made.Foretold.Cases {
			wait := c.In.Middle - c.Closed.Middle
			if i < len(d.Entries) && wait > float64(most)/60+1 {
				d.Notes = append(d.Notes, fmt.Sprintf("some flasks stand under the clamp longer than the %d min of bench set that your settings allow, until their load goes in", most/60))
				break
			}
		}
	}
	if !learned(d.Question.House) {
		d.Notes = append(d.Notes, "times of work and trend are the house values the program came with; flaskside calibrate --adopt takes your book's own")
	}
}

// open are the hours of the day that is planned for.
func (d *Day) open() plan.Hours {
	if h := d.Made.House.FirstDay; h != nil {
		return *h
	}
	return d.Made.House.Hours
}

// today is the first day on which somebody works, counted from that of now.
func (d *Day) today() int {
	for k, off := range d.Made.House.Off {
		if !off {
			return k
		}
	}
	return 0
}

// say is an instant as seen from now.
func (d *Day) say(min float64) string { return words.Instant(d.instant(min), d.Question.Now) }

// about is an instant to five minutes.
func (d *Day) about(min float64) string { return d.say(5 * math.Round(min/5)) }

// lateStep is a chance to be late as it is told: in steps of 5 %, from 0.05 for that or less to 0.95 for that or more,
// for it was counted on simulated days, of which none shows what never or always happens.
func lateStep(p float64) float64 { return max(.05, min(.95, math.Round(20*p)/20)) }

// lateWords tell a chance to be late, behind the word late.
func lateWords(p float64) string {
	switch step := math.Round(20*p) / 20; {
	case step < .05:
		return "unlikely, " + percentOf(p)
	case step <= .2:
		return "possible, " + percentOf(p)
	case step < .5:
		return "may well be, " + percentOf(p)
	case step < .75:
		return "as likely as not, " + percentOf(p)
	}
	return "likely, " + percentOf(p)
}

// Late tells whether a case is late already, cannot be in time, or how likely it is to be late.
func (d *Day) Late(i int) string {
	c := d.Made.Cases[i]
	switch {
	case d.Entries[i].Due.IsZero():
		return noDue
	case !d.Entries[i].Due.After(d.Question.Now):
		return alreadyLate
	case c.DueMin < d.minutes(d.Soonest[i])-soonestOff:
		return fmt.Sprintf("cannot be ready by then, about %s at the soonest", d.about(d.minutes(d.Soonest[i])))
	}
	return lateWords(d.Made.Foretold.Cases[i].Late)
}

// noDue is told of a flask whose case was never taken in.
const noDue = "no due time given"

// alreadyLate is told of a case that was due before the plan begins.
const alreadyLate = "already late"

// soonestOff is by how much luck may beat the soonest time that is expected, minutes.
const soonestOff = 25
