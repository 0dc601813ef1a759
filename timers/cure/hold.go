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

// Extra is how much longer a stage would have to be held at its own temperature to leave at its end the residual monomer
// that the programme leaves then: information for the person who decides, never a change of the programme.
type Extra struct {
	Stage   int           `json:"at_stage"` // from 0
	SetC    float64       `json:"at_c"`
	Hold    time.Duration `json:"-"`
	Minutes float64       `json:"extra_min"`   // Hold in minutes
	Reached bool          `json:"reached"`     // false: not within 48 h more
	Never   bool          `json:"never_there"` // the core never got to the stage's temperature while it was due
	Planned float64       `json:"w_planned"`   // mean monomer at the end of the stage had the bath kept to the programme, wt%
	AsItWas float64       `json:"w_as_it_was"` // mean monomer at that time in the bath as it was, wt%
}

// span is when a stage is held by its programme, in s after the flasks went in.
func (p Programme) span(stage int) (fromS, toS float64) {
	at := time.Duration(0)
	for i, s := range p.Stages {
		at += s.Ramp
		if i == stage {
			return at.Seconds(), (at + s.Hold).Seconds()
		}
		at += s.Hold
	}
	return at.Seconds(), at.Seconds()
}

// extraHold is how much longer a stage of the programme, counted from 0, must be held at its own temperature in the bath as
// it was. It is 0 when the bath cost nothing up to the end of that stage. startC is the bath's temperature at the start of
// a programme that begins with a ramp. A bath that ends the stage away from its set point is taken to be there a minute
// later.
func extraHold(p Params, prog Programme, startC float64, bath []Knot, stage int) (Extra, error) {
	if err := prog.Validate(); err != nil {
		return Extra{}, err
	}
	if stage < 0 || stage >= len(prog.Stages) {
		return Extra{}, fmt.Errorf("stage %d: the programme has %d", stage+1, len(prog.Stages))
	}
	if err := CheckBath(bath); err != nil {
		return Extra{}, err
	}
	fromS, endS := prog.span(stage)
	x := Extra{Stage: stage, SetC: prog.Stages[stage].TempC}
	planned, err := Simulate(p, prog.Knots(startC), RunOptions{EndS: endS})
	if err != nil {
		return Extra{}, err
	}
	asItWas, err := Simulate(p, bath, RunOptions{EndS: endS})
	if err != nil {
		return Extra{}, err
	}
	x.Planned, x.AsItWas = planned.WMeanEnd, asItWas.WMeanEnd
	x.Never = neverThere(planned.Curve, asItWas.Curve, fromS, endS, x.SetC)
	// Equal within what the integration can tell apart: no cost.
	if x.AsItWas <= x.Planned*(1+sameResidual) {
		x.Reached = true
		return x, nil
	}
	held, hit, err := holdUntil(p, hold(bath, endS, x.SetC), endS, until{on: true, fromS: endS, pct: x.Planned})
	if err != nil {
		return Extra{}, err
	}
	x.Reached = hit
	x.Hold = time.Duration((held - endS) * float64(time.Second)).Round(time.Second)
	x.Minutes = x.Hold.Minutes()
	return x, nil
}

// sameResidual is the share of a residual that the integration cannot tell apart.
const sameResidual = 1e-4

// neverThere tells whether the core never came within 2 K of a stage's temperature between two moments at which the
// programme would have had it there.
func neverThere(planned, was curve, fromS, toS, setC float64) bool {
	return hottestIn(was, fromS, toS) < math.Min(setC, hottestIn(planned, fromS, toS))-coreAtBathK
}

// reaches is when a bath that is below a temperature at fromS gets there, as it is given; fromS where it is not below, or
// never does.
func reaches(bath []Knot, fromS, tempC float64) float64 {
	before := Knot{fromS, BathAt(bath, fromS)}
	if before.TempC >= tempC {
		return fromS
	}
	for _, k := range bath {
		if k.TimeS <= fromS {
			continue
		}
		if k.TempC >= tempC {
			return before.TimeS + (tempC-before.TempC)/(k.TempC-before.TempC)*(k.TimeS-before.TimeS)
		}
		before = k
	}
	return fromS
}

// hold is a bath up to a moment, and from then on at a temperature: from where it comes up to it as it is given, else from
// a minute later on; without the minute where it is there already.
func hold(bath []Knot, fromS, tempC float64) []Knot {
	fromS = reaches(bath, fromS, tempC)
	out := upToS(bath, fromS)
	if at := out[len(out)-1]; at.TempC != tempC {
		out = append(out, Knot{fromS + believe.Seconds(), tempC})
	}
	return out
}

// upToS is a bath up to a moment, with a point there.
func upToS(bath []Knot, toS float64) []Knot {
	out := make([]Knot, 0, len(bath)+1)
	for _, k := range bath {
		if k.TimeS < toS {
			out = append(out, k)
		}
	}
	return append(out, Knot{toS, BathAt(bath, toS)})
}

// holdUntil is when, in s, stop comes true in a bath that goes on as it ends, looked for up to 48 h after fromS.
func holdUntil(p Params, bath []Knot, fromS float64, stop until) (endS float64, hit bool, err error) {
	o, err := RunOptions{EndS: math.Min(fromS+maxExtra.Seconds(), maxDuration.Seconds()), WithoutCurve: true}.filled(bath)
	if err != nil {
		return 0, false, fmt.Errorf("extra hold: %w", err)
	}
	r, hit, err := simulate(&p, bath, o, stop)
	return r.EndS, hit, err
}

// HoldFor is how long a flask would have to be in a bath of tempC, from going in, until the mean residual monomer is
// monomerPct wt%: information only. reached is false when 72 h do not do it.
func HoldFor(p Params, tempC, monomerPct float64) (hold time.Duration, reached bool, err error) {
	if err := p.validate(); err != nil {
		return 0, false, err
	}
	if !(monomerPct > 0 && monomerPct < 100) {
		return 0, false, fmt.Errorf("residual monomer %g %%: it must be more than 0 and less than 100", monomerPct)
	}
	bath := []Knot{{0, tempC}}
	if err := CheckBath(bath); err != nil {
		return 0, false, err
	}
	o, err := RunOptions{EndS: maxHold.Seconds(), WithoutCurve: true}.filled(bath)
	if err != nil {
		return 0, false, err
	}
	r, hit, err := simulate(&p, bath, o, until{on: true, pct: monomerPct})
	if err != nil || !hit {
		return 0, false, err
	}
	return time.Duration(r.EndS * float64(time.Second)).Round(time.Second), true, nil
}

// Excursion is a stretch of readings out of band in one hold.
type Excursion struct {
	From   time.Time `json:"from"` // first reading out of band
	To     time.Time `json:"to"`   // first reading back in band, the end of the hold, or the last reading
	Open   bool      `json:"open"` // the last reading is still out
	Goes   bool      `json:"goes"` // on from the excursion before: the bath was not read back between them
	Stage  int       `json:"stage"`
	SetC   float64   `json:"set"`
	WorstC float64   `json:"worst"` // the reading farthest from its set point
}

// OutOfBand lists the stretches of readings farther than bandK (0: [DefaultBandK]) from the set point while the programme
// holds; ramps are not judged, since a bath always lags behind one. A bath that is off in one hold and still in the next
// is an excursion in each, against the temperature of each. Readings before start and after the programme's end are passed
// over.
func OutOfBand(prog Programme, start time.Time, readings []BathReading, bandK float64) []Excursion {
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
		goes := false
		if last != nil && last.Stage != stage {
			_, endS := prog.span(last.Stage)
			last.To, last.Open = start.Add(time.Duration(endS*float64(time.Second))), false
			last, goes = nil, true
		}
		switch {
		case last != nil:
			last.To = r.At
			last.Open = off > bandK
			if off > math.Abs(last.WorstC-last.SetC) {
				last.WorstC = r.TempC
			}
		case off > bandK:
			out = append(out, Excursion{r.At, r.At, true, goes, stage, setC, r.TempC})
		}
	}
	return out
}

// Cost is the extra hold for one excursion alone, at the temperature of the stage it was in: the readings from the one
// before it to its end, the set point elsewhere. For an open one it is the cost if the bath came back now.
func (x Excursion) Cost(p Params, prog Programme, startC float64, start time.Time, readings []BathReading) (Extra, error) {
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
	return extraHold(p, prog, startC, bath, x.Stage)
}
