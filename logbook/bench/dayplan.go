package bench

import (
	"errors"
	"slices"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// The plan of the day that a person took. It changes nothing at work: it is what the bench is
// held against, so that every screen shows the same plan and tells when it no longer fits.
var planning = subject{
	rules: []rule{
		on((*checker).dayPlan, func(b *Bench, a action.DayPlan, it *Item) {
			if b.Planned = nil; !a.Away {
				b.Planned = &Planned{DayPlan: a, By: it.Action.By, At: it.Stamp, ID: it.Action.ID}
			}
		}, uncorrected, kept, quiet, aside, alive(latest[action.DayPlan])),
	},
}

// Planned is the plan of the day as it was taken last.
type Planned struct {
	action.DayPlan
	By        string
	At        timers.Stamp
	ID        string
	Withdrawn []string // cases of it that were taken off the list since
}

// names tells whether a plan speaks of a case.
func (p *Planned) names(name string) bool {
	return p != nil && slices.ContainsFunc(p.Cases, func(c action.PlanCase) bool { return c.Case == name })
}

// caseWithdrawn notes that a case of the plan was taken off the list.
func (b *Bench) caseWithdrawn(name string) {
	if b.Planned.names(name) && !slices.Contains(b.Planned.Withdrawn, name) {
		b.Planned.Withdrawn = append(b.Planned.Withdrawn, name)
	}
}

func (c *checker) dayPlan(a action.DayPlan) (action.DayPlan, error) {
	if a.Away && c.b.Planned == nil {
		return a, errors.New("no day plan is followed: there is none to put away")
	}
	return a, nil
}
