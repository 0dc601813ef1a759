package cure

import (
	"fmt"
	"math"
	"time"
)

// How far a hold is looked for (house defaults): beyond, the answer is that no sensible hold does it.
const (
	maxExtra = 48 * time.Hour
	maxHold  = 72 * time.Hour
)

// Extra is what a bath that was not at its set point would take to leave the same residual monomer: information for the
// person who decides, never a change of the programme.
type Extra struct {
	Hold    time.Duration `json:"-"`
	Minutes float64       `json:"extra_min"`   // Hold in minutes
	Reached bool          `json:"reached"`     // false: not within 48 h more
	Planned float64       `json:"w_planned"`   // mean monomer at the end of the programme had the bath kept it, wt%
	AsItWas float64       `json:"w_as_it_was"` // mean monomer at that time in the bath as it was, wt%
}

// ExtraHold is how much longer than the programme the last stage must be held, in the bath as it was, for the residual
// the programme would have left. It is 0 when the bath cost nothing. startC is the bath's temperature at the start of a
// programme that begins with a ramp. A bath that ends away from the last set point is taken to be back there a minute
// later.
func ExtraHold(p Params, prog Programme, startC float64, bath []Knot) (Extra, error) {
	if err := prog.Validate(); err != nil {
		return Extra{}, err
	}
	total := prog.Total()
	o := Options{EndS: total.Seconds(), WithoutCurve: true}
	planned, err := Simulate(p, prog.Knots(startC), o)
	if err != nil {
		return Extra{}, err
	}
	return extraHold(p, prog, bath, planned.WMeanEnd)
}

// extraHold is ExtraHold when the residual planned is known already.
func extraHold(p Params, prog Programme, bath []Knot, plannedPct float64) (Extra, error) {
	if err := CheckBath(bath); err != nil {
		return Extra{}, err
	}
	endS := prog.Total().Seconds()
	lastC := prog.Stages[len(prog.Stages)-1].TempC
	if k := bath[len(bath)-1]; k.TempC != lastC {
		bath = append(bath[:len(bath):len(bath)], Knot{math.Max(k.TimeS+believe.Seconds(), 0), lastC})
	}
	x := Extra{Planned: plannedPct}
	o := Options{EndS: endS, WithoutCurve: true}
	asItWas, err := Simulate(p, bath, o)
	if err != nil {
		return Extra{}, err
	}
	x.AsItWas = asItWas.WMeanEnd
	// Equal within what the integration can tell apart: no cost.
	if x.AsItWas <= plannedPct*(1+1e-4) {
		x.Reached = true
		return x, nil
	}
	o.EndS = endS + maxExtra.Seconds()
	if o, err = o.filled(bath); err != nil {
		return Extra{}, fmt.Errorf("extra hold: %w", err)
	}
	r, hit, err := simulate(&p, bath, o, until{on: true, fromS: endS, pct: plannedPct})
	if err != nil {
		return Extra{}, err
	}
	x.Reached = hit
	x.Hold = time.Duration((r.EndS - endS) * float64(time.Second)).Round(time.Second)
	x.Minutes = x.Hold.Minutes()
	return x, nil
}

// HoldFor is how long a flask would have to be in a bath of tempC, from going in, until the mean residual monomer is
// monomerPct wt%: information only. reached is false when 72 h do not do it.
func HoldFor(p Params, tempC, monomerPct float64) (hold time.Duration, reached bool, err error) {
	if err := p.Validate(); err != nil {
		return 0, false, err
	}
	if !(monomerPct > 0 && monomerPct < 100) {
		return 0, false, fmt.Errorf("residual monomer %g %%: it must be more than 0 and less than 100", monomerPct)
	}
	bath := []Knot{{0, tempC}}
	if err := CheckBath(bath); err != nil {
		return 0, false, err
	}
	o, err := Options{EndS: maxHold.Seconds(), WithoutCurve: true}.filled(bath)
	if err != nil {
		return 0, false, err
	}
	r, hit, err := simulate(&p, bath, o, until{on: true, pct: monomerPct})
	if err != nil || !hit {
		return 0, false, err
	}
	return time.Duration(r.EndS * float64(time.Second)).Round(time.Second), true, nil
}

// Excursion is a stretch of readings out of band in a hold.
type Excursion struct {
	From   time.Time `json:"from"` // first reading out of band
	To     time.Time `json:"to"`   // first reading back in band, or the last reading
	Open   bool      `json:"open"` // the last reading is still out
	Stage  int       `json:"stage"`
	SetC   float64   `json:"set"`
	WorstC float64   `json:"worst"` // the reading farthest from its set point
}

// OutOfBand lists the stretches of readings farther than bandK (0: [DefaultBandK]) from the set point while the programme
// holds; ramps are not judged, since a bath always lags behind one. Readings before start and after the programme's end
// are passed over.
func OutOfBand(prog Programme, start time.Time, readings []Reading, bandK float64) []Excursion {
	if !(bandK > 0) {
		bandK = DefaultBandK
	}
	var out []Excursion
	for _, r := range readings {
		stage, setC, holds := prog.Hold(r.At.Sub(start))
		if !holds {
			continue
		}
		off := math.Abs(r.TempC - setC)
		var last *Excursion
		if n := len(out); n > 0 && out[n-1].Open {
			last = &out[n-1]
		}
		switch {
		case last != nil:
			last.To = r.At
			last.Open = off > bandK
			if off > math.Abs(last.WorstC-last.SetC) {
				last.WorstC, last.SetC, last.Stage = r.TempC, setC, stage
			}
		case off > bandK:
			out = append(out, Excursion{r.At, r.At, true, stage, setC, r.TempC})
		}
	}
	return out
}

// Cost is the extra hold for one excursion alone: the readings from the one before it to its end, the set point
// elsewhere. For an open one it is the cost if the bath came back now.
func (x Excursion) Cost(p Params, prog Programme, startC float64, start time.Time, readings []Reading) (Extra, error) {
	lo, hi := 0, 0
	for i, r := range readings {
		if r.At.Before(x.From) {
			lo = i
		}
		if !r.At.After(x.To) {
			hi = i + 1
		}
	}
	if lo >= hi {
		return Extra{}, fmt.Errorf("excursion from %s: its readings are not given", x.From.Format(time.RFC3339))
	}
	bath, err := Follow(prog, startC, start, readings[lo:hi])
	if err != nil {
		return Extra{}, err
	}
	return ExtraHold(p, prog, startC, bath)
}
