package bath

import (
	"fmt"
	"time"

	"flaskside/logbook/house"
	"flaskside/logbook/units"
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

// Backward is the programmes of a house held against an hour, for other programs.
type Backward struct {
	In   time.Time `json:"in"`
	Out  time.Time `json:"out"`
	Fits []fitting `json:"fits"`
}

// fitting is one programme held against an hour.
type fitting struct {
	Programme   string     `json:"programme"`
	Notation    string     `json:"notation"`
	LatestStart time.Time  `json:"latest_start"`
	Earliest    *time.Time `json:"earliest_start,omitempty"` // by the longest stay of the house
	SlackS      int        `json:"slack_s"`
	Fits        bool       `json:"fits"`
	words       string
}

// planBack holds the programmes of a house against an hour; no other is offered. Times are told
// in the zone of in.
func planBack(h house.House, in, out time.Time) *Backward {
	r := &Backward{In: in, Out: out}
	for i, fit := range Plan(h, in, out) {
		x := fitting{Programme: h.Programmes[i].Name, Notation: fit.Programme.NotationIn(h.Units.Temperature == units.Fahrenheit), LatestStart: fit.LatestStart.In(in.Location()),
			SlackS: int(fit.Slack / time.Second), Fits: fit.Fits, words: fit.Words(in)}
		if !fit.Earliest.IsZero() {
			e := fit.Earliest.In(in.Location())
			x.Earliest = &e
		}
		r.Fits = append(r.Fits, x)
	}
	return r
}

// Lines tell it.
func (r *Backward) Lines() []string {
	out := []string{fmt.Sprintf("in %s, out at %s:", r.In.Format("Mon 2 Jan 15:04 -07:00"), r.Out.Format("Mon 2 Jan 15:04 -07:00"))}
	for _, f := range r.Fits {
		out = append(out, fmt.Sprintf("  %-16s %s (%s)", f.Programme, f.words, f.Notation))
	}
	return out
}
