package flash

import (
	"math"
	"math/rand/v2"
)

// simulate makes a flask as the model has it: a line from the prior of its size with the floor in it, closures
// until the first at most slight (two at least, most at most), each weighed with chance
// weighed. A bare first closure is answered with more dough.
func simulate(rng *rand.Rand, s TrendSettings, z Size, weighed float64, most int) History {
	p := s.Prior.at(z)
	draw := func() float64 { return math.Log(p.FirstG) + p.FirstSD*rng.NormFloat64() }
	a, b := draw(), math.Log(p.Kept)+p.KeptSD*rng.NormFloat64()
	h := History{Size: z}
	added := false
	for k, n := 0, 1; n <= most; n++ {
		m := s.lift().of(a + b*float64(k))
		t := Trial{Grade: s.GradeOf(math.Exp(m + s.GradeSD*rng.NormFloat64())), Added: added}
		if rng.Float64() < weighed {
			g := math.Exp(m + s.WeighSD*rng.NormFloat64())
			if g >= MinGrams && g <= MaxGrams {
				t.Grams = &g
			}
		}
		h.Trials = append(h.Trials, t)
		k++
		added = n == 1 && t.Grade == None
		if added {
			a, k = draw(), 0
		} else if n >= 2 && t.Grade <= Slight {
			break
		}
	}
	return h
}
