package review

import (
	"cmp"
	"time"

	"flaskside/logbook/asked"
	"flaskside/logbook/bench"
	"flaskside/logbook/civil"
)

// longest bounds the days that are read at once.
const longest = 366

// Period reads the days between which a review lies, both included: until today where to is left
// out, and from the first of that month where from is.
func Period(from, to, zone string, now time.Time) (begin, end time.Time, err error) {
	loc, err := civil.TypedZone(zone)
	if err != nil {
		return begin, end, err
	}
	last, end, err := civil.Typed(cmp.Or(to, "today"), now, loc)
	if err != nil {
		return begin, end, err
	}
	if from == "" {
		begin, _ = civil.Bounds(last.Year(), last.Month(), 1, loc)
	} else if begin, _, err = civil.Typed(from, now, loc); err != nil {
		return begin, end, err
	}
	switch {
	case !begin.Before(end):
		return begin, end, asked.Wrongly("the review would end before it begins: --from %s, --to %s", begin.Format(time.DateOnly), last.Format(time.DateOnly))
	case end.After(begin.AddDate(0, 0, longest)):
		return begin, end, asked.Wrongly("a review spans at most %d days", longest)
	}
	return begin, end, nil
}

// In reads a period of a logbook whose head is known, and reviews it.
func In(book interface {
	Whole(from, until time.Time) (*bench.Bench, error)
}, head string, from, until time.Time) (Review, error) {
	b, err := book.Whole(from, until)
	if err != nil {
		return Review{}, err
	}
	r := Of(b, from, until, Boiling(b, from, until))
	r.Head = head
	return r, nil
}
