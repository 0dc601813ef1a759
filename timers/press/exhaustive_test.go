package press

import (
	"context"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"
)

// shelf is the bench as the exhaustive search sees it: up to three flasks, one press, one pair of hands, closures known.
type shelf struct {
	now   time.Duration
	in    int8 // flask in the press, -1 for none
	over  time.Duration
	left  [3]int8 // closures, -1 when finished or given up
	untri [3]bool
}

// most is the largest number of flasks that can be in time: every order of every step tried.
func most(s shelf, due []time.Duration, seen map[shelf]int) int {
	if n, ok := seen[s]; ok {
		return n
	}
	d := houseDurations()
	best := 0
	try := func(t shelf, inTime int) { best = max(best, inTime+most(t, due, seen)) }
	for i := range due {
		t := s
		switch {
		case s.left[i] < 0:
		case s.in == int8(i):
			t.now = max(s.now, s.over) + d.Open
			t.in, t.over = -1, 0
			t.left[i]--
			t.untri[i] = true
			try(t, 0)
		case s.now > due[i]: // past its dough: nothing to gain
		case s.untri[i]:
			t.now += d.Trim
			t.untri[i] = false
			try(t, 0)
		case s.in >= 0:
		case s.left[i] == 0:
			t.now += d.Final
			t.left[i] = -1
			if t.now <= due[i] {
				try(t, 1)
			}
		default:
			t.now += d.Raise
			t.in, t.over = int8(i), t.now+d.Hold
			try(t, 0)
		}
	}
	seen[s] = best
	return best
}

// The look-ahead against an exhaustive search where the closures are known. It can never do better; it may fall short,
// since it sees one step ahead and then goes by rules, but seldom.
func TestLookAheadAgainstExhaustiveSearch(t *testing.T) {
	const benches = 400
	rng := rand.New(rand.NewPCG(3, 1968))
	short, flasks, inTime, byRule := 0, 0, 0, 0
	for k := range benches {
		n := 2 + k%2
		s := shelf{in: -1, left: [3]int8{-1, -1, -1}}
		var jobs []Job
		for i := range n {
			need := rng.IntN(4)
			s.left[i] = int8(need)
			jobs = append(jobs, Job{ID: strconv.Itoa(i), Due: time.Duration(6+rng.IntN(30)) * time.Minute, Ready: need == 0, More: knownTo(max(need, 1))})
		}
		p, start := newPlan(jobs, houseDurations(), houseBench())
		best := most(s, p.due, map[shelf]int{})
		d := newDraws(jobs, 1, 1)
		p.deal(start, d, 0)

		count := func(play func(*world)) int {
			var w world
			w.set(start)
			play(&w)
			return n - int(p.share(&w)*float64(n)+0.5)
		}
		ours := count(func(w *world) {
			(&ahead{plan: p, follow: -1, tooMany: MaxJobs + 1}).playAhead(context.Background(), w, d, 1)
		})
		rules := 0
		for _, r := range baseRules {
			rules = max(rules, count(func(w *world) { p.play(w, r) }))
		}
		if ours > best {
			t.Fatalf("bench %d: %d in time by the look-ahead, at most %d can be: %+v", k, ours, best, jobs)
		}
		if ours < rules {
			t.Errorf("bench %d: %d in time by the look-ahead, %d by a simple rule: %+v", k, ours, rules, jobs)
		}
		if ours < best {
			short++
		}
		flasks, inTime, byRule = flasks+best, inTime+ours, byRule+rules
	}
	t.Logf("%d benches, %d flasks in time at most: look-ahead %d (short on %d benches), best simple rule for each bench %d", benches, flasks, inTime, short, byRule)
	if limit := benches / 50; short > limit {
		t.Errorf("the look-ahead falls short of the best on %d of %d benches, want at most %d", short, benches, limit)
	}
}
