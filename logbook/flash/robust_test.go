package flash

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"

	"flaskside/timers/longrun"
)

func drawSettings(t *rapid.T) TrendSettings {
	between := func(name string, lim [2]float64) float64 {
		return math.Exp(rapid.Float64Range(math.Log(lim[0]), math.Log(lim[1])).Draw(t, name))
	}
	prior := func(name string) Prior {
		return Prior{
			FirstG: between(name+".first_g", limitsGrams), FirstSD: between(name+".first_sd", limitsFirst),
			Kept: between(name+".kept", limitsKept), KeptSD: between(name+".kept_sd", limitsKeptS),
		}
	}
	s := TrendSettings{GradeSD: between("grade_sd", limitsGrade), WeighSD: between("weigh_sd", limitsWeigh)}
	s.NoneBelowG = between("none_below_g", [2]float64{0.001, 500})
	s.HeavyAboveG = s.NoneBelowG * between("ratio", [2]float64{1.21, 1000})
	s.HeavyAboveG = math.Min(s.HeavyAboveG, 1000)
	if rapid.Bool().Draw(t, "floor") {
		s.FloorG = between("floor_g", limitsFloor)
	}
	s.Prior = priors{Small: prior("small"), Medium: prior("medium"), Large: prior("large")}
	if s.Validate() != nil {
		return HouseDefaults() // exp of a log at a limit may fall a hair outside it
	}
	return s
}

func drawHistory(t *rapid.T, most int) History {
	h := History{Size: rapid.SampledFrom(Sizes()).Draw(t, "size"), AddedSince: rapid.Bool().Draw(t, "added since")}
	for range rapid.IntRange(0, most).Draw(t, "trials") {
		tr := Trial{Grade: Grade(rapid.IntRange(1, 3).Draw(t, "grade")), Added: rapid.IntRange(0, 3).Draw(t, "added") == 0}
		if rapid.IntRange(0, 2).Draw(t, "weighed") == 0 {
			g := math.Min(math.Max(math.Exp(rapid.Float64Range(-7, 7).Draw(t, "ln grams")), MinGrams), MaxGrams)
			tr.Grams = &g
		}
		h.Trials = append(h.Trials, tr)
	}
	return h
}

// sane says what of a posterior cannot be.
func sane(p Posterior) error {
	finite := []float64{p.AMean, p.BMean, p.NextLogGramsMean, p.LogEvidence}
	positive := []float64{p.ASD, p.BSD, p.NextLogGramsSD}
	for _, v := range append(finite, positive...) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errors.New("a value is not finite")
		}
	}
	for _, v := range positive {
		if v <= 0 {
			return errors.New("an sd is not above 0")
		}
	}
	if sum := p.Next.None + p.Next.Slight + p.Next.Heavy; math.Abs(sum-1) > 1e-9 {
		return errors.New("the chances of the grades do not add up to 1")
	}
	var sum float64
	for _, c := range append([]float64{p.Next.None, p.Next.Slight, p.Next.Heavy}, p.FirstAtMostSlightIn...) {
		if !(c >= 0 && c <= 1+1e-12) {
			return errors.New("a chance is outside 0 to 1")
		}
	}
	for _, c := range p.FirstAtMostSlightIn {
		sum += c
	}
	if sum > 1+1e-9 {
		return errors.New("the chances of the closures add up to more than 1")
	}
	if p.MoreMedian < 1 || p.More80 < p.MoreMedian || p.More80 > MaxAhead+1 {
		return errors.New("the numbers of closures cannot be")
	}
	for _, s := range p.Segments {
		for _, k := range []float64{1, 2, 50} {
			if m, sd := s.line(k); math.IsNaN(m+sd) || math.IsInf(m+sd, 0) || sd <= 0 {
				return errors.New("a line is not finite")
			}
		}
	}
	return nil
}

// Any settings and any flask: finite, and within what chances can be.
func TestAnyFlask(t *testing.T) {
	longrun.Checks(t, 40, 100)
	rapid.Check(t, func(t *rapid.T) {
		s, h := drawSettings(t), drawHistory(t, 12)
		p, err := Fit(s, h)
		if err != nil {
			t.Fatal(err)
		}
		if err := sane(p); err != nil {
			t.Fatalf("%v: %+v", err, p)
		}
		pic := NewPicture(s, h, p)
		for _, d := range pic.Points {
			if y := pic.Y(d.Y); !(y >= 0 && y <= 1) {
				t.Fatalf("a mark at %g of the height", y)
			}
		}
	})
}

// Less flash never makes the next closure look worse, nor more of them likely.
func TestLessFlashIsBetter(t *testing.T) {
	longrun.Checks(t, 40, 100)
	rapid.Check(t, func(t *rapid.T) {
		h := drawHistory(t, 6)
		h.Trials = append(h.Trials, Trial{Grade: Heavy})
		h.AddedSince = false
		s := HouseDefaults()
		var before Posterior
		for _, g := range []Grade{Heavy, Slight, None} {
			h.Trials[len(h.Trials)-1].Grade = g
			p, err := Fit(s, h)
			if err != nil {
				t.Fatal(err)
			}
			if g != Heavy && (p.Next.Heavy > before.Next.Heavy+1e-9 || p.NextLogGramsMean > before.NextLogGramsMean+1e-9 || p.More80 > before.More80) {
				t.Fatalf("after %v: %+v, after more flash %+v", g, p, before)
			}
			before = p
		}
	})
}

func TestRefused(t *testing.T) {
	g := func(v float64) *float64 { return &v }
	many := make([]Trial, MaxTrials+1)
	for i := range many {
		many[i].Grade = Heavy
	}
	bad := HouseDefaults()
	bad.GradeSD = math.NaN()
	for _, c := range []struct {
		s    TrendSettings
		h    History
		want string
	}{
		{HouseDefaults(), History{Size: Medium, Trials: []Trial{{Grade: Heavy}, {}}}, "trial 2: the grade is missing"},
		{HouseDefaults(), History{Size: Medium, Trials: []Trial{{Grade: 7}}}, "trial 1: the grade is missing"},
		{HouseDefaults(), History{Size: Medium, Trials: []Trial{{Grade: Heavy, Grams: g(0)}}}, "0 g is not a weight of flash: give 0.001 to 1000 g"},
		{HouseDefaults(), History{Size: Medium, Trials: []Trial{{Grade: Heavy, Grams: g(-3)}}}, "-3 g is not a weight"},
		{HouseDefaults(), History{Size: Medium, Trials: []Trial{{Grade: Heavy, Grams: g(1001)}}}, "1001 g is not a weight"},
		{HouseDefaults(), History{Size: Medium, Trials: []Trial{{Grade: Heavy, Grams: g(math.NaN())}}}, "NaN g is not a weight"},
		{HouseDefaults(), History{Size: Medium, Trials: []Trial{{Grade: Heavy, Grams: g(math.Inf(1))}}}, "+Inf g is not a weight"},
		{HouseDefaults(), History{Size: "huge"}, `"huge" is not a size of base: it is small, medium or large`},
		{HouseDefaults(), History{}, `"" is not a size of base`},
		{HouseDefaults(), History{Size: Small, Trials: many}, "51 trials on one flask: at most 50 are followed"},
		{bad, History{Size: Small}, "grade_sd is NaN: it must be from 0.1 to 2"},
	} {
		_, err := Fit(c.s, c.h)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
		if _, err := Evidence(c.s, []History{c.h}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("evidence: %v, want %q", err, c.want)
		}
		if _, err := Score(c.s, []History{c.h}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("score: %v, want %q", err, c.want)
		}
	}
}

// The most trials there may be, contradicting each other as much as they can.
func TestContradiction(t *testing.T) {
	s := HouseDefaults()
	s.GradeSD = 0.1
	h := History{Size: Large}
	for i := range MaxTrials {
		h.Trials = append(h.Trials, Trial{Grade: []Grade{None, Heavy}[i%2]})
	}
	p := fit(t, s, h)
	if err := sane(p); err != nil {
		t.Fatalf("%v: %+v", err, p)
	}
	if p.LogEvidence > -1000 {
		t.Errorf("log evidence %g of what can hardly be", p.LogEvidence)
	}
}

func TestParseTrials(t *testing.T) {
	g := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		in   string
		want []Trial
		err  string
	}{
		{"", nil, ""},
		{"  ", nil, ""},
		{"heavy:7.2,heavy,+heavy,slight", []Trial{{Grade: Heavy, Grams: g(7.2)}, {Grade: Heavy}, {Grade: Heavy, Added: true}, {Grade: Slight}}, ""},
		{" none , +slight:0.5 ", []Trial{{Grade: None}, {Grade: Slight, Grams: g(0.5), Added: true}}, ""},
		{"heavy,,slight", nil, `trial 2: "" is not a grade of flash: it is none, slight or heavy`},
		{"Heavy", nil, `trial 1: "Heavy" is not a grade`},
		{"heavy:7,2", nil, `trial 2: "2" is not a grade`},
		{"heavy:", nil, `trial 1: "" is not a weight: write grams with a decimal point, as in heavy:7.2`},
		{"heavy:x", nil, `"x" is not a weight`},
		{"heavy:nan", nil, "NaN g is not a weight of flash"},
		{"heavy:1e400", nil, `"1e400" is not a weight`},
		{"heavy:-1", nil, "-1 g is not a weight of flash: give 0.001 to 1000 g, or leave the weight out"},
		{"++heavy", nil, `"+heavy" is not a grade`},
		{strings.Repeat("heavy,", 50) + "slight", nil, "51 trials on one flask"},
		{strings.Repeat("x", 1000), nil, `"xxxxxxxxxxxxxxxxxxxx" is not a grade`},
	} {
		got, err := ParseTrials(c.in)
		if c.err != "" {
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%.40q: %v, want %q", c.in, err, c.err)
			}
			continue
		}
		if err != nil || !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q = %v, %v", c.in, got, err)
		}
	}
}

func FuzzParseTrials(f *testing.F) {
	for _, s := range []string{"", "heavy:7.2,heavy,+heavy,slight", "none,+slight:0.5", "heavy:0x1p-2", "slight:1e-400", "+", ":", "heavy:1,", "é,\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		ts, err := ParseTrials(s)
		if err != nil {
			return
		}
		if err := CheckTrials(ts); err != nil {
			t.Fatalf("%q was read: %v", s, err)
		}
		var words []string
		for _, tr := range ts {
			words = append(words, tr.String())
		}
		again, err := ParseTrials(strings.Join(words, ","))
		if err != nil || !reflect.DeepEqual(again, ts) {
			t.Fatalf("%q → %v → %v, %v", s, words, again, err)
		}
	})
}

// Any bytes make a flask: grades, weights, additions in any order.
func FuzzFit(f *testing.F) {
	f.Add([]byte{0})
	f.Add([]byte{1, 0x12, 0x33, 0xff, 0x80, 0x07})
	f.Add([]byte("heavy and none and heavy and none"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		if len(raw) == 0 {
			return
		}
		h := History{Size: Sizes()[raw[0]%3], AddedSince: raw[0]&8 != 0}
		for _, b := range raw[1:min(len(raw), 1+MaxTrials)] {
			tr := Trial{Grade: 1 + Grade(b%3), Added: b&4 != 0}
			if b&8 != 0 {
				g := math.Min(MaxGrams, MinGrams*math.Exp(float64(b>>4)))
				tr.Grams = &g
			}
			h.Trials = append(h.Trials, tr)
		}
		p, err := Fit(HouseDefaults(), h)
		if err != nil {
			t.Fatal(err)
		}
		if err := sane(p); err != nil {
			t.Fatalf("%v: %v gives %+v", err, h.Trials, p)
		}
	})
}

func TestGradesAndSizes(t *testing.T) {
	for g := None; g <= Heavy; g++ {
		b, err := g.MarshalText()
		var back Grade
		if err != nil || back.UnmarshalText(b) != nil || back != g || g.String() != string(b) {
			t.Errorf("%v → %q, %v → %v", g, b, err, back)
		}
	}
	var g Grade
	if _, err := g.MarshalText(); err == nil || g.Valid() || g.String() != "no grade" {
		t.Errorf("no grade at all marshals: %v, %v", err, g)
	}
	if err := g.UnmarshalText([]byte("medium")); err == nil {
		t.Error("medium is a grade")
	}
	for _, z := range Sizes() {
		if got, err := ParseSize(string(z)); err != nil || got != z {
			t.Errorf("%q = %q, %v", z, got, err)
		}
	}
	s := HouseDefaults()
	for grams, want := range map[float64]Grade{0.149: None, 0.15: Slight, 1: Slight, 1.001: Heavy} {
		if got := s.GradeOf(grams); got != want {
			t.Errorf("%g g is %v", grams, got)
		}
	}
	if p, err := s.PriorOf(Large); err != nil || p != s.Prior.Large {
		t.Errorf("prior of large %+v, %v", p, err)
	}
}

func TestSettingsText(t *testing.T) {
	s := HouseDefaults()
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	js, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	tm, err := toml.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var a, b TrendSettings
	if err := json.Unmarshal(js, &a); err != nil || a != s {
		t.Errorf("%s → %+v, %v", js, a, err)
	}
	if err := toml.Unmarshal(tm, &b); err != nil || b != s {
		t.Errorf("%s → %+v, %v", tm, b, err)
	}
	for _, c := range []struct {
		change func(*TrendSettings)
		want   string
	}{
		{func(s *TrendSettings) { s.NoneBelowG = 0 }, "none_below_g is 0: it must be from 0.001 to 1000"},
		{func(s *TrendSettings) { s.HeavyAboveG = math.Inf(1) }, "heavy_above_g is +Inf"},
		{func(s *TrendSettings) { s.HeavyAboveG = 0.16 }, "heavy_above_g 0.16 must be at least 1.2 times none_below_g 0.15"},
		{func(s *TrendSettings) { s.WeighSD = 0.01 }, "weigh_sd is 0.01: it must be from 0.05 to 2"},
		{func(s *TrendSettings) { s.Prior.Small.FirstG = -1 }, "prior.small.first_g is -1"},
		{func(s *TrendSettings) { s.Prior.Medium.FirstSD = 3 }, "prior.medium.first_sd is 3"},
		{func(s *TrendSettings) { s.Prior.Large.Kept = 1 }, "prior.large.kept is 1: it must be from 0.01 to 0.99"},
		{func(s *TrendSettings) { s.Prior.Large.KeptSD = math.NaN() }, "prior.large.kept_sd is NaN"},
	} {
		s := HouseDefaults()
		c.change(&s)
		if err := s.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

func TestPicture(t *testing.T) {
	s := HouseDefaults()
	h := History{Size: Small, Trials: trials(t, "none,+heavy:9,heavy,slight")}
	pic := NewPicture(s, h, fit(t, s, h))
	if pic.Done != 4 || pic.Last != 5 || len(pic.Curves) != 2 || len(pic.Points) != 4 {
		t.Fatalf("%+v", pic)
	}
	if pic.X(1) != 0.1 || pic.X(5) != 0.9 || pic.Y(pic.Low) != 0 || pic.Y(pic.High) != 1 {
		t.Errorf("scales %g %g %g %g", pic.X(1), pic.X(5), pic.Y(pic.Low), pic.Y(pic.High))
	}
	// Each quarter of the height: none, slight, and two of heavy.
	near(t, "line of none", pic.Y(pic.None), 0.25, 1e-12)
	near(t, "line of heavy", pic.Y(pic.Heavy), 0.5, 1e-12)
	for i, want := range []float64{0.125, pic.Y(math.Log(9)), 0.75, 0.375} {
		near(t, "height of a mark", pic.Y(pic.Points[i].Y), want, 1e-12)
	}
	if !pic.Points[1].Weighed || pic.Points[2].Weighed || !pic.Points[1].Added || pic.Points[0].Added {
		t.Errorf("marks %+v", pic.Points)
	}
	if a, b := pic.Curves[0], pic.Curves[1]; a.From != 1 || a.To != 1 || b.From != 2 || b.To != 5 {
		t.Errorf("curves %+v", pic.Curves)
	}
	mean, low, high := pic.Curves[1].At(5)
	p := fit(t, s, h)
	near(t, "forecast", mean, p.NextLogGramsMean, 1e-12)
	near(t, "band", (high-low)/2, 1.2815515655446004*p.NextLogGramsSD, 1e-12) // Φ⁻¹(0.9), handbook
	// Beyond the usual height the picture grows.
	g := 900.0
	h.Trials[1].Grams = &g
	if pic := NewPicture(s, h, fit(t, s, h)); !(pic.High > math.Log(g)) {
		t.Errorf("%g g is above the top %g", g, math.Exp(pic.High))
	}
}

// A floor far above what the prior takes for flash: the density has a plateau that looks like
// its top, and the estimate was not a number.
func TestPlateauOfTheFloor(t *testing.T) {
	s := HouseDefaults()
	s.GradeSD, s.WeighSD = math.Exp(-2.25), 1
	s.NoneBelowG = math.Exp(-2.573248495522421)
	s.HeavyAboveG = s.NoneBelowG * math.Exp(6.587816801217514)
	s.FloorG = math.E
	s.Prior.Small = Prior{FirstG: math.Exp(-6.82861328125), FirstSD: 1, Kept: math.Exp(-3.8125), KeptSD: math.Exp(-1.4610595703125)}
	if err := s.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, grades := range [][]Grade{{Heavy, Heavy, Slight}, {Heavy}, {Heavy, Heavy, Heavy, Heavy}, {Slight, Heavy}, {None, Heavy, None}} {
		h := History{Size: Small, AddedSince: true}
		for _, g := range grades {
			h.Trials = append(h.Trials, Trial{Grade: g})
		}
		p, err := Fit(s, h)
		if err != nil {
			t.Fatal(err)
		}
		if err := sane(p); err != nil {
			t.Errorf("%v: %v: %+v", grades, err, p)
		}
	}
}
