package stats

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"gonum.org/v1/gonum/stat/distuv"
)

// digits is how many significant digits of got are those of want.
func digits(got, want float64) float64 {
	if got == want {
		return 16
	}
	if want == 0 {
		return -math.Log10(math.Abs(got))
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

// TestAgainstNIST: NIST Statistical Reference Datasets, univariate summary statistics.
// The sets NumAcc are made by their definition. That 10000000.2 is no binary number
// leaves NumAcc4 some eight digits of deviation.
func TestAgainstNIST(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "nist", "univariate.json"))
	if err != nil {
		t.Fatal(err)
	}
	type set struct {
		Mean, SD, Lag1 float64
		Y              []float64
	}
	var file struct{ Mavro, Lottery set }
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	acc4 := []float64{10000000.2}
	for range 500 {
		acc4 = append(acc4, 10000000.1, 10000000.3)
	}
	for _, c := range []struct {
		name               string
		set                set
		n                  int
		meanDigits, sdDigs float64
	}{
		{"NumAcc1", set{10000002, 1, -0.5, []float64{10000001, 10000003, 10000002}}, 3, 15, 15},
		{"NumAcc4", set{10000000.2, 0.1, -0.999, acc4}, 1001, 14, 8},
		{"Mavro", file.Mavro, 50, 14, 12},
		{"Lottery", file.Lottery, 218, 14, 14},
	} {
		y := c.set.Y
		s, err := Describe(y)
		if err != nil || s.N != c.n {
			t.Fatalf("%s: %d values, %v", c.name, s.N, err)
		}
		if d := digits(s.Mean, c.set.Mean); d < c.meanDigits {
			t.Errorf("%s: mean %.15g, certified %.15g: %.1f digits", c.name, s.Mean, c.set.Mean, d)
		}
		if d := digits(s.SD, c.set.SD); d < c.sdDigs {
			t.Errorf("%s: standard deviation %.15g, certified %.15g: %.1f digits", c.name, s.SD, c.set.SD, d)
		}
		// The third certified value tells that these are the data and in this order.
		var up, down float64
		for i, v := range y {
			d := v - s.Mean
			down += d * d
			if i > 0 {
				up += d * (y[i-1] - s.Mean)
			}
		}
		if d := digits(up/down, c.set.Lag1); d < 7 {
			t.Errorf("%s: lag-1 autocorrelation %.15g, certified %.15g", c.name, up/down, c.set.Lag1)
		}
	}
}

// TestNewcombeSingle: the four examples of R. G. Newcombe, Two-sided confidence
// intervals for the single proportion, Statistics in Medicine 17 (1998) 857, table I,
// method 3 (score without continuity correction); from memory, and the same as R's
// prop.test, which TestAgainstR holds against all digits.
func TestNewcombeSingle(t *testing.T) {
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{
		{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718},
	} {
		s, err := Wilson(c.k, c.n)
		if err != nil || math.Abs(s.Low-c.low) > 5e-5 || math.Abs(s.High-c.high) > 5e-5 {
			t.Errorf("%d of %d: %.4f to %.4f, published %.4f to %.4f (%v)", c.k, c.n, s.Low, s.High, c.low, c.high, err)
		}
	}
}

// TestNewcombeDifference: R. G. Newcombe, Interval estimation for the difference
// between independent proportions, Statistics in Medicine 17 (1998) 873, table II,
// method 10; from memory.
func TestNewcombeDifference(t *testing.T) {
	for _, c := range []struct {
		a, m, b, n int
		low, high  float64
	}{
		{56, 70, 48, 80, 0.0524, 0.3339}, {9, 10, 3, 10, 0.1705, 0.8090}, {6, 7, 2, 7, 0.0582, 0.8062}, {5, 56, 0, 29, -0.0381, 0.1926},
		{0, 10, 0, 20, -0.1611, 0.2775}, {10, 10, 0, 20, 0.6791, 1}, {10, 10, 0, 10, 0.6075, 1},
	} {
		a, err1 := Wilson(c.a, c.m)
		b, err2 := Wilson(c.b, c.n)
		d := Newcombe(a, b)
		if err := errors.Join(err1, err2); err != nil || math.Abs(d.Low-c.low) > 5e-5 || math.Abs(d.High-c.high) > 5e-5 {
			t.Errorf("%d/%d - %d/%d: %.4f to %.4f, published %.4f to %.4f (%v)", c.a, c.m, c.b, c.n, d.Low, d.High, c.low, c.high, err)
		}
	}
}

// TestTeaTasting: the lady who tells three of four cups in which the milk came first:
// R. A. Fisher, The Design of Experiments, chapter II; the table as in A. Agresti,
// Categorical Data Analysis: 17/70 one-sided, 34/70 two-sided. All four: 1/70, 2/70.
func TestTeaTasting(t *testing.T) {
	for _, c := range []struct {
		a, b, c, d        int
		one, two, leastOf float64
	}{
		{3, 1, 1, 3, 17.0 / 70, 34.0 / 70, 2.0 / 70}, // 0.2429, 0.4857
		{4, 0, 0, 4, 1.0 / 70, 2.0 / 70, 2.0 / 70},
	} {
		e, err := Fisher(c.a, c.b, c.c, c.d)
		if err != nil || math.Abs(e.Greater-c.one) > 1e-12 || math.Abs(e.Two-c.two) > 1e-12 || math.Abs(e.Least-c.leastOf) > 1e-12 {
			t.Errorf("%v: %+v (%v)", c, e, err)
		}
	}
}

// TestAgainstR: testdata/review/stats.R, its output beside it.
func TestAgainstR(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "review", "stats.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, r := range rows[1:] {
		whole := func(i int) int {
			n, err := strconv.Atoi(r[i])
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
		var got []float64
		switch r[0] {
		case "wilson":
			s, err := Wilson(whole(1), whole(2))
			if err != nil {
				t.Fatal(err)
			}
			got = []float64{s.Low, s.High}
		case "fisher":
			e, err := Fisher(whole(1), whole(2), whole(3), whole(4))
			if err != nil {
				t.Fatal(err)
			}
			got = []float64{e.Two, e.Greater, e.Less}
		case "quantile":
			x := make([]float64, whole(1))
			for i := range x {
				x[i] = math.Sin(float64(i+1)) * float64(whole(2))
			}
			s, err := Describe(x)
			if err != nil {
				t.Fatal(err)
			}
			got = []float64{s.Q1, s.Median, s.Q3}
		}
		seen[r[0]]++
		for i, v := range got {
			want, err := strconv.ParseFloat(r[5+i], 64)
			if err != nil || math.Abs(v-want) > 1e-10*math.Max(1, math.Abs(want)) {
				t.Errorf("%v: value %d is %.15g", r, i+1, v)
			}
		}
	}
	if seen["wilson"] < 10 || seen["fisher"] < 48 || seen["quantile"] < 14 {
		t.Errorf("too few reference values were read: %v", seen)
	}
}

// TestChartConstants: E2 = 3/d2 and D4 = 1 + 3 d3/d2 to the three decimals of the usual
// tables, with d2 = 2/√π and d3 = √(2 - 4/π) of the range of two normal values, which
// is the size of a normal value of variance 2.
func TestChartConstants(t *testing.T) {
	d2, d3 := 2/math.Sqrt(math.Pi), math.Sqrt(2-4/math.Pi)
	if math.Abs(E2-3/d2) > 2e-3 || math.Abs(D4-(1+3*d3/d2)) > 5e-4 {
		t.Errorf("E2 %.4f, 3/d2 %.4f; D4 %.4f, 1+3 d3/d2 %.4f", E2, 3/d2, D4, 1+3*d3/d2)
	}
	// Tables round d2 to 1.128 first.
	if got := math.Round(3/1.128*1000) / 1000; got != E2 {
		t.Errorf("3/1.128 = %.3f", got)
	}
}

func TestIndividuals(t *testing.T) {
	// Mean 3, ranges 1 1 1 5 1 1 1, mean 11/7: limits 3 ± 4.18, 5.134 for the ranges.
	c, err := Individuals([]float64{1, 2, 1, 2, 7, 6, 5, 0})
	if err != nil || c.Center != 3 {
		t.Fatalf("%+v %v", c, err)
	}
	mr := (1.0 + 1 + 1 + 5 + 1 + 1 + 5) / 7
	if math.Abs(c.MeanRange-mr) > 1e-12 || math.Abs(c.High-(3+2.660*mr)) > 1e-12 || math.Abs(c.Low-(3-2.660*mr)) > 1e-12 || math.Abs(c.RangeHigh-3.267*mr) > 1e-12 {
		t.Errorf("%+v", c)
	}
	x := make([]float64, 30)
	for i := range x {
		x[i] = float64(i % 2)
	}
	x[20] = 9
	if c, err = Individuals(x); err != nil || !slices.Equal(c.Outside, []int{20}) || !slices.Equal(c.Jumps, []int{20, 21}) {
		t.Errorf("%+v %v", c, err)
	}
	for _, same := range [][]float64{{0.1, 0.1, 0.1, 0.1, 0.1, 0.1}, {3, 3}} {
		if c, err := Individuals(same); err != nil || len(c.Outside)+len(c.Jumps) > 0 || !c.Limits {
			t.Errorf("%v: %+v %v", same, c, err)
		}
	}
	if c, err := Individuals([]float64{4}); err != nil || c.Limits || c.Center != 4 || len(c.Outside) > 0 {
		t.Errorf("%+v %v", c, err)
	}
}

func TestRefused(t *testing.T) {
	for name, err := range map[string]error{
		"none":          second(Describe(nil)),
		"not a number":  second(Describe([]float64{1, math.NaN()})),
		"infinite":      second(Individuals([]float64{math.Inf(1)})),
		"huge":          second(Individuals([]float64{1e300})),
		"more than all": second(Wilson(3, 2)),
		"below none":    second(Wilson(-1, 2)),
		"minus":         second(Fisher(1, -1, 2, 2)),
		"too large":     second(Fisher(maxTable, 1, 1, 1)),
	} {
		if err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	if !errors.Is(second(Individuals(nil)), errNoValues) {
		t.Error("no values are not named")
	}
}

func second[T any](_ T, err error) error { return err }

// TestWilsonHolds: the interval holds the share, lies within 0 and 1, is the mirror of
// that of the others, and narrows with the number.
func TestWilsonHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 5000).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		s, err := Wilson(k, n)
		m, err2 := Wilson(n-k, n)
		w, err3 := Wilson(10*k, 10*n)
		if err := errors.Join(err, err2, err3); err != nil {
			t.Fatal(err)
		}
		if !(0 <= s.Low && s.Low <= s.Value && s.Value <= s.High && s.High <= 1) || s.Low == s.High {
			t.Fatalf("%+v", s)
		}
		if math.Abs(s.Low-(1-m.High)) > 1e-12 || w.High-w.Low >= s.High-s.Low {
			t.Fatalf("%+v %+v %+v", s, m, w)
		}
		// Both ends solve the score equation.
		z := distuv.UnitNormal.Quantile(0.975)
		for _, p := range []float64{s.Low, s.High} {
			if p > 0 && p < 1 && math.Abs(math.Abs(s.Value-p)/math.Sqrt(p*(1-p)/float64(n))-z) > 1e-6 {
				t.Fatalf("%g does not solve %d of %d", p, k, n)
			}
		}
	})
}

// TestFisherHolds: values are probabilities, the same for a table turned or with rows or
// columns exchanged, no smaller than the least that its margins allow, and that least
// is the smallest among all its tables.
func TestFisherHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) int { return rapid.IntRange(0, 40).Draw(t, name) }
		a, b, c, d := draw("a"), draw("b"), draw("c"), draw("d")
		e, err := Fisher(a, b, c, d)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range []float64{e.Two, e.Greater, e.Less, e.Least} {
			if !(p > 0 && p <= 1) {
				t.Fatalf("%+v", e)
			}
		}
		if e.Greater+e.Less < 1-1e-9 || e.Two < min(e.Greater, e.Less)-1e-9 {
			t.Fatalf("%+v", e)
		}
		turned, err1 := Fisher(a, c, b, d)
		swapped, err2 := Fisher(c, d, a, b)
		if err := errors.Join(err1, err2); err != nil || math.Abs(turned.Two-e.Two) > 1e-9 || math.Abs(swapped.Two-e.Two) > 1e-9 || math.Abs(swapped.Greater-e.Less) > 1e-9 {
			t.Fatalf("%+v %+v %+v", e, turned, swapped)
		}
		least := 1.0
		for x := max(0, a-d); x <= min(a+b, a+c); x++ {
			o, err := Fisher(x, a+b-x, a+c-x, d-a+x)
			if err != nil {
				t.Fatal(err)
			}
			least = min(least, o.Two)
		}
		if math.Abs(least-e.Least) > 1e-9 {
			t.Fatalf("least %g, among all tables %g", e.Least, least)
		}
	})
}

// TestDifferenceHolds: the interval holds the difference and is within -1 and 1.
func TestDifferenceHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) Share {
			n := rapid.IntRange(0, 300).Draw(t, "n"+name)
			s, err := Wilson(rapid.IntRange(0, n).Draw(t, "k"+name), n)
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		a, b := draw("a"), draw("b")
		d, back := Newcombe(a, b), Newcombe(b, a)
		if !(-1 <= d.Low && d.Low <= d.Value && d.Value <= d.High && d.High <= 1) || math.Abs(d.Low+back.High) > 1e-12 {
			t.Fatalf("%+v %+v", d, back)
		}
	})
}

// TestChartHolds: no value of a chart is no number, the centre lies among the values,
// the limits around it, and values moved and stretched move and stretch the chart.
func TestChartHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 60).Draw(t, "x")
		c, err := Individuals(x)
		s, err2 := Describe(x)
		if err := errors.Join(err, err2); err != nil {
			t.Fatal(err)
		}
		for _, v := range []float64{c.Center, c.MeanRange, c.Low, c.High, c.RangeHigh, s.Mean, s.SD, s.Median, s.Q1, s.Q3} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v %+v", c, s)
			}
		}
		if !(s.Min <= s.Q1 && s.Q1 <= s.Median && s.Median <= s.Q3 && s.Q3 <= s.Max) || s.Mean < s.Min-1e-6 || s.Mean > s.Max+1e-6 || s.SD < 0 {
			t.Fatalf("%+v", s)
		}
		if c.Low > c.Center || c.Center > c.High {
			t.Fatalf("%+v", c)
		}
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = 3*v + 7
		}
		d, err := Individuals(y)
		if err != nil || math.Abs(d.High-(3*c.High+7)) > 1e-6 || math.Abs(d.RangeHigh-3*c.RangeHigh) > 1e-6 {
			t.Fatalf("%+v %+v %v", c, d, err)
		}
	})
}
