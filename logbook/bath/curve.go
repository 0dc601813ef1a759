package bath

import (
	"fmt"
	"math"
	"slices"
	"time"

	"flaskside/timers/cure"
)

// dip is what cold flasks that went in later do to the bath, on their load's time.
type dip struct {
	After  time.Duration
	Flasks int
	cure.Dip
}

// curve is the bath of a case: as it was read up to knownS, as it is expected
// after.
type curve struct {
	knots  []cure.Knot
	knownS float64
	dips   []dip
	notes  []string
}

// catchUpS is the step in which a bath that is off finds its way back.
const catchUpS = 60

// curve works out the bath. Up to the last reading it is what was read, straight
// between; after it, it comes back to the programme as fast as the heater can, and
// dips where cold flasks went in since.
func (c LoadCase) curve() (curve, error) {
	known := slices.Clone(c.Readings)
	i := 0
	for i < len(known) && known[i].At.Before(c.Start) {
		i++
	}
	// What it read when the flasks went in was recorded with them.
	known = slices.Insert(known, i, cure.BathReading{At: c.Start, TempC: c.BathC})
	followed, err := cure.Follow(c.Programme, c.BathC, c.Start, known)
	if err != nil {
		return curve{}, err
	}
	endS := c.Programme.Total().Seconds()
	last := known[len(known)-1]
	lastS := math.Min(last.At.Sub(c.Start).Seconds(), endS)
	out := curve{knots: followed, knownS: lastS}
	set := c.Programme.Knots(c.BathC)
	lastC := cure.BathAt(followed, lastS)
	off := math.Abs(lastC-cure.BathAt(set, lastS)) > c.BandK
	if off && lastS < endS && c.Out > 0 {
		// What was off when it was last read, and was left so, did not come back.
		keep := followed[:0:0]
		for _, k := range followed {
			if k.TimeS <= lastS {
				keep = append(keep, k)
			}
		}
		out.knots = append(keep, cure.Knot{TimeS: endS, TempC: lastC})
	} else if off && lastS < endS {
		back, able := c.comeBack(set, lastS, lastC, endS)
		keep := followed[:0:0]
		for _, k := range followed {
			if k.TimeS < lastS {
				keep = append(keep, k)
			}
		}
		out.knots = slices.Concat(keep, back)
		if !able {
			out.notes = append(out.notes, fmt.Sprintf("by the settings of bath %d its heater cannot hold the programme: litres and watts right?", c.Bath))
		}
	}
	if len(c.Readings) == i && !off { // nothing read since: the flasks of the load itself cool it
		if d, err := c.dip(0, c.Flasks); err == nil {
			out.knots = d.Lower(out.knots, 0, endS)
		}
	}
	for _, a := range c.Added {
		d, err := c.dip(a.After, a.Flasks)
		if err != nil {
			continue // a bath no hotter than the flasks does not dip
		}
		out.dips = append(out.dips, dip{a.After, a.Flasks, d})
		if s := a.After.Seconds(); s >= lastS && s < endS {
			out.knots = d.Lower(out.knots, s, endS)
		}
	}
	return out, nil
}

// dip is what n cold flasks do to the bath at a length of time into the programme.
func (c LoadCase) dip(after time.Duration, n int) (cure.Dip, error) {
	_, thick, err := c.params()
	if err != nil {
		return cure.Dip{}, err
	}
	tk := c.Tank
	tk.SetC = cure.BathAt(c.Programme.Knots(c.BathC), after.Seconds())
	return tk.AddFlasks(thick, n, cure.FlaskJPerK)
}

// comeBack is the bath from startC at startS until it is at the programme, and the
// programme from there: heated by all the heater has above the losses, cooled by
// the losses alone. able is false where the heater cannot get there.
func (c LoadCase) comeBack(set []cure.Knot, startS, startC, endS float64) (out []cure.Knot, able bool) {
	// Water near 70 °C: 0.98 kg/L, 4190 J/(kg K), as in the tank of package cure.
	heatJPK := c.Tank.Litres*0.98*4190 + c.Tank.MetalJPK + float64(c.Flasks)*cure.FlaskJPerK
	t, s := startC, startS
	out, able = []cure.Knot{{TimeS: s, TempC: t}}, true
	for s < endS {
		step := math.Min(catchUpS, endS-s)
		want := cure.BathAt(set, s+step)
		lossW := c.Tank.LossWPerK * (t - c.Tank.RoomC)
		up := (c.Tank.HeaterW - lossW) * step / heatJPK
		down := math.Max(lossW, 0) * step / heatJPK
		if want > t && c.Tank.HeaterW <= c.Tank.LossWPerK*(want-c.Tank.RoomC) {
			able = false
		}
		s += step
		next := math.Min(math.Max(want, t-down), t+math.Max(up, -down))
		reached := next == want
		t = next
		out = append(out, cure.Knot{TimeS: s, TempC: math.Min(math.Max(t, cure.MinBathC), cure.MaxBathC)})
		if reached {
			break
		}
	}
	for _, k := range set {
		if k.TimeS > s {
			out = append(out, k)
		}
	}
	return cure.Thin(out, cure.ThinK), able
}
