package press

import (
	"errors"
	"math"
	"strconv"
	"testing"
	"time"
)

// Whoever asks a solved bench step by step is told what the table does, and brings as many flasks in as the independent
// solver has at the optimum (testdata/press/optimum.json): two medium flasks of one mix, 28 min.
func TestASolvedBenchIsPlayedAsItsTable(t *testing.T) {
	o := readOptimum(t)
	for _, sizes := range [][]string{{"medium", "medium"}, {"small", "large"}, {"small", "small", "small"}} {
		var jobs []Job
		for i, s := range sizes {
			jobs = append(jobs, Job{ID: strconv.Itoa(i), Due: 28 * time.Minute, More: o.Totals[s]})
		}
		s, err := Solve(jobs, houseDurations(), houseBench(), 0)
		if err != nil {
			t.Fatal(err)
		}
		r := s.Reader()
		p, start := newPlan(jobs, houseDurations(), houseBench())
		want := newTable(p, 100_000, width{}).solve(start, 0).flasks
		const shifts = 2000
		d := newDraws(jobs, 5, shifts)
		got := 0
		for k := range shifts {
			w := &world{}
			w.set(start)
			p.deal(w, d, k)
			for {
				for w.hands > 0 {
					var at []Position
					for i := range w.cells {
						c := w.cells[i]
						at = append(at, Position{Stage: c.stage, At: c.at, Judged: int(c.made), Ready: c.need == 0, Done: c.stage == finished})
					}
					v, i, on, known := r.Next(w.now, at, w.hands, w.presses)
					if !known {
						t.Fatalf("%v: the state is not in the table: %+v", sizes, at)
					}
					if v == Nothing {
						break
					}
					p.start(w, step{v, int8(i)})
					if on {
						p.advance(w)
						p.start(w, r.t.in(w, int8(i)))
					}
				}
				if !p.advance(w) {
					break
				}
			}
			for i := range jobs {
				if p.inTime(w, i) {
					got++
				}
			}
		}
		if mean := float64(got) / shifts; math.Abs(mean-want) > .05 {
			t.Errorf("%v: %.3f flasks in time, worked out %.3f", sizes, mean, want)
		}
	}
}

func TestSolveRefusesWhatIsTooMuch(t *testing.T) {
	o := readOptimum(t)
	job := func(i int) Job {
		return Job{ID: strconv.Itoa(i), Due: 28 * time.Minute, More: o.Totals["medium"]}
	}
	if _, err := Solve([]Job{job(1), job(2)}, houseDurations(), houseBench(), 20); !errors.Is(err, errTooMuch) {
		t.Errorf("in 20 states: %v", err)
	}
	if _, err := Solve([]Job{job(1), job(2), job(3), job(4)}, houseDurations(), houseBench(), 0); !errors.Is(err, errTooMuch) {
		t.Errorf("four flasks: %v", err)
	}
	if _, err := Solve([]Job{{}}, houseDurations(), houseBench(), 0); err == nil || errors.Is(err, errTooMuch) {
		t.Errorf("a flask without a name: %v", err)
	}
	s, err := Solve([]Job{job(1), job(2)}, houseDurations(), houseBench(), 0)
	if err != nil {
		t.Fatal(err)
	}
	two := []Position{{Stage: Untrimmed, Judged: 1}, {Stage: Waiting}}
	if v, _, _, known := s.Reader().Next(7*time.Minute+13*time.Second, two, 1, 1); known || v != Nothing {
		t.Errorf("a state that nobody reaches: %v, %v", v, known)
	}
}
