package press

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

var allBenches = flag.Bool("all-benches", false, "hold every bench of the table against its optimum, not one in five")

// optimum is optimum.json, written by optimum.py beside it: exact dynamic programming in plain Python.
type optimum struct {
	Totals map[string][]float64 `json:"totals"`
	Rows   []struct {
		Mixes   []float64 `json:"mixes_min"`
		Flasks  int       `json:"flasks"`
		InTime  float64   `json:"in_time"`
		Lost    float64   `json:"lost"`
		Benches []struct {
			Due    []int    `json:"due_s"`
			Sizes  []string `json:"sizes"`
			Share  float64  `json:"share"`
			InTime float64  `json:"in_time"`
		} `json:"benches"`
	} `json:"rows"`
}

func readOptimum(t testing.TB) optimum {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "press", "optimum.json"))
	if err != nil {
		t.Fatal(err)
	}
	var o optimum
	if err := json.Unmarshal(text, &o); err != nil {
		t.Fatal(err)
	}
	if len(o.Rows) != 7 {
		t.Fatalf("%d rows, want 7", len(o.Rows))
	}
	return o
}

func TestHouseTotalsAgreeWithOptimumTable(t *testing.T) {
	for name, want := range readOptimum(t).Totals {
		for k, got := range totalsOf(name) {
			if math.Abs(got-want[k]) > 3e-4 {
				t.Errorf("%s, %d closures: %.9f by quadrature, %.9f by midpoints", name, k+1, got, want[k])
			}
		}
	}
}

// On each bench of the table the advice, followed to the end, is to bring as many flasks in as the optimum of the
// independent solver, less the little that minutes to spare may cost: in every row within 0.01 flasks a shift, and never
// more than it. Nothing is drawn here: both are worked out. Only a few benches of each row are held in the plain test.
func TestAdviceIsAtItsOptimum(t *testing.T) {
	const close = 0.01
	o := readOptimum(t)
	count := 0
	for _, row := range o.Rows {
		gap, share := 0.0, 0.0
		for k, b := range row.Benches {
			if !*allBenches && k%5 != 0 {
				continue
			}
			count++
			var jobs []Job
			for i, s := range b.Sizes {
				jobs = append(jobs, Job{ID: strconv.Itoa(i), Due: time.Duration(b.Due[i]) * time.Second, More: o.Totals[s]})
			}
			p, w := newPlan(jobs, houseDurations(), houseBench())
			a := &ahead{plan: p, gap: DefaultGain}
			best := a.decide(w, newDraws(jobs, 1, 2), 2, defaultWork)
			if best.table == nil {
				t.Fatalf("%v, %v: not solved", b.Due, b.Sizes)
			}
			if best.flasks > b.InTime+1e-9 {
				t.Errorf("%v, %v: %.6f flasks in time, at the optimum %.6f", b.Due, b.Sizes, best.flasks, b.InTime)
			}
			gap += b.Share * (b.InTime - best.flasks)
			share += b.Share
		}
		gap /= share
		t.Logf("mixes of %v min, %d flasks: lost at the optimum %.4f, a shift %.6f flasks short of it", row.Mixes, row.Flasks, row.Lost, gap)
		if gap > close {
			t.Errorf("mixes of %v min, %d flasks: %.4f flasks a shift short of the optimum", row.Mixes, row.Flasks, gap)
		}
	}
	t.Logf("%d benches", count)
}
