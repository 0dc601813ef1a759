package plan

import (
	"fmt"
	"math"
)

// Progress is how far a case is that is at work already.
type Progress uint8

// The steps of a case at work, in their order.
const (
	LostDough Progress = iota // its dough is over: its mould is cleaned, and it is packed anew
	Painted                   // its separator is dry from FromMin on; it waits for a mix
	Packed                    // waits for the press, free for it from FromMin on
	Untrimmed                 // out of the press, to be trimmed from FromMin on
	Pressed                   // in a press, until FromMin
	Clamped                   // its final closure is made, its bench set over at FromMin
	Bathed                    // in a bath, its programme over at FromMin
	Cooling                   // out of the bath, cool at FromMin
	Deflasked                 // to be finished
)

// Begun is how far a case is that is at work already. What has its dough is in no mix of a plan, what is in a bath or
// past it in no load: nothing moves it.
type Begun struct {
	Step    Progress
	FromMin float64 // as the step says
	// Of a case that has its dough and no final closure yet:
	Mix      int       // cases of one mix have the same, 0 to MaxCases, and share its luck
	MadeMin  float64   // when it was mixed
	DoughMin float64   // when its dough is reached, as expected
	EndMin   float64   // when its dough ends, as expected
	Made     int       // trial closures made with this dough, that in the press now left out
	More     []float64 // chance that 0, 1, 2, … further ones are wanted, that in the press now counted in
	Bath     int       // of a case in a bath, 0 to Baths-1; -1 for one that the plan does not use
}

// mixed tells whether a case has its dough: no plan mixes for it.
func (c *Case) mixed() bool { return c.Begun != nil && c.Begun.Step >= Packed }

// live tells whether it has dough that is worked.
func (c *Case) live() bool { return c.mixed() && c.Begun.Step < Clamped }

// bathed tells whether a case is in a bath or past it: no plan loads it.
func (c *Case) bathed() bool { return c.Begun != nil && c.Begun.Step >= Bathed }

func (b *Begun) check() error {
	if b.Step > Deflasked {
		return fmt.Errorf("step %d of a case at work is none", b.Step)
	}
	if !(math.Abs(b.FromMin) < 60*Day) {
		return fmt.Errorf("at work from %g min on is out of range", b.FromMin)
	}
	if b.Step == Bathed && (b.Bath < -1 || b.Bath >= maxBaths) {
		return fmt.Errorf("in bath %d: want -1 to %d", b.Bath, maxBaths-1)
	}
	if b.Step < Packed || b.Step >= Clamped {
		return nil
	}
	sum := 0.
	for _, p := range b.More {
		if !(p >= 0 && p <= 1+1e-9) {
			return fmt.Errorf("further closures: %v is no chance", p)
		}
		sum += p
	}
	switch {
	case math.Abs(sum-1) > 1e-6:
		return fmt.Errorf("the chances of further closures sum to %g: want 1", sum)
	case b.Made < 0 || b.Mix < 0 || b.Mix > MaxCases:
		return fmt.Errorf("%d closures made with mix %d: want 0 or more of each, at most mix %d", b.Made, b.Mix, MaxCases)
	case !(b.MadeMin <= b.DoughMin && b.DoughMin <= b.EndMin && b.EndMin < 60*Day && b.MadeMin > -60*Day):
		return fmt.Errorf("mixed at %g, dough from %g to %g min: want them in that order", b.MadeMin, b.DoughMin, b.EndMin)
	}
	return nil
}

// further are the closures, in all with this dough, that a case at work takes at a point of its distribution.
func (b *Begun) further(u float64) int8 {
	n := len(b.More) - 1
	for k, p := range b.More {
		if u -= p; u < 0 {
			n = k
			break
		}
	}
	return int8(min(b.Made+n, math.MaxInt8))
}

// fewest are the fewest it can take.
func (b *Begun) fewest() int {
	for k, p := range b.More {
		if p > 0 {
			return b.Made + k
		}
	}
	return b.Made
}

// expects is how many closures are still expected of a case at work after so many with this dough, which did not do.
func (b *Begun) expects(made int) float64 {
	q, sum := 0., 0.
	for k, p := range b.More {
		if left := b.Made + k - made; left > 0 {
			q += p
			sum += float64(left) * p
		}
	}
	if q <= 1e-9 {
		return 1
	}
	return sum / q
}

// luck keeps the draws of mixes at work apart from those of mixes still to be made.
func (b *Begun) luck() int { return doughs - 1 - b.Mix%(doughs/2) }

// left is the share of the way from the mix to an instant foretold that is still to go: what is near is known better.
func (b *Begun) left(now, at float64) float64 {
	if at <= now || at <= b.MadeMin {
		return 0
	}
	return min(1, (at-now)/(at-b.MadeMin))
}

// resume sets a case that is at work to where it is.
func (p *player) resume(i int, b *Begun) {
	p.at[i], p.made[i] = b.FromMin, b.Made
	switch b.Step {
	case LostDough:
		p.stage[i], p.left[i], p.at[i], p.made[i] = dirty, p.CleanMin, p.t, 0
	case Painted:
		p.stage[i], p.made[i] = coated, 0
	case Packed, Untrimmed, Pressed:
		p.doughOn(i, b)
		switch p.stage[i] = dough; b.Step {
		case Untrimmed:
			p.stage[i] = untrimmed
		case Pressed:
			for k := range p.press {
				if !p.press[k].busy {
					p.stage[i], p.press[k] = inPress, pressed{true, i, b.FromMin, false}
					break
				}
			}
		}
	case Clamped:
		p.stage[i] = set
	case Bathed:
		if b.Bath < 0 || b.Bath >= len(p.baths) {
			p.stage[i], p.at[i] = cooling, b.FromMin+p.BathOutMin+p.CoolMin
			return
		}
		x := &p.baths[b.Bath]
		p.stage[i] = inBath
		x.busy, x.cases, x.end = true, append(x.cases, i), max(x.end, b.FromMin)
	case Cooling:
		p.stage[i] = cooling
	case Deflasked:
		p.stage[i], p.left[i], p.at[i] = finishing, p.FinishMin*p.draw.Finish[i], p.t
	}
}

// doughOn draws when the dough of a case at work is reached and ends.
func (p *player) doughOn(i int, b *Begun) {
	d, k := p.doughOf(p.cases[i].Resin), b.luck()
	sd := math.Hypot(d.EndDaySDMin, d.EndMixSDMin)
	reached := within(b.DoughMin+d.DoughSDMin*p.draw.Dough[k], b.DoughMin, d.DoughSDMin, earliestDough, latestDough)
	end := max(b.EndMin-earliestEnd*sd, min(b.EndMin+latestEnd*sd, b.EndMin+d.EndDaySDMin*p.draw.DayEnd+d.EndMixSDMin*p.draw.End[k]))
	p.dough[i] = b.DoughMin + (reached-b.DoughMin)*b.left(p.t, b.DoughMin)
	p.end[i] = b.EndMin + (end-b.EndMin)*b.left(p.t, b.EndMin)
}
