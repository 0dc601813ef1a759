package press

import (
	"math"
	"time"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// houseDurations are those used until a book has taught better ones (house default).
func houseDurations() Durations {
	return Durations{
		Raise: 42 * time.Second,
		Hold:  60 * time.Second,
		Open:  18 * time.Second,
		Trim:  90 * time.Second,
		Final: 120 * time.Second,
	}
}

// houseBench is one press and one pair of hands (house default).
func houseBench() Capacity { return Capacity{Presses: 1, Hands: 1} }

// houseSize is the flash of one size of base (house default): grams at the first closure and the fraction kept from
// one closure to the next, both log-normal.
type houseSize struct {
	name                          string
	share                         float64
	firstG, firstSD, kept, keptSD float64
}

var houseSizes = []houseSize{
	{"small", 0.3, 4, 0.6, 0.30, 0.35},
	{"medium", 0.5, 8, 0.6, 0.30, 0.35},
	{"large", 0.2, 18, 0.6, 0.40, 0.35},
}

// House defaults: a closure at or under slight, graded with noise, ends the trials from the second on.
const (
	houseSlightG = 1.0
	houseGradeSD = 0.45
	houseLeast   = 2
	houseMost    = 15
)

// totals is the chance of each number of trial closures, by Gauss-Hermite quadrature over the two log-normals.
func (h houseSize) totals() []float64 {
	const points = 60
	x, w := make([]float64, points), make([]float64, points)
	quad.Hermite{}.FixedLocations(x, w, math.Inf(-1), math.Inf(1))
	got := make([]float64, houseMost)
	for i := range x {
		a := math.Log(h.firstG/houseSlightG) + math.Sqrt2*h.firstSD*x[i]
		for j := range x {
			b := math.Log(h.kept) + math.Sqrt2*h.keptSD*x[j]
			left := w[i] * w[j] / math.Pi
			for k := houseLeast; k < houseMost; k++ {
				enough := left * distuv.UnitNormal.CDF(-(a+b*float64(k-1))/houseGradeSD)
				got[k-1] += enough
				left -= enough
			}
			got[houseMost-1] += left
		}
	}
	return got
}

func house() []Size {
	var s []Size
	for _, h := range houseSizes {
		s = append(s, Size{h.name, h.share, h.totals()})
	}
	return s
}

func totalsOf(name string) []float64 {
	for _, s := range house() {
		if s.Name == name {
			return s.Totals
		}
	}
	return nil
}

// mins is a time in minutes.
func mins(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

// knownTo is the distribution of a number of closures that is known.
func knownTo(n int) []float64 {
	p := make([]float64, n)
	p[n-1] = 1
	return p
}
