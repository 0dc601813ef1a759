package plan

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
)

// SearchOptions say how a plan is made. The zero value is filled in.
type SearchOptions struct {
	Seed  uint64
	Draws int // days on which plans are compared; 0 is 60
	Days  int // days on which the plan chosen is then played; 0 is 400: a chance is known to 2.5 % (standard error)
	// Progress is told how much is done, 0 to 1, from one goroutine.
	Progress func(float64)
	// First is told of a plan made by one rule and played on few days, before all others are tried; it may be nil.
	First func(Made)
	// Wish is what a person chose.
	Wish Wish
}

const (
	houseDraws = 60
	fewDays    = 40 // on which the first plan is played
	houseDays  = 400
	freshSeed  = 0x5eed0fda7 // days on which a plan is played are not those on which it was chosen
)

// Made is a plan with what is foretold of it.
type Made struct {
	House Lab
	Cases []Case
	Plan  Plan
	Foretold
	Ask *ask // at most one case to ask a later time for
}

// ask is a case for which to ask a later time, and what that buys.
type ask struct {
	Case     int
	DueMin   float64   // the time to ask for
	Gain, SE float64   // points a day, on days on which neither plan was chosen
	Late     []float64 // each case's chance to be late then
}

// Make plans a day: it picks among the variants of the simple rules, puts off what need not be today where that gains,
// plays the plan on fresh days, and looks for one case to ask a later time for. No cases make a plan of nothing. It
// fails for what is no house or are no cases, and with ctx's error when that is done.
func Make(ctx context.Context, h Lab, cases []Case, o SearchOptions) (Made, error) {
	o.Draws, o.Days = cmp.Or(o.Draws, houseDraws), cmp.Or(o.Days, houseDays)
	if o.Draws < 2 || o.Draws > maxDraws || o.Days < 2 || o.Days > maxDraws {
		return Made{}, fmt.Errorf("%d draws and %d days: want 2 to %d of each", o.Draws, o.Days, maxDraws)
	}
	if err := h.Check(); err != nil {
		return Made{}, err
	}
	if err := checkCases(cases); err != nil {
		return Made{}, err
	}
	tell := func(x float64) {
		if o.Progress != nil {
			o.Progress(x)
		}
	}
	if err := o.Wish.check(cases); err != nil {
		return Made{}, err
	}
	e := playable(&h)
	e.wish = o.Wish
	m := Made{House: h, Cases: cases}
	if len(cases) == 0 {
		return m, nil
	}
	draws, days := makeDraws(&h, cases, o.Seed, o.Draws), makeDraws(&h, cases, o.Seed^freshSeed, o.Days)
	if o.First != nil {
		f := m
		var err error
		f.Plan = e.byRule(cases, fit80, habit{Small: true})
		quick := *e
		quick.Simple = true // no bench is solved before something stands on the screen
		if f.Foretold, err = quick.foretell(ctx, cases, &f.Plan, days[:min(fewDays, len(days))]); err != nil {
			return Made{}, err
		}
		o.First(f)
	}
	p, err := e.pick(ctx, cases, draws)
	if err != nil {
		return Made{}, err
	}
	tell(.35)
	if m.Plan, err = e.deferred(ctx, cases, p, draws); err != nil {
		return Made{}, err
	}
	tell(.55)
	if m.Foretold, err = e.foretell(ctx, cases, &m.Plan, days); err != nil {
		return Made{}, err
	}
	tell(.7)
	if err := e.latest(ctx, cases, &m.Plan, draws, m.Mixes); err != nil {
		return Made{}, err
	}
	tell(.8)
	if m.Ask, err = e.leaveOut(ctx, cases, &m.Plan, draws, days, m.Foretold); err != nil {
		return Made{}, err
	}
	tell(1)
	return m, nil
}

// Follow foretells what comes of a plan that was made before, from where the day stands now. It fails for a plan that its
// Check does not pass, and with ctx's error when that is done.
func Follow(ctx context.Context, h Lab, cases []Case, p Plan, o SearchOptions) (Made, error) {
	o.Draws, o.Days = cmp.Or(o.Draws, houseDraws), cmp.Or(o.Days, houseDays)
	if err := h.Check(); err != nil {
		return Made{}, err
	}
	if err := checkCases(cases); err != nil {
		return Made{}, err
	}
	if err := p.Check(&h, cases); err != nil {
		return Made{}, err
	}
	m := Made{House: h, Cases: cases, Plan: p}
	if len(cases) == 0 {
		return m, nil
	}
	e := playable(&h)
	var err error
	if m.Foretold, err = e.foretell(ctx, cases, &p, makeDraws(&h, cases, o.Seed^freshSeed, o.Days)); err != nil {
		return Made{}, err
	}
	return m, e.latest(ctx, cases, &p, makeDraws(&h, cases, o.Seed, o.Draws), m.Mixes)
}

const (
	grid      = 15. // minutes; latest times are told in steps of this
	worthAsk  = .05 // chance to be late from which somebody is asked
	leastAsk  = 1.  // points that asking must gain
	tolerated = .5  // points that putting a mix off to its latest time may lose: as much as one mix
)

// latest works out until when each mix of today may be put off, the others as planned.
func (e *engine) latest(ctx context.Context, cases []Case, p *Plan, draws []draw, out []mixTimes) error {
	base := e.costs(cases, p, draws)
	closes, lead := float64(e.today())*Day+e.hours(e.today()).ClosesMin, newPlayer(e, cases).lead
	for j, m := range p.Mixes {
		start := out[j].Start.Middle
		if !(start < closes) { // put off, or never
			continue
		}
		tonight := max(start, closes-lead(m.Cases)) // later it is not begun that day
		at := func(k int) float64 { return grid * (math.Floor(start/grid) + float64(k)) }
		good, bad := 0, 1
		for at(bad) <= tonight {
			bad++
		}
		for bad-good > 1 {
			if err := ctx.Err(); err != nil {
				return err
			}
			k := (good + bad) / 2
			q := p.clone()
			q.Mixes[j].AtMin = at(k)
			if lost, _ := Paired(e.costs(cases, &q, draws), base); lost <= tolerated {
				good = k
			} else {
				bad = k
			}
		}
		out[j].Latest = max(at(good), math.Ceil(start))
	}
	return nil
}

// later is the time to ask for instead of a due time: the end of the working day after it.
func (e *engine) later(due float64) float64 {
	day := max(e.today(), int(math.Floor(due/Day)))
	return float64(e.workday(day+1))*Day + e.ClosesMin
}

// asked are how many cases are looked at closely.
const asked = 2

func (e *engine) leaveOut(ctx context.Context, cases []Case, p *Plan, draws, days []draw, f Foretold) (*ask, error) {
	if !slices.ContainsFunc(f.Cases, func(c caseTimes) bool { return c.Late >= worthAsk }) {
		return nil, nil
	}
	moved := func(i int) []Case {
		out := slices.Clone(cases)
		out[i].DueMin = e.later(out[i].DueMin)
		return out
	}
	few := draws[:min(len(draws), 2*firstDraws)]
	order, rough := make([]int, len(cases)), make([]float64, len(cases))
	for i := range cases {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		order[i] = i
		c := moved(i)
		q := e.byRule(c, p.Rule, p.Habit)
		rough[i] = sum(e.costs(c, &q, few))
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(rough[i], rough[j]) })
	base := e.costs(cases, p, days)
	var best *ask
	for _, i := range order[:min(asked, len(order))] {
		c := moved(i)
		q, err := e.pick(ctx, c, draws)
		if err != nil {
			return nil, err
		}
		if q, err = e.deferred(ctx, c, q, draws); err != nil {
			return nil, err
		}
		gain, se := Paired(base, e.costs(c, &q, days))
		if gain <= max(leastAsk, 2*se) || best != nil && gain <= best.Gain {
			continue
		}
		g, err := e.foretell(ctx, c, &q, days)
		if err != nil {
			return nil, err
		}
		best = &ask{Case: i, DueMin: c[i].DueMin, Gain: gain, SE: se}
		for _, x := range g.Cases {
			best.Late = append(best.Late, x.Late)
		}
	}
	return best, nil
}

// Soonest is when a case could be finished at the soonest by the house's own times: begun at once, alone, in the fewest
// closures it ever takes, in the house's shorter programme; dough and finishing as expected. A case due well before that
// cannot be in time.
func Soonest(h Lab, c Case) float64 { return playable(&h).soonest(c) }

func (e *engine) soonest(c Case) float64 {
	fewest := 1
	for e.Closures[c.Size][fewest] == 0 && fewest < MaxClosures {
		fewest++
	}
	if c.live() {
		fewest = c.Begun.fewest()
	}
	free := func(b int) float64 {
		if b < len(e.BathFreeMin) {
			return e.BathFreeMin[b]
		}
		return 0
	}
	bath := 0
	for b := range e.Baths {
		if free(b) < free(bath) {
			bath = b
		}
	}
	p, d := Plan{GateMin: noGateMin}, fixedDraw([]int{fewest})
	if !c.mixed() {
		p.Mixes = []Mix{{Cases: []int{0}}}
	}
	if !c.bathed() {
		p.Loads = []Load{{bath, e.ShortMin == 0, []int{0}, 0}}
	}
	return newPlayer(e, []Case{c}).play(&p, &d).EndMin[0]
}
