package press

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"flaskside/timers/longrun"
)

// genSolvable draws a bench that is solved whole.
func genSolvable(t *rapid.T) ([]Job, Capacity) {
	jobs, b := genJobs(t), genBench(t)
	if len(jobs) > mostWhole {
		jobs = jobs[:mostWhole]
	}
	for i := range jobs {
		jobs[i].Due = min(jobs[i].Due, mins(20))
	}
	return jobs, b
}

// What the table says a bench is worth is what comes of playing it, and it has an answer for every state it leads to.
// No rule does better.
func TestTableKeepsItsWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		jobs, b := genSolvable(t)
		p, w := newPlan(jobs, houseDurations(), b)
		table := p.solved(w, defaultWork)
		if table == nil {
			return
		}
		got := table.solve(w, 0)
		if got.flasks < 0 || got.flasks > float64(len(jobs))+1e-9 || got.score < got.flasks-1e-9 || got.score > got.flasks*(1+spareWorth)+1e-9 {
			t.Fatalf("worth %+v of %d flasks", got, len(jobs))
		}
		const n = 300
		d := newDraws(jobs, rapid.Uint64().Draw(t, "seed"), n)
		var dealt, played world
		var sum, squares float64
		rules := make([]float64, len(baseRules))
		for k := range n {
			dealt.set(w)
			p.deal(&dealt, d, k)
			for i := range dealt.cells { // one under final closure is no longer in question
				if dealt.cells[i].stage >= Closing {
					p.due[i] = -MaxTime
				}
			}
			played.set(&dealt)
			for played.hands > 0 || p.advance(&played) {
				if played.hands <= 0 {
					continue
				}
				s, ok, known := table.advised(&played)
				if !known {
					t.Fatalf("no answer for %+v", played)
				}
				if !ok {
					if !p.advance(&played) {
						break
					}
					continue
				}
				if s.verb == Trim && table.onIn(&played) {
					table.start(&played, s)
					table.advance(&played)
					s = table.in(&played, s.job)
				}
				table.start(&played, s)
			}
			x := p.outcome(&played).score
			sum += x
			squares += x * x
			for r := range baseRules {
				played.set(&dealt)
				p.play(&played, baseRules[r])
				rules[r] += p.outcome(&played).score
			}
		}
		mean := sum / n
		se := math.Sqrt(max(0, squares/n-mean*mean) / n)
		if math.Abs(mean-got.score) > 5*se+0.02 {
			t.Fatalf("worth %.4f, played %.4f ± %.4f", got.score, mean, se)
		}
		for r, x := range rules {
			if x/n > got.score+5*se+0.02 {
				t.Fatalf("rule %d brings %.4f, the table says %.4f", baseRules[r], x/n, got.score)
			}
		}
	})
}

// What is left out as never better is never better: with everything tried, also what comes to the same, the worth is the
// same.
func TestNothingIsLostByWhatIsLeftOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		jobs, _ := genSolvable(t)
		p, w := newPlan(jobs, houseDurations(), houseBench())
		table := p.solved(w, defaultWork)
		if table == nil {
			return
		}
		if got, want := table.solve(w, 0).score, everything(p, w, map[string]float64{}); math.Abs(got-want) > 1e-9 {
			t.Fatalf("worth %.12f, with every step tried %.12f", got, want)
		}
	})
}

// everything is the worth of a bench of one pair of hands with every step tried, by plain recursion.
func everything(p *plan, w *world, seen map[string]float64) float64 {
	var next world
	next.set(w)
	if w.hands <= 0 {
		then := p.next(&next)
		if then == never {
			return 0
		}
		for i := range p.cum {
			c := &next.cells[i]
			if c.stage != Opening || c.at > then || c.need == 0 || c.need > 1 {
				continue
			}
			ready, got := hazard(p.cum[i], c.made), 0.0
			for need, chance := range map[int8]float64{1: ready, 2: 1 - ready} {
				var b world
				b.set(&next)
				b.cells[i].need = need
				b.now = max(b.now, then)
				p.settle(&b)
				if chance > 0 {
					got += chance * everything(p, &b, seen)
				}
			}
			return got
		}
		p.advance(&next)
		return everything(p, &next, seen)
	}
	for i := range next.cells {
		next.cells[i].since, next.cells[i].turn = 0, 0
	}
	key := fmt.Sprint(next)
	if got, ok := seen[key]; ok {
		return got
	}
	best := 0.0
	for _, s := range p.steps(w, nil) {
		next.set(w)
		got := 0.0
		if s.verb == Close {
			got = p.spare(int(s.job), p.begins(w, s)+p.d.Final)
		}
		p.start(&next, s)
		best = max(best, got+everything(p, &next, seen))
	}
	seen[key] = best
	return best
}

// On full benches that are solved the chances foretold are those seen when the advice is followed, flask by flask, within the noise of
// as many playings. The rules alone, by which the look-ahead goes on, lose more than the advice does, so that what they
// foretell is too low.
func TestChancesForetoldAreSeen(t *testing.T) {
	longrun.SkipUnderRace(t)
	rng := rand.New(rand.NewPCG(7, 3))
	for _, due := range [][]float64{{35, 35, 35, 35}, {20, 35, 20, 35}, {20, 35, 20, 35, 20, 35}} {
		var jobs []Job
		for i, d := range due {
			jobs = append(jobs, Job{ID: strconv.Itoa(i), Due: mins(d), More: house()[rng.IntN(3)].Totals})
		}
		a := advise(t, jobs, houseBench(), AdviceOptions{Work: defaultWork})
		p, w := newPlan(jobs, houseDurations(), houseBench())
		table := p.solved(w, defaultWork)
		if table == nil {
			t.Fatalf("%v: not solved", due)
		}
		n := float64(longrun.Times(1500, 4000))
		seen := make([]float64, len(jobs))
		var dealt world
		for range int(n) {
			dealt.set(w)
			for i := range jobs {
				dealt.cells[i].need = draw(p.cum[i], 0, rng.Float64())
			}
			table.playOn(&dealt)
			for i := range jobs {
				if p.inTime(&dealt, i) {
					seen[i] += 1. / n
				}
			}
		}
		sum := 0.0
		for i, f := range a.Flasks {
			sum += seen[i]
			// The chance said is itself of DefaultDraws x estimates playings.
			se := math.Sqrt(seen[i]*(1-seen[i])*(1./n+1./(defaultDraws*estimates))) + 1e-3
			if math.Abs(f.Chance-seen[i]) > 3*se {
				t.Errorf("%v: flask %d foretold %.3f, seen %.3f ± %.3f", due, i, f.Chance, seen[i], se)
			}
		}
		if foretold := table.solve(w, 0).flasks; math.Abs(sum-foretold) > 2*math.Sqrt(float64(len(jobs))/4/n) {
			t.Errorf("%v: %.4f flasks foretold, %.4f seen", due, foretold, sum)
		}
	}
}

// The work is bounded by counting, and what is too much is left to the look-ahead.
func TestWorkIsBounded(t *testing.T) {
	jobs := longer(nine(), mins(60))
	p, w := newPlan(jobs, houseDurations(), houseBench())
	for _, work := range []int{noWork, 1, 500, 5000} {
		if got := p.solved(w, work); got != nil {
			t.Errorf("solved with work %d: %d states", work, len(got.worth))
		}
		a := advise(t, jobs, houseBench(), AdviceOptions{Work: work, Draws: 4})
		if a.Next.Verb == Nothing || a.rule == 0 {
			t.Errorf("work %d: %+v", work, a)
		}
	}
	few := []Job{{ID: "1", Due: mins(20), More: totalsOf("medium")}, {ID: "2", Due: mins(20), More: totalsOf("medium")}}
	p, w = newPlan(few, houseDurations(), houseBench())
	table := p.solved(w, defaultWork)
	size := len(table.worth)
	if p.solved(w, size*3) == nil || p.solved(w, (size-1)*3) != nil {
		t.Errorf("%d states: the bound is not where they are", size)
	}
	if !slices.Equal(advise(t, few, houseBench(), AdviceOptions{Work: size * 3}).Order, advise(t, few, houseBench(), AdviceOptions{}).Order) {
		t.Error("the bound that just does gives another answer")
	}
}

// BenchmarkSolve is the largest of the three-flask benches of the table, and a full bench.
func BenchmarkSolve(b *testing.B) {
	for name, due := range map[string][]float64{"35,35,35": {35, 35, 35}, "20,35,20": {20, 35, 20}, "35x4": {35, 35, 35, 35}, "20,28,36x9": {20, 28, 36, 20, 28, 36, 20, 28, 36}} {
		var jobs []Job
		for i, d := range due {
			jobs = append(jobs, Job{ID: strconv.Itoa(i), Due: mins(d), More: house()[i%3].Totals})
		}
		b.Run(name, func(b *testing.B) {
			states := 0
			for b.Loop() {
				p, w := newPlan(jobs, houseDurations(), houseBench())
				if t := p.solved(w, defaultWork); t != nil {
					states = len(t.worth)
				}
			}
			b.ReportMetric(float64(states), "states")
		})
	}
}
