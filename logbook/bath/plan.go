package bath

import (
	"fmt"
	"time"

	"flaskside/logbook/house"
	"flaskside/logbook/words"
	"flaskside/timers/cure"
)

// Fit is one programme of the house held against an hour at which the flasks are
// to come out.
type Fit struct {
	cure.Fit
	// Earliest is when they may go in at the soonest so that they do not stay longer
	// than the house lets them; zero where it sets no longest stay.
	Earliest time.Time
}

// soon tells whether flasks that went in now would stay too long.
func (f Fit) soon(now time.Time) bool { return f.Earliest.After(now) }

// Plan holds the programmes of a house against going in now and coming out at out.
func Plan(h house.House, now, out time.Time) []Fit {
	programmes := make([]cure.Programme, len(h.Programmes))
	for i, p := range h.Programmes {
		programmes[i] = p.Cure()
	}
	fits := make([]Fit, len(programmes))
	for i, f := range cure.PlanBack(now, out, programmes) {
		fits[i] = Fit{Fit: f}
		if m := h.Programmes[i].MaxS; m > 0 {
			fits[i].Earliest = out.Add(-time.Duration(m) * time.Second)
		}
	}
	return fits
}

// Words say when the flasks have to go in, or that it is too late. Instants are
// shown in now's zone.
func (f Fit) Words(now time.Time) string {
	hour := func(t time.Time) string { return words.Instant(t, now) }
	latest := f.LatestStart
	switch {
	case !f.Fits:
		return fmt.Sprintf("too late: in by %s, %s ago", hour(latest), Minutes(-f.Slack))
	case f.soon(now):
		return fmt.Sprintf("in from %s to %s", hour(f.Earliest), hour(latest))
	}
	return fmt.Sprintf("fits: in by %s, in %s", hour(latest), Minutes(f.Slack))
}
