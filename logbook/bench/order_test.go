package bench

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers/longrun"
	"flaskside/timers/press"
)

// fullBench has four flasks of two mixes waiting, a mix ten minutes older than the
// other: the bench on which advice could waver most.
func fullBench() *hands {
	h := newHands()
	for no, size := range []action.Size{"medium", "large", "medium", "small"} {
		h.open(no+1, size)
	}
	h.mix(1, 1, 3)
	h.ck.Run(10 * time.Minute)
	h.mix(2, 2, 4)
	h.ck.Run(12 * time.Minute)
	return h
}

// waver is a bench, by seed, on which what is best changes as time passes.
func waver(seed uint64) *hands {
	rng := rand.New(rand.NewPCG(seed, 1))
	h := newHands()
	n := 3 + rng.IntN(3)
	for no := range n {
		h.open(no+1, action.Sizes[rng.IntN(3)])
	}
	h.mix(1, 1, 2)
	h.ck.Run(time.Duration(5+rng.IntN(10)) * time.Minute)
	h.mix(2, []int{3, 4, 5}[:n-2]...)
	h.ck.Run(time.Duration(11+rng.IntN(8)) * time.Minute)
	for no := 1; no <= n; no++ {
		if rng.IntN(2) == 0 {
			h.do(0, action.PressIn{Flask: no})
			h.do(42*time.Second, action.PressAt{Flask: no, PressurePSI: 3000, HoldS: 60})
			h.do(time.Minute, action.PressOpen{Flask: no})
			h.do(18*time.Second, action.Flash{Flask: no, Grade: []action.Grade{"heavy", "heavy", "slight"}[rng.IntN(3)]})
		}
	}
	return h
}

// TestPressOrderIsSteady: while nothing is recorded the advice stays as it is but for a
// real gain, on benches where it wavers when each question stands alone.
func TestPressOrderIsSteady(t *testing.T) {
	changes := func(steady bool) (nexts, orders int) {
		for _, seed := range []uint64{19, 33}[:longrun.Times(1, 2)] {
			h := waver(seed)
			b := h.bench()
			var before, first *press.Advice
			for range 12 { // four minutes
				a, err := b.PressOrder(h.now())
				if !steady {
					a, err = press.Advise(b.jobs(h.now()), b.Durations(), b.PressBench(), press.AdviceOptions{})
				}
				if err != nil || len(a.Order) == 0 {
					t.Fatalf("advice %+v, %v", a, err)
				}
				if before != nil && (a.Next.Verb != before.Next.Verb || a.Next.Flask != before.Next.Flask) {
					nexts++
				}
				if first == nil {
					first = &a
				}
				if steady && a.Gain <= press.DefaultGain && (a.Next.Verb != first.Next.Verb || a.Next.Flask != first.Next.Flask) {
					t.Errorf("seed %d: first %s %s, now %s %s for a gain of %.3f flasks", seed, first.Next.Verb, first.Next.Flask, a.Next.Verb, a.Next.Flask, a.Gain)
				}
				if before != nil && !slices.Equal(a.Order, before.Order) {
					orders++
				}
				before = &a
				h.ck.Run(20 * time.Second)
			}
		}
		return nexts, orders
	}
	alone, aloneOrders := changes(false)
	nexts, orders := changes(true)
	t.Logf("in each 4 minutes what is next changed %d times, the order %d times; each question alone: %d and %d", nexts, orders, alone, aloneOrders)
	if alone < 2 || nexts > alone/2 || orders > aloneOrders/2 {
		t.Errorf("what is next changed %d times, the order %d times; each question alone: %d and %d", nexts, orders, alone, aloneOrders)
	}
	// The same question has the same answer.
	h := fullBench()
	one, _ := h.bench().PressOrder(h.now())
	two, _ := h.bench().PressOrder(h.now())
	if !slices.Equal(one.Order, two.Order) || one.Next != two.Next || one.Expected != two.Expected {
		t.Errorf("asked twice: %+v and %+v", one, two)
	}
}

// TestPressOrderAfterEachRecord follows the bench: every record is taken up, and what
// is in the press is opened before another goes in.
func TestPressOrderAfterEachRecord(t *testing.T) {
	h := fullBench()
	jobs := func() map[string]press.Job {
		out := map[string]press.Job{}
		for _, j := range h.bench().jobs(h.now()) {
			out[j.ID] = j
		}
		return out
	}
	stage := func(step string, want press.Progress, until time.Duration) {
		t.Helper()
		if j := jobs()["1"]; j.Progress != want || j.Until != until {
			t.Errorf("%s: stage %d until %v, want %d until %v", step, j.Progress, j.Until, want, until)
		}
	}
	if j := jobs()["1"]; len(jobs()) != 4 || j.From > 0 || j.Due.Round(time.Millisecond) != work-22*time.Minute {
		t.Errorf("waiting: %+v of %d", j, len(jobs()))
	}
	stage("waiting", press.Waiting, 0)
	h.do(0, action.PressIn{Flask: 1})
	h.ck.Run(10 * time.Second)
	stage("in the press", press.Rising, 32*time.Second)
	h.do(30*time.Second, action.PressAt{Flask: 1, PressurePSI: 3000, HoldS: 60})
	h.ck.Run(20 * time.Second)
	stage("at pressure", press.Holding, 40*time.Second)
	b := h.bench()
	a, err := b.PressOrder(h.now())
	if err != nil || a.Next.Verb != press.Open || a.Next.Flask != "1" || a.Next.Wait != 40*time.Second {
		t.Errorf("next is %+v, %v: want to open 1 in 40 s", a.Next, err)
	}
	h.do(45*time.Second, action.PressOpen{Flask: 1})
	stage("opened", press.Opening, 18*time.Second)
	h.do(18*time.Second, action.Flash{Flask: 1, Grade: "heavy"})
	h.ck.Run(30 * time.Second)
	stage("judged", press.Trimming, time.Minute)
	h.ck.Run(time.Minute)
	stage("trimmed", press.Waiting, 0)
	h.closures("slight")
	if j := jobs()["1"]; !j.Ready || j.Progress != press.Waiting {
		t.Errorf("ready: %+v", j)
	}
	h.do(0, action.SheetOut{Flask: 1})
	stage("final closure", press.Closing, 2*time.Minute)
	h.do(time.Minute, action.MetalToMetal{Flask: 1})
	h.do(time.Minute, action.Clamp{Flask: 1})
	if _, on := jobs()["1"]; on {
		t.Error("clamped, and still waits for the press")
	}
	h.do(0, action.MixStiff{Mix: 2})
	if a, err := h.bench().PressOrder(h.now()); err != nil || !slices.Equal(a.Order, []string{"3"}) || a.AllInTime != 0 || len(a.Flasks) != 3 {
		t.Errorf("after mix 2 went stiff: %+v, %v, want flask 3 alone in the order, and the two others lost", a, err)
	}
	h.mix(3, 2)
	if j := jobs()["2"]; j.From.Round(time.Millisecond) != 10*time.Minute || j.Due.Round(time.Millisecond) != work {
		t.Errorf("a new mix: %+v, want from its dough on", j)
	}
	// A flask that was pressed already waits for its new dough like any other.
	h = newHands()
	h.open(1, "medium")
	h.mix(1, 1)
	h.ck.Run(15 * time.Minute)
	h.closures("heavy")
	h.mix(2, 1)
	stage("packed anew", press.Waiting, 0)
	if j := jobs()["1"]; j.From.Round(time.Millisecond) != 10*time.Minute || j.Ready {
		t.Errorf("packed anew from a mix just made: %+v", j)
	}
}

// TestCostOfMix: on a bench without slack another mix costs, on an empty one nothing.
func TestCostOfMix(t *testing.T) {
	h := fullBench()
	c, err := h.bench().CostOfMix(h.now(), "medium", 1)
	if err != nil || len(c.Fresh) != 1 || len(c.AtWork) != 4 {
		t.Fatalf("%+v, %v", c, err)
	}
	if c.Cost < 0.1 {
		t.Errorf("mixing while four stiffen is said to cost %.2f flasks", c.Cost)
	}
	c, err = newHands().bench().CostOfMix(h.now(), "medium", 2)
	if err != nil || c.Cost != 0 || len(c.Fresh) != 2 || c.Fresh[0].Chance < 0.8 {
		t.Errorf("on an empty bench: %+v, %v", c, err)
	}
	for _, n := range []int{0, 10} {
		if _, err := h.bench().CostOfMix(h.now(), "medium", n); err == nil {
			t.Errorf("a mix for %d flasks was weighed", n)
		}
	}
	if _, err := h.bench().CostOfMix(h.now(), "vast", 1); err == nil {
		t.Error("a size that is none was weighed")
	}
}

// TestOneAdviser: whoever asks at an instant is told the same, on another bench folded from the
// same records, and whatever was asked before; the advice moves in steps of ten seconds, and at
// once when a dough ends, and a flask whose dough is over is never sent in.
func TestOneAdviser(t *testing.T) {
	for _, seed := range []uint64{3} {
		h := waver(seed)
		asked := h.bench() // asked all the time
		h.ck.Run(time.Duration(seed) * time.Second)
		for range 14 {
			a, err := asked.PressOrder(h.now())
			b, err2 := h.bench().PressOrder(h.now())
			if err != nil || err2 != nil || a.Next != b.Next || !slices.Equal(a.Order, b.Order) || a.Expected != b.Expected {
				t.Fatalf("seed %d: %+v, %v and %+v, %v", seed, a, err, b, err2)
			}
			for _, f := range a.Flasks {
				left, _ := asked.MixOf(asked.Waiting(f.Flask)).DoughLeft(h.now())
				if left >= 0 {
					continue
				}
				if !f.Lost || a.AllInTime != 0 || slices.Contains(a.Order, f.Flask) || a.Next.Flask == f.Flask && a.Next.Verb != press.Open {
					t.Fatalf("seed %d: flask %s is past its dough by %v: %+v", seed, f.Flask, -left, a)
				}
			}
			h.ck.Run(73 * time.Second)
		}
	}
}

func BenchmarkPressOrder(b *testing.B) {
	h := fullBench()
	bn := h.bench()
	for b.Loop() {
		if _, err := bn.PressOrder(h.now()); err != nil {
			b.Fatal(err)
		}
	}
}

// TestPressTakenBySpentDough: a flask in the press holds it though its dough is spent, or
// it has none for training: no other is sent there meanwhile.
func TestPressTakenBySpentDough(t *testing.T) {
	for _, mixed := range []bool{true, false} {
		h := newHands()
		for no := range 3 {
			h.open(no+1, "medium")
		}
		h.mix(1, 1, 2)
		if mixed {
			h.mix(2, 3)
		}
		h.ck.Run(15 * time.Minute)
		h.do(0, action.PressIn{Flask: 3})
		if mixed {
			h.do(time.Second, action.MixStiff{Mix: 2})
		}
		a, err := h.bench().PressOrder(h.now())
		if err != nil || a.Next.Flask != "3" {
			t.Errorf("with dough %v: next is %+v, %v, want flask 3 that is in the press", mixed, a.Next, err)
		}
	}
}

// Work left on live dough by hand: medium flasks without a trial are expected to take 3.419 closures (testdata/plan,
// closures_mean_more, an independent count), each of 42 + 18 + 90 + 0.3 x 60 s with one pair of hands, and 120 s for the
// final one.
func TestWorkLeftAtThePress(t *testing.T) {
	h := newHands()
	if left := h.bench().PressWorkLeft(h.now()); left != 0 || NextMixWords(left) != "" {
		t.Errorf("an empty bench: %v, %q", left, NextMixWords(left))
	}
	h.open(1, "medium")
	h.open(2, "medium")
	if left := h.bench().PressWorkLeft(h.now()); left != 0 {
		t.Errorf("flasks without dough: %v", left)
	}
	h.mix(1, 1, 2)
	h.ck.Run(15 * time.Minute)
	const each = 3.419262*2.8 + 2
	if left := h.bench().PressWorkLeft(h.now()).Minutes(); left < 2*each-.02 || left > 2*each+.02 {
		t.Errorf("two medium flasks: %.2f min left, want %.2f", left, 2*each)
	}
	if s, want := NextMixWords(h.bench().PressWorkLeft(h.now())), "Next mix: wait, about 23 min still on the press (estimate)."; s != want {
		t.Errorf("%q, want %q", s, want)
	}
	for _, c := range []struct {
		left time.Duration
		want string
	}{
		{8 * time.Minute, "Next mix: now is a good time, about 8 min still on the press (estimate)."},
		{8*time.Minute + time.Second, "Next mix: wait, about 8 min still on the press (estimate)."},
		{20 * time.Second, "Next mix: now is a good time, about 1 min still on the press (estimate)."},
		{-time.Minute, ""},
	} {
		if s := NextMixWords(c.left); s != c.want {
			t.Errorf("%v: %q, want %q", c.left, s, c.want)
		}
	}
	h.ck.Run(3 * time.Hour)
	if left := h.bench().PressWorkLeft(h.now()); left != 0 {
		t.Errorf("dough that is over still wants %v", left)
	}
}
