package dough

import (
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// consistency is one of the five states dough goes through.
type consistency string

// The five stages, in order (common teaching; see Parameters for the times).
const (
	sandy   consistency = "sandy"
	stringy consistency = "stringy"
	dough   consistency = "dough"
	rubbery consistency = "rubbery"
	stiff   consistency = "stiff"
)

// Where the stages without a mark of their own end, as a fraction of the end
// beside them (house defaults: leaflets give about 2 of 8 min for sandy, from
// memory).
const (
	sandyShare   = 0.25 // of the time to dough
	rubberyShare = 1.5  // of the time to too stiff
)

// consistency is the likeliest stage at a length of time since mixing, an estimate
// but for the ends that were marked. Before the mixing it is sandy.
func (w WorkingTime) stage(elapsed time.Duration) consistency {
	switch {
	case elapsed < scaled(w.From, sandyShare):
		return sandy
	case elapsed < w.From:
		return stringy
	case elapsed < w.To:
		return dough
	case elapsed < scaled(w.To, rubberyShare):
		return rubbery
	default:
		return stiff
	}
}

// scaled multiplies a length of time.
func scaled(d time.Duration, by float64) time.Duration {
	return time.Duration(float64(d) * by)
}

// chancePackable is the estimated chance, 0 to 1, that the dough can be packed
// at a length of time since mixing: dough reached, not yet too stiff. The two
// ends are taken as independent, which is near enough where one of them decides.
func (w WorkingTime) chancePackable(elapsed time.Duration) float64 {
	reached := chanceBefore(elapsed, w.From, w.FromLow, w.FromHigh)
	stiff := chanceBefore(elapsed, w.To, w.ToLow, w.ToHigh)
	return reached * (1 - stiff)
}

// chanceBefore is the chance that an end with this 80 % band lies at or before
// elapsed: log-normal, with its own width on either side of the middle.
func chanceBefore(elapsed, mid, low, high time.Duration) float64 {
	if elapsed <= 0 || mid <= 0 {
		return 0
	}
	edge := low
	if elapsed > mid {
		edge = high
	}
	sd := math.Abs(math.Log(float64(edge)/float64(mid))) / zEighty
	if edge <= 0 || sd < 1e-9 { // marked: no width
		if elapsed < mid {
			return 0
		}
		return 1
	}
	return distuv.UnitNormal.CDF(math.Log(float64(elapsed)/float64(mid)) / sd)
}
