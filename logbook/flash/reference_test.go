package flash

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func readTestdata(t testing.TB, name string, into any) {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/flash/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, into); err != nil {
		t.Fatal(err)
	}
}

func trials(t testing.TB, s string) []Trial {
	t.Helper()
	ts, err := ParseTrials(s)
	if err != nil {
		t.Fatal(err)
	}
	return ts
}

func fit(t testing.TB, s TrendSettings, h History) Posterior {
	t.Helper()
	p, err := Fit(s, h)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// far is how far got is from want, relative to want. Chances below floor are held to floor.
func far(got, want, floor float64) float64 {
	return math.Abs(got-want) / math.Max(math.Abs(want), floor)
}

// leastChance is the chance below which six digits are not asked for: the reference of the
// first cases cuts its priors at 7 sds, and both sums are coarse in so far a tail.
const leastChance = 5e-5

// check holds every field of a posterior against a wanted one, chances under leastChance to
// leastChance × tol.
func check(t *testing.T, got, want Posterior, tol float64) (worst float64) {
	t.Helper()
	cmp := func(name string, g, w, floor float64) {
		t.Helper()
		d := far(g, w, floor)
		worst = math.Max(worst, d)
		if !(d <= tol) {
			t.Errorf("%s = %.12g, want %.12g: off by %.2g of it", name, g, w, d)
		}
	}
	cmp("a_mean", got.AMean, want.AMean, 0)
	cmp("a_sd", got.ASD, want.ASD, 0)
	cmp("b_mean", got.BMean, want.BMean, 0)
	cmp("b_sd", got.BSD, want.BSD, 0)
	cmp("next_log_grams_mean", got.NextLogGramsMean, want.NextLogGramsMean, 0)
	cmp("next_log_grams_sd", got.NextLogGramsSD, want.NextLogGramsSD, 0)
	cmp("next.none", got.Next.None, want.Next.None, leastChance)
	cmp("next.slight", got.Next.Slight, want.Next.Slight, leastChance)
	cmp("next.heavy", got.Next.Heavy, want.Next.Heavy, leastChance)
	if len(got.FirstAtMostSlightIn) != MaxAhead || len(want.FirstAtMostSlightIn) != MaxAhead {
		t.Fatalf("%d and %d chances, not %d", len(got.FirstAtMostSlightIn), len(want.FirstAtMostSlightIn), MaxAhead)
	}
	for i, w := range want.FirstAtMostSlightIn {
		cmp("first_at_most_slight_in", got.FirstAtMostSlightIn[i], w, leastChance)
	}
	if got.MoreMedian != want.MoreMedian || got.More80 != want.More80 {
		t.Errorf("more_median, more_80 = %d, %d, want %d, %d", got.MoreMedian, got.More80, want.MoreMedian, want.More80)
	}
	return worst
}

// Source: reference cases, testdata/flash/cases.json (SciPy, dense grid).
func TestReferenceCases(t *testing.T) {
	var r struct {
		Settings TrendSettings `json:"settings"`
		Cases    []struct {
			Name string `json:"name"`
			History
			Want Posterior `json:"want"`
		} `json:"cases"`
	}
	readTestdata(t, "cases.json", &r)
	if r.Settings != HouseDefaults() {
		t.Errorf("the house defaults are not those of the reference cases:\n%+v\n%+v", HouseDefaults(), r.Settings)
	}
	if len(r.Cases) != 7 {
		t.Fatalf("%d cases", len(r.Cases))
	}
	for _, c := range r.Cases {
		t.Run(c.Name, func(t *testing.T) {
			p := fit(t, r.Settings, c.History)
			t.Logf("worst %.1g; %d × %d nodes", check(t, p, c.Want, 1e-6), len(p.grid.rows), len(p.grid.a)/len(p.grid.rows))
		})
	}
}

// Source: testdata/flash/reference.py (SciPy, dense grid), with other settings too, and
// flasks that contradict themselves or their size, and with a floor.
func TestFurtherReferenceCases(t *testing.T) {
	var r struct {
		Settings map[string]TrendSettings `json:"settings"`
		Cases    []struct {
			Name     string `json:"name"`
			Settings string `json:"settings"`
			History
			Want        Posterior `json:"want"`
			LogEvidence float64   `json:"log_evidence"`
		} `json:"cases"`
	}
	readTestdata(t, "cases-more.json", &r)
	for _, c := range r.Cases {
		t.Run(c.Settings+" "+string(c.Size)+" "+c.Name, func(t *testing.T) {
			p := fit(t, r.Settings[c.Settings], c.History)
			const tol = 1e-6
			t.Logf("worst %.1g", check(t, p, c.Want, tol))
			e, err := Evidence(r.Settings[c.Settings], []History{c.History})
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(e-c.LogEvidence) > tol || math.Abs(p.LogEvidence-c.LogEvidence) > tol {
				t.Errorf("log evidence %.9f and %.9f, want %.9f", e, p.LogEvidence, c.LogEvidence)
			}
		})
	}
}

// Before anything was seen, and without a floor, the next closure is normal in ln grams:
// its chances are had in closed form, however small.
func TestFirstClosureInClosedForm(t *testing.T) {
	s := HouseDefaults()
	for _, z := range Sizes() {
		prior, p := s.Prior.at(z), fit(t, s, History{Size: z})
		next := distuv.Normal{Mu: math.Log(prior.FirstG), Sigma: math.Hypot(prior.FirstSD, s.GradeSD)}
		none := next.CDF(math.Log(s.NoneBelowG))
		if far(p.Next.None, none, 1e-15) > 1e-6 {
			t.Errorf("%s: none %.12g, want %.12g", z, p.Next.None, none)
		}
		if heavy := next.Survival(math.Log(s.HeavyAboveG)); far(p.Next.Heavy, heavy, 0) > 1e-9 {
			t.Errorf("%s: heavy %.12g, want %.12g", z, p.Next.Heavy, heavy)
		}
	}
}

// The JSON names are those of the reference cases.
func TestPosteriorJSON(t *testing.T) {
	var r struct {
		Cases []struct {
			Want map[string]any `json:"want"`
		} `json:"cases"`
	}
	readTestdata(t, "cases.json", &r)
	raw, err := json.Marshal(fit(t, HouseDefaults(), History{Size: Medium}))
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(raw, &got); err != nil {
		t.Fatal(err)
	}
	for name := range r.Cases[0].Want {
		if _, ok := got[name]; !ok {
			t.Errorf("no field %q in %s", name, raw)
		}
		delete(got, name)
	}
	if len(got) > 0 {
		t.Errorf("further fields %v", got)
	}
	if next, want := len(r.Cases[0].Want["next"].(map[string]any)), 3; next != want {
		t.Errorf("next has %d fields", next)
	}
}

func BenchmarkFit(b *testing.B) {
	for _, c := range []struct {
		name, trials string
		size         Size
	}{
		{"none yet", "", Medium},
		{"2 graded", "heavy,heavy", Medium},
		{"3 graded large", "heavy,heavy,heavy", Large},
		{"8 graded", "heavy,heavy,heavy,slight,slight,slight,none,none", Large},
		{"8 weighed", "heavy:20,heavy:9,heavy:4,heavy:2,slight:0.8,slight:0.4,slight:0.2,none:0.1", Large},
		{"8, dough added once", "none,+heavy,heavy:3.1,heavy,slight,slight,slight,none", Medium},
		{"8, dough added twice", "heavy,slight,+heavy,slight,+heavy,heavy,slight,slight", Medium},
	} {
		h := History{Size: c.size, Trials: trials(b, c.trials)}
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Fit(HouseDefaults(), h); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
