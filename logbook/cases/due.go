// Package cases reads and writes what a list of cases is made from: when one is due, a
// table of cases out of another program, the list as text and as tables, and the record of
// one case. It is pure: what it writes comes from what it is given.
package cases

import (
	"fmt"
	"strings"
	"time"

	"flaskside/logbook/civil"
)

// DueForms says how a due time is written, for a flag or a column.
const DueForms = `"today 17:00", "tomorrow 12:00", "thu 17:00", "2026-12-03 17:00" or RFC 3339`

// ParseDue reads when a case is due, as seen from now and on its clock: today, tomorrow, a
// day of the week (the next one of that name, never today), a date, each with an hour, or an
// instant of RFC 3339. An hour alone is one of today.
func ParseDue(s string, now time.Time) (time.Time, error) {
	bad := fmt.Errorf("%s is not a due time: write %s", shown(s), DueForms)
	text := strings.ToLower(strings.Join(strings.Fields(s), " "))
	if t, err := time.Parse(time.RFC3339, strings.ToUpper(text)); err == nil {
		return t, nil
	}
	day, hour, two := strings.Cut(text, " ")
	if !two {
		day, hour = "today", text
	}
	h, err := ParseHour(hour)
	if err != nil {
		return time.Time{}, bad
	}
	date := now
	switch days, named := weekday(day, now); {
	case day == "today":
	case day == "tomorrow":
		date = now.AddDate(0, 0, 1)
	case named:
		date = now.AddDate(0, 0, days)
	default:
		if date, err = time.ParseInLocation(time.DateOnly, day, now.Location()); err != nil {
			return time.Time{}, bad
		}
	}
	return At(date, h)
}

// At gives an hour of the day on the date of an instant. An hour that the clocks leave out
// there is refused.
func At(date time.Time, hour time.Duration) (time.Time, error) {
	y, m, d := date.Date()
	if from, until := civil.Bounds(y, m, d, date.Location()); !from.Before(until) {
		return time.Time{}, fmt.Errorf("there is no %s here: the clocks left that date out", date.Format(time.DateOnly))
	}
	t := time.Date(y, m, d, int(hour/time.Hour), int(hour%time.Hour/time.Minute), 0, 0, date.Location())
	if t.Hour() != int(hour/time.Hour) || t.Day() != d {
		return time.Time{}, fmt.Errorf("there is no %02d:%02d on %s: the clocks go forward there", int(hour/time.Hour), int(hour%time.Hour/time.Minute), date.Format(time.DateOnly))
	}
	return t, nil
}

// weekday tells in how many days, 1 to 7, a day of the week is, named by three letters or
// more.
func weekday(s string, now time.Time) (days int, ok bool) {
	if len(s) < 3 {
		return 0, false
	}
	for n := 1; n <= 7; n++ {
		if strings.HasPrefix(strings.ToLower(now.AddDate(0, 0, n).Weekday().String()), s) {
			return n, true
		}
	}
	return 0, false
}

// ParseHour reads an hour of the day: 17:30, 17.30, 1730, 17.
func ParseHour(s string) (time.Duration, error) {
	s = strings.TrimSpace(s)
	for _, layout := range []string{"15:04", "15.04", "1504"} {
		if len(s) == len("1504")-1 && layout == "1504" { // 930 is half past nine
			s = "0" + s
		}
		if t, err := time.Parse(layout, s); err == nil {
			return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute, nil
		}
	}
	if t, err := time.Parse("15", s); err == nil {
		return time.Duration(t.Hour()) * time.Hour, nil
	}
	return 0, fmt.Errorf("%s is not a time of day: type it as 17:30, 1730 or 17", shown(s))
}

// WorkingHour reads an hour of the day as a colleague says one: a bare 3, before anybody is there, is three in the
// afternoon where somebody still is then, at opens and until as the house has them. 03, 0300 and 3:00 are three at night.
func WorkingHour(s string, opens, until time.Duration) (time.Duration, error) {
	h, err := ParseHour(s)
	if later := h + 12*time.Hour; err == nil && len(strings.TrimSpace(s)) == 1 && h > 0 && h < opens && later <= until {
		return later, nil
	}
	return h, err
}
