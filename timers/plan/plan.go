// Package plan foretells a day at the bench: which cases share a mix, in which order they are mixed, and which load goes
// into which bath. It plays whole days with one pair of hands or several, presses and baths, on closures, doughs and
// finishing times drawn beforehand, and picks among simple rules by what they cost over the same draws.
//
// The package is pure: it asks no clock, reads no book and draws nothing on a screen. Times are minutes from midnight of
// the first day. The same house, cases and seed give the same plan. All of it is an estimate; the person decides.
//
// What a plan must never do is held by Check and by tests over random days: a case twice or not at all; a mix of two
// resins; a step begun outside working hours other than for live dough, a planned load or what is due that day; a flask
// in a bath before its bench set is over; more flasks in a bath than it has places; two loads in one bath at once; a
// stay shorter than the programme; work on dough past its end; another answer to the same question. What is foretold is
// never nothing and never certain, and a case that is due before it can be begun is told as late.
package plan

import (
	"errors"
	"fmt"
	"math"
)

// Size of a base.
type Size uint8

// The sizes, smallest first.
const (
	Small Size = iota
	Medium
	Large
	sizes = 3
)

// String is the size in a word.
func (s Size) String() string {
	switch s {
	case Small:
		return "small"
	case Medium:
		return "medium"
	case Large:
		return "large"
	}
	return "?"
}

// Day is a day in minutes.
const Day = 1440.

// Limits, so that any question is answered in bounded time.
const (
	MaxCases    = 40
	MaxClosures = 15 // trial closures told apart; those beyond are put on the last
	MaxMix      = 5  // flasks of one mix whose chance is counted out
	maxBaths    = 9
	MaxHands    = 9
	maxDraws    = 2000
	attempts    = 8  // packings of one case drawn beforehand; then they begin anew
	doughs      = 60 // mixes of one day drawn beforehand; then they begin anew
	lookAhead   = 3  // mixes ahead of which moulds are coated
	horizonDays = 4  // working days played at most
)

// Hours are those between which there is work on a day, in minutes from midnight.
type Hours struct {
	OpensMin    float64 // work begins
	ClosesMin   float64 // work ends
	OvertimeMin float64 // the latest work ends: finishing what is due that day, a planned load
}

func (h Hours) check() error {
	if !(h.OpensMin >= 0 && h.OpensMin+30 <= h.ClosesMin && h.ClosesMin <= h.OvertimeMin && h.OvertimeMin <= Day) {
		return fmt.Errorf("hours from %g to %g, overtime to %g min: want them in that order within a day, open for 30 min at least", h.OpensMin, h.ClosesMin, h.OvertimeMin)
	}
	return nil
}

// hours are those of a day.
func (h *Lab) hours(day int) *Hours {
	if h.FirstDay != nil && day == h.today() {
		return h.FirstDay
	}
	return &h.Hours
}

// DoughSpan says when the dough of a resin is reached and when it ends, minutes from the start of a mix.
type DoughSpan struct {
	DoughMin    float64 // to dough, as expected
	DoughSDMin  float64 // its spread from mix to mix
	EndMin      float64 // to the end of the dough, as expected
	EndDaySDMin float64 // its spread from day to day
	EndMixSDMin float64 // and from mix to mix
}

// WindowMin is how long dough can be worked, as expected.
func (d DoughSpan) WindowMin() float64 { return d.EndMin - d.DoughMin }

func (d DoughSpan) check() error {
	for _, x := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"dough", d.DoughMin, .5, 180}, {"spread of dough", d.DoughSDMin, 0, 60}, {"dough's end", d.EndMin, d.DoughMin + 1, 600},
		{"spread of dough's end by day", d.EndDaySDMin, 0, 60}, {"spread of dough's end by mix", d.EndMixSDMin, 0, 60},
	} {
		if !(x.v >= x.lo && x.v <= x.hi) {
			return fmt.Errorf("%s must be %g to %g min, not %g", x.name, x.lo, x.hi, x.v)
		}
	}
	return nil
}

// doughOf is the dough of a resin.
func (h *Lab) doughOf(resin int) *DoughSpan {
	if resin >= 0 && resin < len(h.Doughs) {
		return &h.Doughs[resin]
	}
	return &h.DoughSpan
}

// Closures is the chance that a flask of a size takes so many trial closures, by their number; index 0 is not used, and
// the last holds all beyond.
type Closures [sizes][MaxClosures + 1]float64

// Lab is how a house works: how much can be done at once, how long each work takes, when it is open. Every field
// that ends in Min is in minutes.
type Lab struct {
	Hands      int // pairs of hands
	Presses    int
	Baths      int
	BathPlaces int // flasks in a bath at once

	RaiseMin, HoldMin, OpenMin, TrimMin, FinalMin float64 // press work, as in package press

	CoatMin      float64 // hands, separator on both halves of one flask
	DryMin       float64 // separator drying
	MixMin       float64 // hands, weighing and stirring
	SetMin       float64 // bench set after the final closure
	BathStartMin float64 // hands, a load put in
	BathOutMin   float64 // hands, a load taken out
	CoolMin      float64 // cooling, bench and water
	FinishMin    float64 // hands, deflasking to finished
	FinishLnSD   float64 // its spread, sd of ln
	CleanMin     float64 // hands, a mould cleaned whose dough was lost
	ShortMin     float64 // the house's programme for loads by day; 0 for none
	LongMin      float64 // the house's programme for loads overnight

	DoughSpan             // of every resin that has none of its own
	Doughs    []DoughSpan // by Case.Resin, where resins differ; nil for none

	Hours               // of every day
	FirstDay    *Hours  // of the first day, where they are others; nil for the same
	LunchMin    float64 // hour of the break, taken at the first moment without live dough
	LunchForMin float64 // its length; 0 for none
	StartMin    float64 // hour at which the first day is taken up
	Off         []bool  // days on which nobody works, the first day first

	BathFreeMin []float64 // when each bath is free of what is in it now; left out is free

	Closures Closures
	Cost     Cost

	// Simple plays as the reference does: the press by Moore and Hodgson's rule alone, not by the advice of the bench, and a
	// load that missed its night with its programme.
	Simple bool
}

// Cost weighs what can go wrong, in points; house values, invented, a setting.
type Cost struct {
	Late     float64 // a case late, times its weight
	TardyH   float64 // each hour it is late, times its weight
	TardyCap float64 // hours counted at most
	Lost     float64 // a dough lost
	OverMin  float64 // each minute of overtime
	Mix      float64 // each mix
	Short    float64 // each flask in the day programme
}

// Check says what is wrong with a house, if anything.
func (h *Lab) Check() error {
	count := func(name string, n, most int) error {
		if n < 1 || n > most {
			return fmt.Errorf("%s must be 1 to %d, not %d", name, most, n)
		}
		return nil
	}
	if err := errors.Join(count("pairs of hands", h.Hands, MaxHands), count("presses", h.Presses, MaxHands),
		count("baths", h.Baths, maxBaths), count("places of a bath", h.BathPlaces, MaxCases)); err != nil {
		return err
	}
	for _, x := range []struct {
		name      string
		v, lo, hi float64
	}{
		{"raise", h.RaiseMin, 0, 60}, {"hold", h.HoldMin, 0, 60}, {"open", h.OpenMin, 0, 60}, {"trim", h.TrimMin, 0, 60}, {"final closure", h.FinalMin, .05, 60},
		{"coat", h.CoatMin, .1, 120}, {"dry", h.DryMin, 0, 600}, {"mix", h.MixMin, .1, 60}, {"bench set", h.SetMin, 0, Day},
		{"bath in", h.BathStartMin, .1, 120}, {"bath out", h.BathOutMin, .1, 120}, {"cool", h.CoolMin, 0, Day},
		{"finish", h.FinishMin, .1, Day / 2}, {"spread of finish", h.FinishLnSD, 0, 1}, {"clean", h.CleanMin, .1, Day / 2},
		{"day programme", h.ShortMin, 0, Day}, {"overnight programme", h.LongMin, 1, 2 * Day},
		{"start", h.StartMin, 0, Day},
		{"hour of the break", h.LunchMin, 0, Day}, {"length of the break", h.LunchForMin, 0, 240},
	} {
		if !(x.v >= x.lo && x.v <= x.hi) {
			return fmt.Errorf("%s must be %g to %g min, not %g", x.name, x.lo, x.hi, x.v)
		}
	}
	if err := h.Hours.check(); err != nil {
		return err
	}
	if h.FirstDay != nil {
		if err := h.FirstDay.check(); err != nil {
			return err
		}
	}
	for _, d := range append([]DoughSpan{h.DoughSpan}, h.Doughs...) {
		if err := d.check(); err != nil {
			return err
		}
	}
	for _, w := range []float64{h.Cost.Late, h.Cost.TardyH, h.Cost.TardyCap, h.Cost.Lost, h.Cost.OverMin, h.Cost.Mix, h.Cost.Short} {
		if !(w >= 0 && w <= 1e6) {
			return fmt.Errorf("a cost must be 0 to 1000000 points, not %g", w)
		}
	}
	return h.Closures.check()
}

func (c *Closures) check() error {
	for s, row := range c {
		sum := 0.
		for _, p := range row {
			if !(p >= 0 && p <= 1+1e-9) {
				return fmt.Errorf("closures of a %s base: %v is no chance: want 0 to 1", Size(s), p)
			}
			sum += p
		}
		if row[0] != 0 || math.Abs(sum-1) > 1e-6 {
			return fmt.Errorf("closures of a %s base: the chances sum to %g: want 1, and none without a closure", Size(s), sum)
		}
	}
	return nil
}

// Case is one base to be made.
type Case struct {
	Key     uint64  // tells cases apart in the draws, so that one more leaves the others theirs
	Size    Size    //
	Resin   int     // resin and shade; cases of another never share its mix
	DueMin  float64 // when it must be finished
	Weight  float64 // how much being late counts: 1, or more for a rush
	FromMin float64 // when its mould is there to be coated, or the first work on it can begin
	Prep    []Prep  // work on its mould before that, in its order; nil for none
	Begun   *Begun  // how far it is, where it is at work already; nil for one that waits
}

// Prep is work on a mould that hands do before it can be coated, and how long it then stands by itself: a layer of
// stone, boil-out.
type Prep struct {
	HandsMin float64
	ThenMin  float64
}

// mostPrep is how many pieces of work on a mould there may be.
const mostPrep = 40

// readyMin is when a mould is ready to be coated where its work is begun at some time and hands are free for it.
func (c *Case) readyMin(start float64) float64 {
	at := max(start, c.FromMin)
	for _, w := range c.Prep {
		at += w.HandsMin + w.ThenMin
	}
	return at
}

func (c *Case) checkPrep() error {
	if len(c.Prep) > mostPrep {
		return fmt.Errorf("%d pieces of work on its mould: want at most %d", len(c.Prep), mostPrep)
	}
	for _, w := range c.Prep {
		if !(w.HandsMin >= 0 && w.HandsMin <= 240 && w.ThenMin >= 0 && w.ThenMin <= 14*Day) {
			return fmt.Errorf("work on its mould of %g min, then %g: want 0 to 240, and 0 to %g", w.HandsMin, w.ThenMin, 14*Day)
		}
	}
	return nil
}

// Mix is one batch for the cases named, not before AtMin.
type Mix struct {
	Cases []int
	AtMin float64
}

// Load is what goes into a bath together. It starts when all its cases are set, or at LatestMin with those that are.
type Load struct {
	Bath      int // 0 to Baths-1
	Long      bool
	Cases     []int
	LatestMin float64
}

// Plan is what is decided; all else follows from fixed rules as the day is played.
type Plan struct {
	GateMin float64 // the next mix waits until the press work left on live dough is at most this
	Mixes   []Mix   // in their order
	Loads   []Load  // those of one bath in their order
	Rule    mixRule // that it came from, with its habit
	Habit   habit
}

// clone copies a plan deeply enough for its mixes to be moved.
func (p Plan) clone() Plan {
	q := p
	q.Mixes = append([]Mix(nil), p.Mixes...)
	q.Loads = append([]Load(nil), p.Loads...)
	return q
}

// checkCases says what is wrong with the cases, if anything.
func checkCases(cases []Case) error {
	if len(cases) > MaxCases {
		return fmt.Errorf("%d cases: want at most %d", len(cases), MaxCases)
	}
	seen := map[uint64]bool{}
	for i, c := range cases {
		switch {
		case c.Size > Large:
			return fmt.Errorf("case %d: size %d is none of small, medium and large", i+1, c.Size)
		case !(c.DueMin > -30*Day && c.DueMin < 400*Day):
			return fmt.Errorf("case %d: due %g min is out of range", i+1, c.DueMin)
		case !(c.FromMin >= 0 && c.FromMin < 30*Day):
			return fmt.Errorf("case %d: there from %g min on is out of range", i+1, c.FromMin)
		case !(c.Weight > 0 && c.Weight <= 1000):
			return fmt.Errorf("case %d: weight %g: want above 0, at most 1000", i+1, c.Weight)
		case c.checkPrep() != nil:
			return fmt.Errorf("case %d: %w", i+1, c.checkPrep())
		case c.Begun != nil && c.Begun.check() != nil:
			return fmt.Errorf("case %d: %w", i+1, c.Begun.check())
		case seen[c.Key]:
			return fmt.Errorf("case %d has the key of another: each needs its own", i+1)
		}
		seen[c.Key] = true
	}
	return nil
}

// Check says what a plan does that no plan may.
func (p *Plan) Check(h *Lab, cases []Case) error {
	mixed, loaded := make([]bool, len(cases)), make([]bool, len(cases))
	for _, m := range p.Mixes {
		if len(m.Cases) == 0 {
			return errors.New("a mix for no case")
		}
		for _, i := range m.Cases {
			switch {
			case i < 0 || i >= len(cases):
				return fmt.Errorf("a mix names case %d of %d", i, len(cases))
			case cases[i].mixed():
				return fmt.Errorf("case %d has its dough already", i)
			case mixed[i]:
				return fmt.Errorf("case %d is mixed for twice", i)
			case cases[i].Resin != cases[m.Cases[0]].Resin:
				return fmt.Errorf("cases %d and %d share a mix and are of two resins", m.Cases[0], i)
			}
			mixed[i] = true
		}
	}
	for i, ok := range mixed {
		if !ok && !cases[i].mixed() {
			return fmt.Errorf("case %d has no mix", i)
		}
	}
	for _, l := range p.Loads {
		switch {
		case l.Bath < 0 || l.Bath >= h.Baths:
			return fmt.Errorf("a load names bath %d of %d", l.Bath, h.Baths)
		case len(l.Cases) > h.BathPlaces:
			return fmt.Errorf("a load of %d flasks: the bath has %d places", len(l.Cases), h.BathPlaces)
		case !l.Long && h.ShortMin == 0:
			return errors.New("a load by day: the house has no programme for it")
		}
		for _, i := range l.Cases {
			if i < 0 || i >= len(cases) || loaded[i] || cases[i].bathed() {
				return fmt.Errorf("case %d is in two loads, was in a bath already, or is none", i)
			}
			loaded[i] = true
		}
	}
	return nil
}
