package cure

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"time"
)

// Limits on what one run takes, so that time and memory stay bounded whatever comes in (house defaults).
const (
	MinBathC    = 0   // a water bath does not freeze
	MaxBathC    = 130 // nor get hotter than this under a lid
	maxDuration = 14 * 24 * time.Hour
	maxKnots    = 100_000 // a reading every 12 s for 14 days
)

// Knot is one point of a bath curve: TimeS seconds after the flask went in, TempC °C. Between knots the bath is a
// straight line; before the first and after the last it is constant.
type Knot struct {
	TimeS float64 `json:"t_s"`
	TempC float64 `json:"c"`
}

// checkTemp refuses what no bath can read.
func checkTemp(c float64) error {
	switch {
	case math.IsNaN(c) || math.IsInf(c, 0):
		return errors.New("not a number: a bath reads 0 to 130 °C")
	case c < MinBathC || c > MaxBathC:
		return fmt.Errorf("%.4g °C cannot be: a bath reads %d to %d °C", c, MinBathC, MaxBathC)
	}
	return nil
}

// CheckBath reports the first thing wrong with a bath curve: none or too many points, a temperature or a time that cannot
// be, or times that do not run forward.
func CheckBath(bath []Knot) error {
	if len(bath) == 0 {
		return errors.New("the bath has no points: give at least one temperature")
	}
	if len(bath) > maxKnots {
		return fmt.Errorf("the bath has %d points: at most %d are taken", len(bath), maxKnots)
	}
	before := math.Inf(-1)
	for i, k := range bath {
		if err := checkTemp(k.TempC); err != nil {
			return fmt.Errorf("bath point %d: %w", i+1, err)
		}
		if !(math.Abs(k.TimeS) <= maxDuration.Seconds()) {
			return fmt.Errorf("bath point %d: time %g min cannot be: at most %g days", i+1, k.TimeS/60, maxDuration.Hours()/24)
		}
		if k.TimeS <= before {
			return fmt.Errorf("bath point %d: its time %g min is not after the one before (%g min)", i+1, k.TimeS/60, before/60)
		}
		before = k.TimeS
	}
	return nil
}

// BathAt is the bath's temperature in °C at timeS seconds. The bath has at least one point, times rising.
func BathAt(bath []Knot, timeS float64) float64 {
	i := sort.Search(len(bath), func(i int) bool { return bath[i].TimeS > timeS })
	switch i {
	case 0:
		return bath[0].TempC
	case len(bath):
		return bath[i-1].TempC
	}
	a, b := bath[i-1], bath[i]
	return a.TempC + (b.TempC-a.TempC)*(timeS-a.TimeS)/(b.TimeS-a.TimeS)
}

// from is the bath as a flask sees it that goes in entryS seconds after the bath's zero.
func from(bath []Knot, entryS float64) []Knot {
	if len(bath) == 0 {
		return nil
	}
	out := []Knot{{0, BathAt(bath, entryS)}}
	for _, k := range bath {
		if k.TimeS > entryS {
			out = append(out, Knot{k.TimeS - entryS, k.TempC})
		}
	}
	return out
}

// Thin drops points that lie within tolK of the straight line between the points kept, in one pass. First and last points
// stay. A tolK of 0 or less drops nothing.
func Thin(bath []Knot, tolK float64) []Knot {
	if len(bath) < 3 || !(tolK > 0) {
		return bath
	}
	out := make([]Knot, 1, 16)
	out[0] = bath[0]
	lo, hi := math.Inf(-1), math.Inf(1) // slopes from the last kept point that miss none since by more than tolK
	for i := 1; i < len(bath); i++ {
		pivot := out[len(out)-1]
		dt := bath[i].TimeS - pivot.TimeS
		slope := (bath[i].TempC - pivot.TempC) / dt
		if slope < lo || slope > hi {
			pivot = bath[i-1]
			out = append(out, pivot)
			dt = bath[i].TimeS - pivot.TimeS
			lo, hi = math.Inf(-1), math.Inf(1)
		}
		lo = math.Max(lo, (bath[i].TempC-tolK-pivot.TempC)/dt)
		hi = math.Min(hi, (bath[i].TempC+tolK-pivot.TempC)/dt)
	}
	return append(out, bath[len(bath)-1])
}
