package dayplan

import (
	"context"
	"fmt"
	"math"

	"flaskside/logbook/bench"
	"flaskside/timers/plan"
)

// Offer is a new plan beside the one that was taken, both foretold from now on the same days. It is only offered: what was
// taken holds until a person takes another.
type Offer struct {
	Reason   string // why the one that was taken is looked at anew
	Old, New *Day
}

// Again plans the day anew beside a plan that was taken, by the same choices of a person.
func (q Question) Again(ctx context.Context, p *bench.Planned, reason string) (*Offer, error) {
	old, err := q.Follow(ctx, p)
	if err != nil {
		return nil, err
	}
	made, err := q.Make(ctx)
	if err != nil {
		return nil, err
	}
	return &Offer{reason, old, made}, nil
}

// leastOffered is the gain, in points, below which a new plan is not worth the unrest.
const leastOffered = 1

// Gain is what the new plan saves, in points, and whether that is more than the unrest and more than chance.
func (o *Offer) Gain() (points float64, clear bool) {
	gain, se := plan.Paired(o.Old.Made.Costs, o.New.Made.Costs)
	return gain, gain > max(leastOffered, 2*se)
}

// Words tell in one line why, and what a new plan changes most.
func (o *Offer) Words() string {
	gain, clear := o.Gain()
	if !clear {
		return o.Reason + ": a new plan gains nothing clear"
	}
	best, most := -1, 0.
	for i := range o.Old.Entries {
		was, is := o.Old.Made.Foretold.Cases[i].Late, o.New.Made.Foretold.Cases[i].Late
		if d := math.Round(20*was) - math.Round(20*is); d > most {
			best, most = i, d
		}
	}
	if best < 0 {
		return fmt.Sprintf("%s: a new plan saves about %.1f points", o.Reason, gain)
	}
	was, is := o.Old.Made.Foretold.Cases[best].Late, o.New.Made.Foretold.Cases[best].Late
	return fmt.Sprintf("%s: with a new plan %s is late %s, not %s", o.Reason, o.Old.Entries[best].Case, percentOf(is), percentOf(was))
}
