package civil

import (
	"fmt"
	"strings"
	"time"

	"flaskside/logbook/asked"
)

// Typed gives the bounds of a day as it is typed: a date, or today or yesterday seen from now.
func Typed(word string, now time.Time, loc *time.Location) (from, until time.Time, err error) {
	switch word {
	case "today":
		from, until = OfInstant(now, loc)
		return from, until, nil
	case "yesterday":
		today, _ := OfInstant(now, loc)
		from, until = OfInstant(today.Add(-1), loc)
		return from, until, nil
	}
	d, err := time.Parse(time.DateOnly, word)
	if err != nil || d.Year() < 1990 || d.Year() > 2200 {
		return from, until, asked.Wrongly("%q is not a date: write it as 2026-11-25, or today, or yesterday", strings.TrimSpace(word))
	}
	from, until = Bounds(d.Year(), d.Month(), d.Day(), loc)
	if from.Equal(until) {
		return from, until, fmt.Errorf("there was no %s in %s: its clocks left that date out", word, loc)
	}
	return from, until, nil
}

// TypedZone gives the zone of a name, that of this machine for none.
func TypedZone(name string) (*time.Location, error) {
	if name == "" {
		return time.Local, nil
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, asked.Wrongly("--zone %q is not a time zone: give a name as in Europe/Berlin", name)
	}
	return loc, nil
}

// TypedPast gives the moment as of which something is asked, and whether one was typed; now else.
func TypedPast(at string, now time.Time) (given bool, then time.Time, err error) {
	if at == "" {
		return false, now, nil
	}
	if then, err = time.Parse(time.RFC3339, at); err != nil {
		return false, now, asked.Wrongly("--at %q is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)", at)
	}
	if then.After(now) {
		return false, now, fmt.Errorf("--at %s is in the future: the logbook knows only what was done", at)
	}
	return true, then, nil
}
