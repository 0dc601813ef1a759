package flash

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

func near(t *testing.T, name string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol*math.Max(1, math.Abs(want))) {
		t.Errorf("%s = %.15g, want %.15g", name, got, want)
	}
}

// Source: R. A. Norris's ozone data, NIST Statistical Reference Datasets, linear
// regression (Norris): certified estimates, their standard deviations and the residual
// sd. In the limit of weighed trims and wide priors the posterior is ordinary least
// squares; with the noise set to the certified residual sd, its sds are the certified ones.
func TestNorris(t *testing.T) {
	var norris struct {
		X        []float64 `json:"x"`
		Y        []float64 `json:"y"`
		B0       float64   `json:"b0"`
		B0SD     float64   `json:"b0_sd"`
		B1       float64   `json:"b1"`
		B1SD     float64   `json:"b1_sd"`
		Residual float64   `json:"residual_sd"`
	}
	readTestdata(t, "../nist/norris.json", &norris)
	if len(norris.X) != 36 || len(norris.Y) != 36 {
		t.Fatalf("%d and %d numbers", len(norris.X), len(norris.Y))
	}
	var seg []obs
	for i, x := range norris.X {
		seg = append(seg, obs{x: x, y: norris.Y[i], weighed: true})
	}
	s := HouseDefaults()
	s.WeighSD = norris.Residual
	wide := Prior{FirstG: 1, FirstSD: 1e5, Kept: 1, KeptSD: 1e3}
	g := newGrid(s, wide, [][]obs{seg}, precision{nodes: 1.2, cut: 48}, rules{}).segment(0)
	near(t, "B0", g.aMean, norris.B0, 1e-9)
	near(t, "B1", g.bMean, norris.B1, 1e-9)
	near(t, "sd of B0", math.Sqrt(g.aVar), norris.B0SD, 1e-9)
	near(t, "sd of B1", math.Sqrt(g.bVar), norris.B1SD, 1e-9)
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// Weighed trims alone have a Gaussian posterior in closed form, over several segments too:
// unknowns are each segment's a and the one b.
func TestWeighedIsGaussian(t *testing.T) {
	s := HouseDefaults()
	for _, text := range []string{"heavy:9", "heavy:9,heavy:2.6,slight:0.7", "slight:0.9,+heavy:7,heavy:2.5", "heavy:6,heavy:2,+heavy:8,heavy:1.9,slight:0.9,+slight:0.8"} {
		h := History{Size: Medium, Trials: trials(t, text)}
		segs := h.segments()
		n := len(segs) + 1 // b last
		prec := mat.NewSymDense(n, nil)
		pull := mat.NewVecDense(n, nil)
		p := s.Prior.Medium
		add := func(i int, x, y, w float64) { // one observation of a_i + b·x
			prec.SetSym(i, i, prec.At(i, i)+w)
			prec.SetSym(i, n-1, prec.At(i, n-1)+w*x)
			prec.SetSym(n-1, n-1, prec.At(n-1, n-1)+w*x*x)
			pull.SetVec(i, pull.AtVec(i)+w*y)
			pull.SetVec(n-1, pull.AtVec(n-1)+w*x*y)
		}
		for i, seg := range segs {
			add(i, 0, math.Log(p.FirstG), 1/(p.FirstSD*p.FirstSD))
			for _, o := range seg {
				add(i, o.x, o.y, 1/(s.WeighSD*s.WeighSD))
			}
		}
		wb := 1 / (p.KeptSD * p.KeptSD)
		prec.SetSym(n-1, n-1, prec.At(n-1, n-1)+wb)
		pull.SetVec(n-1, pull.AtVec(n-1)+wb*math.Log(p.Kept))
		var cov mat.Dense
		if err := cov.Inverse(prec); err != nil {
			t.Fatal(err)
		}
		var mean mat.VecDense
		mean.MulVec(&cov, pull)

		got := fit(t, s, h)
		if len(got.Segments) != len(segs) {
			t.Fatalf("%d segments, not %d", len(got.Segments), len(segs))
		}
		from := 1
		for i, seg := range got.Segments {
			if seg.From != from || seg.Len != len(segs[i]) {
				t.Errorf("%s: segment %d has trials %d+%d", text, i, seg.From, seg.Len)
			}
			from += seg.Len
			for _, k := range []float64{1, 2.5, 6} {
				m, sd := seg.line(k)
				x := k - 1
				near(t, text+" line", m, mean.AtVec(i)+x*mean.AtVec(n-1), 1e-8)
				near(t, text+" sd of the line", sd, math.Sqrt(cov.At(i, i)+2*x*cov.At(i, n-1)+x*x*cov.At(n-1, n-1)), 1e-8)
			}
		}
		m, sd := got.line(float64(len(segs[len(segs)-1]) + 1))
		near(t, "next", got.NextLogGramsMean, m, 0)
		near(t, "next sd", got.NextLogGramsSD, sd, 0)
		// A Gaussian line and Gaussian grading noise: the chances are normal too.
		z := distuv.Normal{Mu: m, Sigma: math.Hypot(sd, s.GradeSD)}
		near(t, text+" none", got.Next.None, z.CDF(math.Log(s.NoneBelowG)), 1e-8)
		near(t, text+" heavy", got.Next.Heavy, z.Survival(math.Log(s.HeavyAboveG)), 1e-8)
	}
}

// Source: survreg of R's survival package, interval2 with fixed scale (script and numbers
// in testdata/flash/survreg.*): maximum, standard errors and log likelihood under flat
// priors. Its one scale stands for both noises.
func TestSurvreg(t *testing.T) {
	var want struct {
		A      float64 `json:"a"`
		B      float64 `json:"b"`
		ASE    float64 `json:"a_se"`
		BSE    float64 `json:"b_se"`
		ABCov  float64 `json:"ab_cov"`
		LogLik float64 `json:"log_likelihood"`
		Scale  float64 `json:"scale"`
	}
	readTestdata(t, "survreg.json", &want)
	seg := survregData(t)
	s := HouseDefaults()
	s.GradeSD, s.WeighSD = want.Scale, want.Scale
	flat := Prior{FirstG: math.Exp(want.A), FirstSD: 1e6, Kept: math.Exp(want.B), KeptSD: 1e6}
	g := &grid{table: sharedTable(), invSD: 1 / s.GradeSD}
	g.noneZ, g.heavyZ = s.noneLog()*g.invSD, s.heavyLog()*g.invSD
	strip := newStrip(g, s, flat, seg, forEvidence, rules{})
	logLik := func(a, b float64) float64 {
		strip.along(b)
		return strip.log(a) + lnRoot2Pi + math.Log(flat.FirstSD)
	}
	near(t, "log likelihood", logLik(want.A, want.B), want.LogLik, 1e-8)

	// The maximum is where survreg says, and as curved.
	const h = 1e-3
	f := func(i, j float64) float64 { return logLik(want.A+i*h, want.B+j*h) }
	near(t, "slope along a", (f(1, 0)-f(-1, 0))/(2*h)*want.ASE, 0, 2e-4)
	near(t, "slope along b", (f(0, 1)-f(0, -1))/(2*h)*want.BSE, 0, 2e-4)
	aa := -(f(1, 0) - 2*f(0, 0) + f(-1, 0)) / (h * h)
	bb := -(f(0, 1) - 2*f(0, 0) + f(0, -1)) / (h * h)
	ab := -(f(1, 1) - f(1, -1) - f(-1, 1) + f(-1, -1)) / (4 * h * h)
	det := aa*bb - ab*ab
	near(t, "se of a", math.Sqrt(bb/det)/want.ASE, 1, 1e-3)
	near(t, "se of b", math.Sqrt(aa/det)/want.BSE, 1, 1e-3)
	near(t, "covariance", -ab/det/want.ABCov, 1, 2e-3)

	// With wide priors the posterior is close to it: off by terms of order 1/n.
	wide := Prior{FirstG: 1, FirstSD: 20, Kept: 1, KeptSD: 20}
	p := newGrid(s, wide, [][]obs{seg}, precision{nodes: 1.2, cut: 48}, rules{}).segment(0)
	near(t, "posterior mean of a, in se", (p.aMean-want.A)/want.ASE, 0, 0.1)
	near(t, "posterior mean of b, in se", (p.bMean-want.B)/want.BSE, 0, 0.1)
	near(t, "posterior sd of a", math.Sqrt(p.aVar)/want.ASE, 1, 0.03)
	near(t, "posterior sd of b", math.Sqrt(p.bVar)/want.BSE, 1, 0.03)
}

// survregData reads the data of the R script as trials.
func survregData(t *testing.T) []obs {
	t.Helper()
	f, err := os.Open("../../testdata/flash/survreg.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	}()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var seg []obs
	for _, r := range rows[1:] {
		o := obs{x: number(t, r[0])}
		switch {
		case r[1] == "NA":
			o.grade = None
		case r[2] == "NA":
			o.grade = Heavy
		case r[1] == r[2]:
			o.weighed, o.y = true, number(t, r[1])
		default:
			o.grade = Slight
		}
		seg = append(seg, o)
	}
	return seg
}

// The table and the far tails against the library and the asymptotic series: handbook
// values of ln Q(x) = ln(1 − Φ(x)), Abramowitz and Stegun table 26.2 (from memory, −log10):
// x = 5: 6.54265, 10: 23.11805, 25: 137.51475, 50: 544.96634, 100: 2173.87154.
func TestTails(t *testing.T) {
	for x, want := range map[float64]float64{5: 6.54265, 10: 23.11805, 25: 137.51475, 50: 544.96634, 100: 2173.87154} {
		if got := -logNormCDF(-x) / math.Ln10; math.Abs(got-want) > 6e-6 {
			t.Errorf("−log10 Q(%g) = %.6f, want %.5f", x, got, want)
		}
	}
	table := sharedTable()
	for z := -11.99; z < 9; z += 0.0037 {
		want := distuv.UnitNormal.CDF(z)
		tol := 1e-8
		if z < -3 {
			tol = 4e-6
		}
		if got := table.cdf(z); math.Abs(got/want-1) > tol {
			t.Fatalf("Φ(%g) = %g, want %g", z, got, want)
		}
	}
	if table.cdf(-1e9) != 0 || table.cdf(1e9) != 1 {
		t.Error("the ends of the table")
	}
	for _, c := range [][2]float64{{-1, 2}, {-0.1, 0.1}, {3, 4}, {-6, -5}, {20, 24}, {-300, -299}} {
		want := math.Log(normCDF(c[1]) - normCDF(c[0]))
		if c[0] > 0 {
			want = math.Log(normCDF(-c[0]) - normCDF(-c[1]))
		}
		if c[0] < -200 {
			want = logNormCDF(c[1]) // the nearer end is all but all of it
		}
		near(t, "ln between", logNormBetween(c[0], c[1]), want, 1e-9)
	}
}

// The rule integrates powers and a Gaussian as it should.
func TestRule(t *testing.T) {
	for _, n := range []int{8, 12, 40, 96} {
		r := newRule(n)
		var one, x2 float64
		for i := range r.x {
			one += r.w[i]
			x2 += r.w[i] * r.x[i] * r.x[i]
		}
		near(t, "∫1", one, 2, 1e-13)
		if n >= 20 {
			near(t, "∫x²", x2, 2.0/3, 1e-13)
		}
	}
	r := newRule(48)
	var sum float64
	for i := range r.x {
		sum += 9 * r.w[i] * math.Exp(-81*r.x[i]*r.x[i]/2)
	}
	near(t, "∫ Gaussian over ±9 sds", sum, math.Sqrt(2*math.Pi), 1e-10)
}

// line is the mean and sd of the line at trial k of the current segment, ln grams. The
// 80 % band is mean ± Band80·sd.
func (p Posterior) line(k float64) (mean, sd float64) {
	return p.Segments[len(p.Segments)-1].line(k)
}
