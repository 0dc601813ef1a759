package dough

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// NIST Statistical Reference Datasets, linear regression, Norris: the certified
// values, to ten digits or more.
func TestFitLineNISTNorris(t *testing.T) {
	var g points
	for _, row := range table(t, "norris.csv") {
		g.y, g.x = append(g.y, row[0]), append(g.x, row[1])
	}
	l := fitLine([]points{g})
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"B0", l.Intercept[0], -0.262323073774029},
		{"B1", l.Slope, 1.00211681802045},
		{"se B0", l.InterceptSE[0], 0.232818234301152},
		{"se B1", l.SlopeSE, 0.429796848199937e-3},
		{"residual sd", l.ResidSD, 0.884796396144373},
	} {
		if math.Abs(c.got/c.want-1) > 1e-10 {
			t.Errorf("%s = %.15g, certified %.15g", c.what, c.got, c.want)
		}
	}
	if l.DF != 34 {
		t.Errorf("%d degrees of freedom, certified 34", l.DF)
	}
}

// Two groups that share a slope: Norris twice, the second lifted by 1000, gives
// the same slope, both intercepts, and a slope error smaller by sqrt(2 * 34/69),
// as the sums of squares double and the degrees of freedom go from 34 to 69.
func TestFitLineTwoGroups(t *testing.T) {
	var a, b points
	for _, row := range table(t, "norris.csv") {
		a.y, a.x = append(a.y, row[0]), append(a.x, row[1])
		b.y, b.x = append(b.y, row[0]+1000), append(b.x, row[1])
	}
	one, two := fitLine([]points{a}), fitLine([]points{a, b})
	near(t, "slope", two.Slope, one.Slope, 1e-12)
	near(t, "intercept", two.Intercept[0], one.Intercept[0], 1e-9)
	near(t, "lifted intercept", two.Intercept[1], one.Intercept[0]+1000, 1e-9)
	near(t, "slope error", two.SlopeSE, one.SlopeSE*math.Sqrt(34.0/69), 1e-12)
	near(t, "residual sd", two.ResidSD, one.ResidSD*math.Sqrt(2*34.0/69), 1e-12)
}

// book is a made-up book: marks of mixes at the given rooms, from a resin with
// the given scatter. No real bench is behind it.
func book(rng *rand.Rand, r Resin, rooms []float64, scatter float64, kinds ...MarkKind) []Mark {
	var out []Mark
	for _, roomC := range rooms {
		for _, kind := range kinds {
			m := Mark{Kind: kind, Conditions: Conditions{RoomC: roomC}}
			t := r.DoughFromMin
			if kind == TooStiff {
				t = r.WorkUntilMin
			}
			// Arrhenius, so that the fit's own law is tested, not Q10's exponential.
			slope := math.Log(r.Q10) / (inverseK(r.RefTempC-5, r.RefTempC) - inverseK(r.RefTempC+5, r.RefTempC))
			m.Minutes = t * math.Exp(slope*inverseK(roomC, r.RefTempC)+scatter*rng.NormFloat64())
			out = append(out, m)
		}
	}
	return out
}

func rooms(n int, low, high float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = low + (high-low)*float64(i)/float64(n-1)
	}
	return out
}

// Without scatter the fit gives back what made the marks.
func TestFitRecoversExactly(t *testing.T) {
	truth := HouseDefault()
	truth.Q10, truth.DoughFromMin, truth.WorkUntilMin = 2.6, 11, 38
	f, err := FitMarks(HouseDefault(), book(rand.New(rand.NewPCG(1, 1)), truth, rooms(12, 17, 30), 0, DoughReached, TooStiff))
	if err != nil {
		t.Fatal(err)
	}
	if !f.Q10Fitted || !f.Dough.Fitted || !f.Work.Fitted || len(f.Wanting) != 0 || f.marks() != 24 || f.SetAside != 0 {
		t.Fatalf("%+v", f)
	}
	near(t, "Q10", f.Q10, 2.6, 1e-9)
	near(t, "dough", f.Dough.Minutes, 11, 1e-9)
	near(t, "work", f.Work.Minutes, 38, 1e-9)
	// Over 10 K at room temperature an Arrhenius slope is ln Q10 of E/R (1/T1 - 1/T2),
	// T1 and T2 being 291.15 and 301.15 K.
	near(t, "activation", f.ActivationK*(1/291.15-1/301.15), math.Log(2.6), 1e-9)
	r, err := f.Apply(HouseDefault())
	if err != nil {
		t.Fatal(err)
	}
	if !r.Q10Fitted || r.MarksBehind != 24 || r.WorkUntilMin != f.Work.Minutes {
		t.Errorf("%+v", r)
	}
	if w := mustEstimate(t, r, Conditions{RoomC: 23}, MixMarks{}); w.MarksBehind != 24 || !w.Q10Fitted {
		t.Errorf("%+v", w)
	}
}

// With scatter, over many made-up books, the truth lies within two standard
// errors as often as it should (95 %, five binomial standard errors), and a
// resin fitted from a book foresees the next mix within its 80 % band.
func TestFitErrorsHoldWhatTheySay(t *testing.T) {
	const n = 600
	rng := rand.New(rand.NewPCG(3, 4))
	truth := HouseDefault()
	truth.Q10, truth.DoughFromMin, truth.WorkUntilMin = 2.2, 10, 40
	scatter := math.Sqrt(truth.MixLnSD*truth.MixLnSD + markLnSD*markLnSD + math.Pow(roomSDC*math.Log(2.2)/10, 2))
	var q10In, workIn, nextIn int
	for range n {
		f, err := FitMarks(HouseDefault(), book(rng, truth, rooms(20, 17, 30), scatter, DoughReached, TooStiff))
		if err != nil || !f.Q10Fitted {
			t.Fatalf("%v, %+v", err, f)
		}
		if math.Abs(math.Log(f.Q10/2.2)) < 2.026*f.LnSD { // Student, 37 degrees
			q10In++
		}
		if math.Abs(math.Log(f.Work.Minutes/40)) < 2.026*f.Work.LnSE {
			workIn++
		}
		r, err := f.Apply(HouseDefault())
		if err != nil {
			t.Fatal(err)
		}
		next := book(rng, truth, []float64{26}, math.Sqrt(scatter*scatter-markLnSD*markLnSD), TooStiff)[0]
		if w := mustEstimate(t, r, Conditions{RoomC: 26}, MixMarks{}); next.Minutes >= w.ToLow.Minutes() && next.Minutes <= w.ToHigh.Minutes() {
			nextIn++
		}
	}
	near(t, "Q10 within its error", float64(q10In)/n, 0.95, 5*math.Sqrt(0.95*0.05/n))
	near(t, "working time within its error", float64(workIn)/n, 0.95, 5*math.Sqrt(0.95*0.05/n))
	near(t, "next mix within the band", float64(nextIn)/n, 0.8, 5*math.Sqrt(0.8*0.2/n))
}

// Too few marks, too narrow a range, too much scatter: what is wanting is said,
// and Q10 stays.
func TestFitSaysWhatIsWanting(t *testing.T) {
	r := HouseDefault()
	truth := r
	truth.Q10, truth.WorkUntilMin = 2.6, 38
	rng := rand.New(rand.NewPCG(5, 6))
	for _, c := range []struct {
		name  string
		marks []Mark
		says  []string
		work  bool
	}{
		{"empty book", nil, []string{"Q10 stays 2: 0 marks, 10 more needed", "time to dough stays 8 min: 0 marks, 3 more needed", "working time stays 45 min: 0 marks, 3 more"}, false},
		{"two", book(rng, truth, rooms(2, 17, 30), 0, TooStiff), []string{"2 marks, 8 more needed", "working time stays 45 min: 2 marks, 1 more needed"}, false},
		{"four", book(rng, truth, rooms(4, 17, 30), 0, TooStiff), []string{"Q10 stays 2: 4 marks, 6 more needed"}, true},
		{"one season", book(rng, truth, rooms(30, 21, 25), 0.1, TooStiff), []string{"the rooms of the 30 marks lie within 4.0 K, 5 K more needed"}, true},
		{"scatter", book(rng, truth, rooms(10, 20, 26), 0.5, TooStiff), []string{"scatter too much, about"}, true},
		{"colder is faster", book(rng, Resin{RefTempC: 23, WorkUntilMin: 38, Q10: 0.5}, rooms(12, 17, 30), 0.01, TooStiff), []string{"dough has 1 to 5"}, true},
	} {
		f, err := FitMarks(r, c.marks)
		if err != nil {
			t.Fatal(err)
		}
		text := f.String()
		for _, s := range c.says {
			if !strings.Contains(text, s) {
				t.Errorf("%s: %q does not say %q", c.name, text, s)
			}
		}
		if f.Q10Fitted || f.Q10 != 2 || f.Work.Fitted != c.work || f.Dough.Fitted {
			t.Errorf("%s: %+v", c.name, f)
		}
		after, err := f.Apply(r)
		if err != nil || after.Q10 != 2 || after.Q10Fitted || after.DoughFromMin != 8 || (after.MarksBehind > 0) != c.work {
			t.Errorf("%s: %+v, %v", c.name, after, err)
		}
	}
	// With Q10 assumed, the level is the geometric mean of the marks at the
	// reference temperature.
	level := []Mark{{TooStiff, 30, Conditions{RoomC: 23}}, {TooStiff, 20, Conditions{RoomC: 33}}, {TooStiff, 90, Conditions{RoomC: 13}}}
	f, err := FitMarks(r, level)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "level", f.Work.Minutes, math.Cbrt(30*40*45), 1e-9)
}

// Slips are set aside, and marks of cold parts count at the dough's mean
// temperature.
func TestFitMarksOfAllKinds(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	r := HouseDefault()
	marks := book(rng, r, rooms(12, 17, 30), 0.05, TooStiff)
	slips := []Mark{
		{TooStiff, 450, Conditions{RoomC: 23}},
		{TooStiff, -3, Conditions{RoomC: 23}},
		{TooStiff, math.NaN(), Conditions{RoomC: 23}},
		{TooStiff, 40, Conditions{RoomC: 400}},
		{"soft", 40, Conditions{RoomC: 23}},
	}
	clean, err := FitMarks(r, marks)
	if err != nil {
		t.Fatal(err)
	}
	f, err := FitMarks(r, append(slips, marks...))
	if err != nil {
		t.Fatal(err)
	}
	if f.SetAside != len(slips) || f.Q10 != clean.Q10 || !strings.Contains(f.String(), "5 set aside") {
		t.Errorf("%+v against %+v", f, clean)
	}

	// Cold parts whose marks follow the resin's own clock change next to nothing: the
	// clock is exponential in T, the fit in 1/T, and (290/296)^2 lies between them.
	var cold []Mark
	for _, roomC := range rooms(12, 17, 30) {
		c := Conditions{RoomC: roomC, Stored: &Storage{TempC: 4, OutMin: 10}}
		cold = append(cold, Mark{TooStiff, newClock(r, c).wall(r.WorkUntilMin), c})
	}
	f, err = FitMarks(r, cold)
	if err != nil || !f.Q10Fitted {
		t.Fatalf("%+v, %v", f, err)
	}
	near(t, "Q10 from cold parts", f.Q10, math.Pow(2, 0.96), 0.02)
	near(t, "level from cold parts", f.Work.Minutes, 45, 0.5)

	if _, err := FitMarks(r, make([]Mark, maxFitMarks+1)); err == nil {
		t.Error("more marks than can be read were taken")
	}
	if _, err := FitMarks(Resin{}, nil); err == nil {
		t.Error("a resin of zeros was taken")
	}
	wrong := ResinFit{Dough: level{Marks: 3, Fitted: true, Minutes: 60, LnSE: 0.1}, Q10: 2, MixLnSD: 0.2}
	if _, err := wrong.Apply(r); err == nil || !strings.Contains(err.Error(), "must be below work_until_min") {
		t.Errorf("dough after the working time: %v", err)
	}
}

// The order of the marks does not matter, and no book gives NaN.
func TestFitProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyResin(t)
		mark := rapid.Custom(func(t *rapid.T) Mark {
			m := Mark{
				Kind:       rapid.SampledFrom([]MarkKind{DoughReached, TooStiff}).Draw(t, "kind"),
				Minutes:    rapid.Float64Range(0.01, 500).Draw(t, "minutes"),
				Conditions: Conditions{RoomC: rapid.Float64Range(5, 45).Draw(t, "room")},
			}
			if rapid.Bool().Draw(t, "cold") {
				m.Stored = &Storage{TempC: rapid.Float64Range(-30, 45).Draw(t, "stored")}
			}
			return m
		})
		marks := rapid.SliceOfN(mark, 0, 40).Draw(t, "marks")
		f, err := FitMarks(r, marks)
		if err != nil {
			t.Fatal(err)
		}
		checkFit(t, r, f)
		g, err := FitMarks(r, rapid.Permutation(marks).Draw(t, "other order"))
		if err != nil || f.marks() != g.marks() || f.Q10Fitted != g.Q10Fitted || math.Abs(f.Q10/g.Q10-1) > 1e-9 || math.Abs(f.Work.Minutes/g.Work.Minutes-1) > 1e-9 {
			t.Errorf("%+v in another order %+v", f, g)
		}
	})
}

func checkFit(t interface{ Errorf(string, ...any) }, r Resin, f ResinFit) {
	checkFinite(t, f)
	if strings.Contains(f.String(), "NaN") || strings.Contains(f.String(), "Inf") {
		t.Errorf("%s", f)
	}
	if !(f.Q10 >= 1 && f.Q10 <= 5 && f.MixLnSD > 0 && f.Dough.Minutes > 0 && f.Work.Minutes > 0) {
		t.Errorf("%+v", f)
	}
	if after, err := f.Apply(r); err == nil {
		w, err := Estimate(after, Conditions{RoomC: 25}, MixMarks{})
		if err != nil {
			t.Errorf("%v for %+v", err, after)
		}
		checkWindow(t, w)
	}
}

// FuzzFitMarks reads marks from raw bytes, NaNs and infinities among them.
func FuzzFitMarks(f *testing.F) {
	seed := func(vals ...float64) {
		var b []byte
		for _, v := range vals {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		f.Add(b)
	}
	seed(8, 23, 45, 23)
	seed(8, 20, 9, 20, 10, 20, 11, 20)
	seed(math.NaN(), math.Inf(1), 5e-324, 0, 1e308, 45)
	f.Fuzz(func(t *testing.T, b []byte) {
		var marks []Mark
		for len(b) >= 16 && len(marks) < 200 {
			m := Mark{Kind: DoughReached, Minutes: math.Float64frombits(binary.LittleEndian.Uint64(b)), Conditions: Conditions{RoomC: math.Float64frombits(binary.LittleEndian.Uint64(b[8:]))}}
			if len(marks)%3 == 1 {
				m.Kind = TooStiff
			}
			if len(marks)%5 == 4 {
				m.Stored = &Storage{TempC: 4}
			}
			marks, b = append(marks, m), b[16:]
		}
		r := HouseDefault()
		fit, err := FitMarks(r, marks)
		if err != nil {
			t.Fatal(err)
		}
		checkFit(t, r, fit)
	})
}

func BenchmarkFitMarks(b *testing.B) {
	marks := book(rand.New(rand.NewPCG(9, 9)), HouseDefault(), rooms(500, 17, 30), 0.2, DoughReached, TooStiff)
	for b.Loop() {
		if _, err := FitMarks(HouseDefault(), marks); err != nil {
			b.Fatal(err)
		}
	}
}

// A mark more than four times off the middle of its kind is set aside, one less far off is not.
func TestMarksFourTimesOffAreSetAside(t *testing.T) {
	r := HouseDefault()
	for _, c := range []struct {
		min  float64
		want int
	}{{45 * 3.9, 0}, {45 * 4.1, 1}, {45 / 3.9, 0}, {45 / 4.1, 1}} {
		marks := []Mark{{TooStiff, c.min, Conditions{RoomC: r.RefTempC}}}
		for range 4 {
			marks = append(marks, Mark{TooStiff, 45, Conditions{RoomC: r.RefTempC}})
		}
		f, err := FitMarks(r, marks)
		if err != nil || f.SetAside != c.want {
			t.Errorf("%.1f min beside 45: %d set aside, want %d, %v", c.min, f.SetAside, c.want, err)
		}
	}
}

// The spread is the conjugate update of a variance with five marks behind what was assumed.
func TestSpreadIsWeighedWithFiveMarks(t *testing.T) {
	r := HouseDefault()
	var marks []Mark
	for _, m := range []float64{30, 60, 30, 60} {
		marks = append(marks, Mark{TooStiff, m, Conditions{RoomC: r.RefTempC}})
	}
	f, err := FitMarks(r, marks)
	if err != nil {
		t.Fatal(err)
	}
	half := math.Ln2 / 2
	around := 0.10*0.10 + math.Pow(math.Log(r.Q10)/10, 2)
	v := (5*(r.MixLnSD*r.MixLnSD+around) + 4*half*half) / (5 + 3) // 4 half² is the sum of squares of four marks
	near(t, "spread", f.MixLnSD, math.Sqrt(v-around), 1e-9)
}
