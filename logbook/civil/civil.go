// Package civil cuts time into the days of a zone.
package civil

import "time"

// Bounds gives the instants at which a civil date begins and ends in a zone: local
// midnight to local midnight. Where the clocks skip midnight it is the first
// instant of the date; a date that a zone left out altogether begins and ends at
// the same instant. Days follow on one another without gap or overlap, whatever
// the clocks do, and have 23, 24 or 25 hours as it comes.
func Bounds(year int, month time.Month, dayOfMonth int, loc *time.Location) (from, until time.Time) {
	return first(year, month, dayOfMonth, loc), first(year, month, dayOfMonth+1, loc)
}

// leap is more than any clock change of the tz database since 1990 but those
// across the date line, which skip forward.
const leap = 3 * time.Hour

// first gives the first instant at which the clocks of a zone show a date, or a
// later one. time.Date does not promise which side of a missing or repeated hour
// it takes, and Time.ZoneBounds is wrong on the last day of some years, so the
// clock is read minute by minute; offsets have been whole minutes since 1972.
func first(year int, month time.Month, dayOfMonth int, loc *time.Location) time.Time {
	date := time.Date(year, month, dayOfMonth, 0, 0, 0, 0, time.UTC)
	t := time.Date(year, month, dayOfMonth, 0, 0, 0, 0, loc).Add(-leap)
	for {
		y, m, d := t.Date()
		if !time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Before(date) {
			return t
		}
		t = t.Add(time.Minute)
	}
}

// OfInstant gives the day of a zone that holds an instant.
func OfInstant(t time.Time, loc *time.Location) (from, until time.Time) {
	y, m, d := t.In(loc).Date()
	from, until = Bounds(y, m, d, loc)
	if !t.Before(until) { // the clocks went back across midnight: the day begun goes on
		return Bounds(y, m, d+1, loc)
	}
	return from, until
}
