package flash

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

type reference struct {
	Settings Settings `json:"settings"`
	Cases    []struct {
		Name string `json:"name"`
		History
		Want Posterior `json:"want"`
	} `json:"cases"`
}

func readReference(t testing.TB, name string) reference {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/flash/" + name)
	if err != nil {
		t.Fatal(err)
	}
	var r reference
	if err := json.Unmarshal(raw, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

func TestReferenceCases(t *testing.T) {
	r := readReference(t, "cases.json")
	for _, c := range r.Cases {
		t.Run(c.Name, func(t *testing.T) {
			p, err := Fit(r.Settings, c.History)
			if err != nil {
				t.Fatal(err)
			}
			w := c.Want
			worst := 0.0
			cmp := func(name string, got, want float64) {
				e := math.Abs(got-want) / math.Abs(want)
				worst = math.Max(worst, e)
				if !(e < 1e-6) {
					t.Errorf("%s %.12g want %.12g rel %.2g", name, got, want, e)
				}
			}
			cmp("a_mean", p.AMean, w.AMean)
			cmp("a_sd", p.ASD, w.ASD)
			cmp("b_mean", p.BMean, w.BMean)
			cmp("b_sd", p.BSD, w.BSD)
			cmp("nm", p.NextLogGramsMean, w.NextLogGramsMean)
			cmp("ns", p.NextLogGramsSD, w.NextLogGramsSD)
			cmp("none", p.Next.None, w.Next.None)
			cmp("slight", p.Next.Slight, w.Next.Slight)
			cmp("heavy", p.Next.Heavy, w.Next.Heavy)
			for i := range w.FirstAtMostSlightIn {
				cmp("first", p.FirstAtMostSlightIn[i], w.FirstAtMostSlightIn[i])
			}
			if p.MoreMedian != w.MoreMedian || p.More80 != w.More80 {
				t.Error("median")
			}
			t.Logf("worst %.2g, %d rows %d nodes", worst, len(p.grid.rows), len(p.grid.weight))
		})
	}
}

func BenchmarkFit(b *testing.B) {
	for _, s := range []string{"", "heavy,heavy", "heavy,heavy,heavy,slight,slight,slight,none,none", "heavy:20,heavy:9,heavy:4,heavy:2,slight:0.8,slight:.4,slight:.2,none:.1", "heavy,slight,+heavy,slight,+heavy,heavy,slight,slight"} {
		b.Run(s, func(b *testing.B) {
			tr, _ := ParseTrials(s)
			h := History{Size: Medium, Trials: tr}
			var p Posterior
			for b.Loop() {
				p, _ = Fit(HouseDefaults(), h)
			}
			b.ReportMetric(float64(len(p.grid.weight)), "nodes")
		})
	}
}
