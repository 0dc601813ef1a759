package press

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// reference is plays.json, written by plays.py beside it: an independent playing in plain Python.
type reference struct {
	Plays []struct {
		Need   []int            `json:"need"`
		Due    []int            `json:"due_s"`
		Finish map[string][]int `json:"finish_s"`
	} `json:"plays"`
	Draws  int              `json:"totals_draws"`
	Totals map[string][]int `json:"totals"`
}

func readReference(t *testing.T) reference {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "press", "plays.json"))
	if err != nil {
		t.Fatal(err)
	}
	var r reference
	if err := json.Unmarshal(text, &r); err != nil {
		t.Fatal(err)
	}
	return r
}

func TestPlayAgreesWithReferenceCases(t *testing.T) {
	rules := map[string]rule{"earliest end": earliestEnd, "one at a time": oneAtATime}
	for k, c := range readReference(t).Plays {
		var jobs []Job
		for i, n := range c.Need {
			jobs = append(jobs, Job{ID: strconv.Itoa(i), Due: time.Duration(c.Due[i]) * time.Second, Ready: n == 0, More: knownTo(max(n, 1))})
		}
		for name, r := range rules {
			p, w := newPlan(jobs, houseDurations(), houseBench())
			for i, n := range c.Need {
				w.cells[i].need = int8(n)
			}
			p.play(w, r)
			var got []int
			for _, x := range w.cells {
				got = append(got, int(x.at/time.Second))
			}
			if !slices.Equal(got, c.Finish[name]) {
				t.Errorf("case %d, %s: finished after %v s, want %v", k, name, got, c.Finish[name])
			}
		}
	}
}

// The house distribution by quadrature against drawing it in the reference cases.
func TestHouseTotalsAgreeWithDrawing(t *testing.T) {
	r := readReference(t)
	for name, count := range r.Totals {
		for k, want := range totalsOf(name) {
			se := math.Sqrt(want*(1-want)/float64(r.Draws)) + 1e-9
			if got := float64(count[k]) / float64(r.Draws); math.Abs(got-want) > 4.5*se {
				t.Errorf("%s, %d closures: drawn %.5f, quadrature %.5f, standard error %.5f", name, k+1, got, want, se)
			}
		}
	}
}

// One flask, worked by hand: k closures of 0.7 + 1 + 0.3 + 1.5 min, then 2 min.
func TestOneFlaskByHand(t *testing.T) {
	for _, c := range []struct {
		name   string
		job    Job
		finish float64
	}{
		{"two closures", Job{More: knownTo(2)}, 2*3.5 + 2},
		{"ready", Job{Ready: true}, 2},
		{"may go in later", Job{More: knownTo(1), From: mins(4)}, 4 + 3.5 + 2},
		{"going up", Job{Progress: Rising, Until: mins(0.5), More: knownTo(1)}, 0.5 + 1 + 0.3 + 1.5 + 2},
		{"held", Job{Progress: Holding, Until: mins(0.25), More: knownTo(1)}, 0.25 + 0.3 + 1.5 + 2},
		{"held over long", Job{Progress: Holding, Until: mins(-7), More: knownTo(1)}, 0.3 + 1.5 + 2},
		{"being opened", Job{Progress: Opening, Until: mins(0.1), More: knownTo(2)}, 0.1 + 1.5 + 3.5 + 2},
		{"opened", Job{Progress: Untrimmed, More: knownTo(1)}, 1.5 + 3.5 + 2},
		{"opened, ready", Job{Progress: Untrimmed, Ready: true}, 1.5 + 2},
		{"being trimmed", Job{Progress: Trimming, Until: mins(1), Ready: true}, 1 + 2},
		{"final closure", Job{Progress: Closing, Until: mins(1.5)}, 1.5},
	} {
		c.job.ID, c.job.Due = "4417", mins(60)
		for _, r := range baseRules {
			p, w := newPlan([]Job{c.job}, houseDurations(), houseBench())
			p.deal(w, newDraws([]Job{c.job}, 1, 1), 0)
			p.play(w, r)
			if got := w.cells[0]; got.stage != finished || got.at != mins(c.finish) {
				t.Errorf("%s by rule %d: stage %d at %v, want finished at %v", c.name, r, got.stage, got.at, mins(c.finish))
			}
		}
	}
}

// Draws spread evenly over a distribution give back its chances, and what is left after a closure in vain.
func TestDrawGivesBackTheDistribution(t *testing.T) {
	cum, err := cumulate([]float64{0.2, 0.5, 0.3})
	if err != nil {
		t.Fatal(err)
	}
	for made, want := range map[int8][]float64{0: {0.2, 0.5, 0.3}, 1: {0.625, 0.375}, 2: {1}} {
		const n = 100_000
		got := make([]float64, len(want))
		for k := range n {
			got[draw(cum, made, (float64(k)+0.5)/n)-1] += 1.0 / n
		}
		for i := range want {
			if math.Abs(got[i]-want[i]) > 2.0/n {
				t.Errorf("after %d: %v, want %v", made, got, want)
			}
		}
	}
	p := &plan{d: Durations{Trim: mins(1)}}
	mean, high := p.expect(cum)
	// By hand: 0.2*1 + 0.5*2 + 0.3*3 = 2.1; after one 0.625 + 0.75 = 1.375; after two 1.
	for m, want := range []float64{2.1, 1.375, 1} {
		if got := mean[m].Minutes(); math.Abs(got-want) > 1e-6 {
			t.Errorf("expected after %d: %v, want %v", m, got, want)
		}
	}
	// At most 3, 2, 1 with 80 % confidence: 0.7 < 0.8 after none, 0.625 < 0.8 after one.
	if want := []time.Duration{mins(3), mins(2), mins(1)}; !slices.Equal(high, want) {
		t.Errorf("at 80 %% confidence %v, want %v", high, want)
	}
}

func TestCumulate(t *testing.T) {
	for _, c := range []struct {
		name string
		in   []float64
		want []float64
	}{
		{"whole", []float64{0.25, 0.75}, []float64{0.25, 1}},
		{"wanting", []float64{0.25, 0.25}, []float64{0.25, 0.5, 1}},
		{"over", []float64{1, 1}, []float64{0.5, 1}},
		{"rounding", []float64{0.5, 0.5 - 1e-12}, []float64{0.5, 1}},
		{"tail of nothing", []float64{1, 0, 0}, []float64{1, 1, 1}},
	} {
		got, err := cumulate(c.in)
		if err != nil || !slices.EqualFunc(got, c.want, func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }) {
			t.Errorf("%s: %v, %v; want %v", c.name, got, err, c.want)
		}
	}
	long, err := cumulate(slices.Repeat([]float64{0.001}, 1000))
	if err != nil || len(long) > maxMore || long[len(long)-1] != 1 {
		t.Errorf("a long one comes to %d closures, %v", len(long), err)
	}
	for _, bad := range [][]float64{nil, {}, {0, 0}, {-0.1, 1}, {math.NaN()}, {math.Inf(1)}, {2}} {
		if _, err := cumulate(bad); err == nil {
			t.Errorf("%v is taken for chances", bad)
		}
	}
}

// Whatever the bench, a playing ends, uses no more hands and presses than there are, and leaves no flask half done
// that could have been in time.
func TestPlayEnds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		jobs, b := genJobs(t), genBench(t)
		p, w := newPlan(jobs, houseDurations(), b)
		p.deal(w, newDraws(jobs, 1, 1), 0)
		r := rapid.SampledFrom(slices.Concat(baseRules[:], []rule{oneAtATime})).Draw(t, "rule")
		over := min(w.hands, w.presses) < 0
		for steps := 0; ; steps++ {
			if steps > MaxJobs*maxMore*4 {
				t.Fatal("the shift does not end")
			}
			for w.hands > 0 {
				s, ok := p.choose(w, r)
				if !ok {
					break
				}
				p.start(w, s)
			}
			if w.hands < 0 && !over || w.presses < 0 && !over || w.hands > b.Hands || w.presses > b.Presses {
				t.Fatalf("%d hands and %d presses free of %+v", w.hands, w.presses, b)
			}
			over = over && min(w.hands, w.presses) < 0
			before := w.now
			if !p.advance(w) {
				break
			}
			if w.now < before {
				t.Fatal("time runs backwards")
			}
		}
		for i := range w.cells {
			c := &w.cells[i]
			if c.stage != finished && !p.lost(w, i) {
				t.Fatalf("flask %d is left in stage %d at %v, due %v", i, c.stage, w.now, p.due[i])
			}
		}
	})
}
