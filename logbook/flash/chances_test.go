package flash

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// sequences calls f with every sequence of n grades.
func sequences(n int, f func([]Trial)) {
	ts := make([]Trial, n)
	var fill func(int)
	fill = func(i int) {
		if i == n {
			f(ts)
			return
		}
		for g := None; g <= Heavy; g++ {
			ts[i].Grade = g
			fill(i + 1)
		}
	}
	fill(0)
}

func evidence(t *testing.T, s TrendSettings, h History) float64 {
	t.Helper()
	e, err := Evidence(s, []History{h})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// The laws of probability: the chances of all that can be seen add up to 1, and foretelling
// one closure after another multiplies to the chance of them all.
func TestChainRule(t *testing.T) {
	s := HouseDefaults()
	for _, z := range Sizes() {
		var sum float64
		sequences(4, func(ts []Trial) { sum += math.Exp(evidence(t, s, History{Size: z, Trials: ts})) })
		near(t, "sum over all sequences", sum, 1, 1e-7)
	}
	for _, text := range []string{"heavy,heavy,slight", "none,+heavy,slight,none", "heavy:8,heavy,slight", "slight,none,heavy,+slight"} {
		h := History{Size: Large, Trials: trials(t, text)}
		var product float64
		for i, tr := range h.Trials {
			before := History{Size: h.Size, Trials: h.Trials[:i], AddedSince: tr.Added}
			if tr.Grams != nil { // the marginal of the first trim is normal
				p := s.Prior.Large
				z := distuv.Normal{Mu: math.Log(p.FirstG), Sigma: math.Hypot(p.FirstSD, s.WeighSD)}
				product += z.LogProb(math.Log(*tr.Grams))
				continue
			}
			next := fit(t, s, before).Next
			product += math.Log([]float64{None: next.None, Slight: next.Slight, Heavy: next.Heavy}[tr.Grade])
		}
		near(t, text, evidence(t, s, h), product, 1e-6)
	}
}

// Further closures, counted out over every sequence of grades there is.
func TestFurtherByEnumeration(t *testing.T) {
	s := HouseDefaults()
	for _, c := range []struct {
		size  Size
		done  string
		house Grade
		least int
	}{{Medium, "", Slight, 2}, {Large, "", Slight, 1}, {Small, "heavy", Slight, 1}, {Small, "heavy,slight", None, 1}, {Medium, "heavy:3.2", None, 2}} {
		done := trials(t, c.done)
		base := evidence(t, s, History{Size: c.size, Trials: done})
		const far = 4
		want := make([]float64, far+1)
		sequences(far, func(ts []Trial) {
			for j := c.least; j <= far; j++ {
				if ts[j-1].Grade <= c.house {
					h := History{Size: c.size, Trials: append(append([]Trial(nil), done...), ts...)}
					want[j] += math.Exp(evidence(t, s, h) - base)
					break
				}
			}
		})
		got, err := fit(t, s, History{Size: c.size, Trials: done}).Further(c.house, c.least)
		if err != nil {
			t.Fatal(err)
		}
		for j := range want {
			near(t, c.done, got[j], want[j], 1e-6)
		}
	}
}

func TestFurther(t *testing.T) {
	p := fit(t, HouseDefaults(), History{Size: Medium, Trials: trials(t, "heavy")})
	got, err := p.Further(Slight, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != MaxAhead+1 || got[0] != 0 {
		t.Errorf("chances %v", got)
	}
	for i, w := range p.FirstAtMostSlightIn {
		near(t, "first at most slight", got[i+1], w, 0)
	}
	if got, err := p.Further(Slight, 0); err != nil || got[0] != 1 || within(got, 0) != 1 {
		t.Errorf("a flask that needs no more: %v, %v", got, err)
	}
	for _, c := range []struct {
		house Grade
		least int
	}{{Heavy, 1}, {0, 1}, {Slight, -1}, {Slight, MaxAhead + 1}} {
		if got, err := p.Further(c.house, c.least); err == nil {
			t.Errorf("Further(%v, %d) = %v", c.house, c.least, got)
		}
	}
	near(t, "within 2", within(got, 2), got[1]+got[2], 0)
	near(t, "within −1", within(got, -1), 0, 0)
	if w := within(got, 1000); w > 1 || w < 0.99 {
		t.Errorf("within 1000: %g", w)
	}
}

// Common practice, no source: two to three trial closures as a rule, up to about six for a
// very large base. The house values are chosen to agree with it.
func TestCommonPractice(t *testing.T) {
	of := func(z Size) []float64 {
		pmf, err := fit(t, HouseDefaults(), History{Size: z}).Further(Slight, 2)
		if err != nil {
			t.Fatal(err)
		}
		return pmf
	}
	if m := of(Medium); !(within(m, 4) > 0.8) || m[1] != 0 || m[3] < m[2] || m[3] < m[4] {
		t.Errorf("medium: 2 to 4 with chance %.3f (%.3f)", within(m, 4), m)
	}
	if l := of(Large); !(within(l, 6) > 0.8) || within(l, 3) > 0.5 {
		t.Errorf("large: at most 6 with chance %.3f, 3 with %.3f", within(l, 6), within(l, 3))
	}
	if s := of(Small); !(within(s, 3) > 0.8) {
		t.Errorf("small: at most 3 with chance %.3f", within(s, 3))
	}
}

// cells of the nodes of a rule: each reaches to the middle between its neighbours. The
// nodes may stand in falling order.
func cells(xs []float64, f func(i int, lo, hi float64)) {
	n := len(xs)
	at := func(i int) float64 { return xs[min(max(i, 0), n-1)] }
	for i, x := range xs {
		lo, hi := (at(i-1)+x)/2, (x+at(i+1))/2
		if i == 0 {
			lo = 1.5*x - 0.5*at(1)
		}
		if i == n-1 {
			hi = 1.5*x - 0.5*at(n-2)
		}
		f(i, math.Min(lo, hi), math.Max(lo, hi))
	}
}

// cdfLine is the chance that a + b·x is at most v, by the nodes of the posterior, each
// spread evenly over its cell in a.
func (p Posterior) cdfLine(x, v float64) float64 {
	var sum float64
	for _, r := range p.grid.rows {
		w := p.grid.weight[r.from : r.from+r.n]
		cells(p.grid.a[r.from:r.from+r.n], func(i int, lo, hi float64) {
			sum += w[i] * math.Min(math.Max((v-r.b*x-lo)/(hi-lo), 0), 1)
		})
	}
	return sum
}

// cdfB is the chance that b is at most v.
func (p Posterior) cdfB(v float64) float64 {
	bs := make([]float64, len(p.grid.rows))
	for i, r := range p.grid.rows {
		bs[i] = r.b
	}
	var sum float64
	cells(bs, func(i int, lo, hi float64) {
		sum += p.grid.rows[i].mass * math.Min(math.Max((v-lo)/(hi-lo), 0), 1)
	})
	return sum
}

// Simulation-based calibration (Talts, Betancourt, Simpson, Vehtari and Gelman, 2018; from
// memory): over flasks drawn from the prior, the place of the true value in its posterior
// is uniform. Chi-square on 20 bins for a, b and the line at the next trial; fixed seed.
func TestSimulationBasedCalibration(t *testing.T) {
	const flasks, bins = 600, 20
	s := HouseDefaults()
	rng := rand.New(rand.NewPCG(20795, 1))
	var counts [3][bins]float64
	for i := range flasks {
		z := Sizes()[i%3]
		p := s.Prior.at(z)
		draw := func() float64 { return math.Log(p.FirstG) + p.FirstSD*rng.NormFloat64() }
		a, b := draw(), math.Log(p.Kept)+p.KeptSD*rng.NormFloat64()
		h := History{Size: z}
		k := 0.0
		for n := range 1 + rng.IntN(6) {
			tr := Trial{Added: n > 0 && rng.IntN(6) == 0}
			if tr.Added {
				a, k = draw(), 0
			}
			m := a + b*k
			if g := math.Exp(m + s.WeighSD*rng.NormFloat64()); rng.IntN(3) == 0 && g > MinGrams && g < MaxGrams {
				tr.Grams = &g
			}
			tr.Grade = s.GradeOf(math.Exp(m + s.GradeSD*rng.NormFloat64()))
			h.Trials = append(h.Trials, tr)
			k++
		}
		post := fit(t, s, h)
		for q, u := range []float64{post.cdfLine(0, a), post.cdfB(b), post.cdfLine(k, a+b*k)} {
			counts[q][min(int(u*bins), bins-1)]++
		}
	}
	// 0.99 point of chi-square with 19 degrees of freedom: 36.19 (handbook table).
	limit := distuv.ChiSquared{K: bins - 1}.Quantile(0.99)
	near(t, "the table's 0.99 point", limit, 36.19, 1e-3)
	for q, name := range []string{"a", "b", "next"} {
		var chi2 float64
		for _, c := range counts[q] {
			e := float64(flasks) / bins
			chi2 += (c - e) * (c - e) / e
		}
		t.Logf("%s: chi-square %.1f on %d degrees of freedom", name, chi2, bins-1)
		if chi2 > limit {
			t.Errorf("%s: ranks are not uniform: chi-square %.1f, %v", name, chi2, counts[q])
		}
	}
}

// within is the chance that at most n further closures do, from the chances that Further
// gives.
func within(further []float64, n int) float64 {
	var sum float64
	for _, c := range further[:min(max(n+1, 0), len(further))] {
		sum += c
	}
	return math.Min(sum, 1)
}

// Evidence is ln of the marginal likelihood of the trials of many flasks under s: how well
// the settings foretold them. A weighed trim counts as a density per unit of ln grams.
// Errors: settings, size or a trial that cannot be; the flask is named by its place in hs,
// counted from 1.
func Evidence(s TrendSettings, hs []History) (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	k, err := newBook(hs)
	if err != nil {
		return 0, err
	}
	var sum float64
	for _, z := range Sizes() {
		sum += k.evidence(s, z)
	}
	return sum, nil
}
