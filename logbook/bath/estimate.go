package bath

import (
	"fmt"
	"math"
	"time"

	"flaskside/logbook/bench"
	"flaskside/timers/cure"
)

// maxExcursions bounds how many are costed one by one; the total holds all.
const maxExcursions = 4

// excursion is a stretch in which the bath read out of band, and what it costs by
// itself.
type excursion struct {
	cure.Excursion
	cure.Extra
}

// otherHold is how long a cooler bath would take for the residual that the programme
// leaves: always longer, information only. Nothing tells of a hotter, shorter way.
type otherHold struct {
	TempC   float64
	Hold    time.Duration
	Reached bool // false: not in three days
}

// LoadEstimate is what a load is likely to go through.
type LoadEstimate struct {
	Case   LoadCase
	Bath   []cure.Knot // as read up to KnownS, as expected after
	KnownS float64
	Cure   cure.Estimate
	Holds  []cure.StageStart // when the holds really start, by the thickest section

	Excursions []excursion   // the latest, at most four
	Dips       []dip         // of flasks that went in later
	SetBack    time.Duration // by those dips, as far as no reading has shown them yet
	MakeUp     cure.MakeUp   // what all that the bath was off asks for
	Boil       []cure.Extra  // how much longer the stages would be that the place caps
	Others     []otherHold
	Notes      []string
}

// Estimate works a case out. Errors: a programme or a section that the model does
// not take, in one line.
func (c LoadCase) Estimate() (LoadEstimate, error) {
	thin, thick, err := c.params()
	if err != nil {
		return LoadEstimate{}, err
	}
	b, err := c.curve()
	if err != nil {
		return LoadEstimate{}, err
	}
	e := LoadEstimate{Case: c, Bath: b.knots, KnownS: b.knownS, Dips: b.dips, Notes: b.notes}
	endS := c.Programme.Total().Seconds()
	if c.Out >= time.Minute && c.Out.Seconds() < endS {
		endS = c.Out.Seconds() // out before its time: no more was held
	}
	if e.Cure, err = cure.Run(thin, thick, b.knots, cure.RunOptions{EndS: endS, Air: c.Air}); err != nil {
		return LoadEstimate{}, err
	}
	e.Holds = cure.HoldStarts(c.Programme, b.knots, &e.Cure.Thickest)
	if e.MakeUp, err = cure.Make(thin, thick, c.Programme, c.BathC, b.knots, b.knownS); err != nil {
		return LoadEstimate{}, err
	}
	if e.Boil, err = cure.Longer(thin, c.Set, c.BathC, c.Air); err != nil {
		return LoadEstimate{}, err
	}
	if len(c.Added) > 0 {
		alone := c
		alone.Added = nil
		x, err := alone.makeUp()
		if err != nil {
			return LoadEstimate{}, err
		}
		e.SetBack = max(0, e.MakeUp.Out-x.Out)
	}
	xs := cure.OutOfBand(c.Programme, c.Start, c.Readings, c.BandK)
	for _, x := range xs[max(0, len(xs)-maxExcursions):] {
		cost, err := x.Cost(thin, c.Programme, c.BathC, c.Start, c.Readings)
		if err != nil {
			return LoadEstimate{}, fmt.Errorf("cost of the excursion: %w", err)
		}
		e.Excursions = append(e.Excursions, excursion{x, cost})
	}
	return e, e.others(thin)
}

// Core is the temperature in the middle of the thickest section over time.
func (e *LoadEstimate) Core() []cure.Knot {
	c := &e.Cure.Thickest.Curve
	out := make([]cure.Knot, len(c.TimeS))
	for i, s := range c.TimeS {
		out[i] = cure.Knot{TimeS: s, TempC: c.CoreC[i]}
	}
	return out
}

// others fills in what holds at cooler temperatures would have to be, for a programme
// of one temperature: a little below it, and what the bath reads now where that is
// low.
func (e *LoadEstimate) others(thin cure.Params) error {
	c := e.Case
	if len(c.Programme.Stages) != 1 {
		return nil
	}
	setC := c.Programme.Stages[0].TempC
	temps := []float64{setC - 4}
	if n := len(e.Excursions); n > 0 && e.Excursions[n-1].Open {
		temps = append([]float64{math.Round(c.Readings[len(c.Readings)-1].TempC)}, temps...)
	}
	seen := map[float64]bool{}
	for _, t := range temps {
		if seen[t] || t < 60 || t >= setC { // no bath for curing, or a shorter way
			continue
		}
		seen[t] = true
		hold, reached, err := cure.HoldFor(thin, t, e.MakeUp.Planned)
		if err != nil {
			return fmt.Errorf("hold at %g °C: %w", t, err)
		}
		e.Others = append(e.Others, otherHold{t, hold, reached})
	}
	return nil
}

// Addition is what cold flasks would do to a bath, and to the loads in it.
type Addition struct {
	Dip   cure.Dip
	Backs []setBack
}

// setBack is how much longer a load in the bath would take for the same residual.
type setBack struct {
	Load  int
	Extra time.Duration
}

// Add works out what n cold flasks do that go in after lengths of time into each of
// the cases, which are loads in one bath, oldest first.
func Add(n int, cases []LoadCase, after []time.Duration) (Addition, error) {
	var a Addition
	for i, c := range cases {
		d, err := c.dip(after[i], n)
		if err != nil {
			return a, err
		}
		if i == 0 {
			a.Dip = d
		}
		if after[i] >= c.Programme.Total() {
			a.Backs = append(a.Backs, setBack{Load: c.Load})
			continue
		}
		before, err := c.makeUp()
		if err != nil {
			return a, err
		}
		c.Added = append(c.Added[:len(c.Added):len(c.Added)], bench.Added{After: after[i], Flasks: n})
		with, err := c.makeUp()
		if err != nil {
			return a, err
		}
		a.Backs = append(a.Backs, setBack{c.Load, max(0, with.Out-before.Out)})
	}
	return a, nil
}

func (c LoadCase) makeUp() (cure.MakeUp, error) {
	thin, thick, err := c.params()
	if err != nil {
		return cure.MakeUp{}, err
	}
	b, err := c.curve()
	if err != nil {
		return cure.MakeUp{}, err
	}
	return cure.Make(thin, thick, c.Programme, c.BathC, b.knots, b.knownS)
}
