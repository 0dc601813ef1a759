package plan

import (
	"math"
	"math/rand/v2"
)

// draw is all that is not known beforehand of one day: the same for every plan that is tried on it, so that plans are
// told apart by what they do and not by luck.
type draw struct {
	Closures [][attempts]int8 // by case and packing
	Finish   []float64        // by case: how much longer or shorter it takes to finish
	DayEnd   float64          // of the day's dough, in standard deviations
	Dough    [doughs]float64  // by mix: of the time to dough, in standard deviations
	End      [doughs]float64  // by mix: of the end of the dough
}

// mixed scrambles a number, so that numbers that lie close give draws that have nothing in common (splitmix64, Steele,
// Lea and Flood 2014, from memory).
func mixed(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// makeDraw draws one day. A case has the same luck whatever the other cases are.
func makeDraw(h *Lab, cases []Case, seed, day uint64) draw {
	at := mixed(mixed(seed) ^ day)
	r := rand.New(rand.NewPCG(at, mixed(at)))
	d := draw{Closures: make([][attempts]int8, len(cases)), Finish: make([]float64, len(cases)), DayEnd: r.NormFloat64()}
	for i := range d.Dough {
		d.Dough[i], d.End[i] = r.NormFloat64(), r.NormFloat64()
	}
	for i, c := range cases {
		own := mixed(at ^ mixed(c.Key))
		r := rand.New(rand.NewPCG(own, mixed(own)))
		for k := range d.Closures[i] {
			u := r.Float64()
			d.Closures[i][k] = h.Closures.pick(c.Size, u)
			if k == 0 && c.live() {
				d.Closures[i][k] = c.Begun.further(u)
			}
		}
		d.Finish[i] = math.Exp(h.FinishLnSD * r.NormFloat64())
	}
	return d
}

// pick is the number of closures at a point of their distribution.
func (c *Closures) pick(s Size, u float64) int8 {
	for k := 1; k < MaxClosures; k++ {
		if u -= c[s][k]; u < 0 {
			return int8(k)
		}
	}
	return MaxClosures
}

// makeDraws draws so many days.
func makeDraws(h *Lab, cases []Case, seed uint64, n int) []draw {
	out := make([]draw, n)
	for i := range out {
		out[i] = makeDraw(h, cases, seed, uint64(i))
	}
	return out
}

// fixedDraw is a day on which nothing is left to luck: each case takes so many closures, all else is as expected.
func fixedDraw(closures []int) draw {
	d := draw{Closures: make([][attempts]int8, len(closures)), Finish: make([]float64, len(closures))}
	for i, k := range closures {
		for a := range d.Closures[i] {
			d.Closures[i][a] = int8(k)
		}
		d.Finish[i] = 1
	}
	return d
}
