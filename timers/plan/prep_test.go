package plan

import (
	"context"
	"math"
	"testing"
)

// A case to be invested takes the hands it takes: alone it is finished so much later, worked out by hand, and while it is
// invested nothing else is done by one pair of hands.
func TestInvestingTakesHands(t *testing.T) {
	h := refHouse()
	invest := []Prep{{5, 15}, {7, 15}, {5, 60}, {2, 5}, {5, 10}} // two layers, cap, boil-out, flush: 24 min of hands, 105 of waiting
	// Alone (see above): coated from 08:00 it is finished at 14:05. Invested first, its separator begins at 10:09, so
	// mix 10:16, dough 10:28:30, two closures to 10:35:30, final 10:37:30, set 11:07:30, bath in 11:12:30, out 14:12:30,
	// 5 min, cool to 15:02:30, finished 15:47:30.
	if got := Soonest(h, Case{Size: Small, DueMin: 1020, Weight: 1, Prep: invest}); math.Abs(got-947.5) > 1e-6 {
		t.Errorf("invested first, a small case alone is finished at %g at the soonest, want 947.5", got)
	}
	var cases []Case
	for i := range 6 {
		cases = append(cases, Case{Key: uint64(i), Size: Small, DueMin: Day + 1020, Weight: 1, Prep: invest})
	}
	day := func(cases []Case, hands int) (coats []float64, work float64) {
		h.Hands = hands
		e := playable(&h)
		p := e.byRule(cases, twoToMix, habit{})
		for _, ev := range Simulate(h, cases, p, fixedDraw([]int{2, 2, 2, 2, 2, 2})).Events {
			switch ev.What {
			case whatCoated:
				coats = append(coats, ev.AtMin)
			case whatPrepared:
				work += ev.EndMin - ev.AtMin
			}
		}
		return coats, work
	}
	one, work := day(cases, 1)
	two, _ := day(cases, 2)
	if work != 6*24 {
		t.Errorf("six cases took %g min of hands, want 144", work)
	}
	// 144 min of investing for one pair: the last separator cannot begin before that, nor before its own 129 min.
	if last := one[len(one)-1]; last < 480+144 || two[len(two)-1] > last {
		t.Errorf("the last separator begins at %g with one pair of hands, at %g with two", last, two[len(two)-1])
	}
}

// A rush case whose moulds are there is in time; with the hands and the waiting of investing before that it is not, and
// the plan says so.
func TestAPlanKnowsOfInvesting(t *testing.T) {
	h := refHouse()
	for _, c := range []struct {
		prep []Prep
		low  float64
		high float64
	}{{nil, 0, .1}, {[]Prep{{30, 60}, {30, 90}}, .99, 1}} {
		m, err := Make(context.Background(), h, []Case{{Key: 1, Size: Medium, DueMin: 1020, Weight: 2, Prep: c.prep}}, SearchOptions{Seed: 1, Draws: 20, Days: 60})
		if err != nil {
			t.Fatal(err)
		}
		if late := m.Foretold.Cases[0].Late; late < c.low || late > c.high {
			t.Errorf("with %v before its separator it is late on %.2f of days, want %.2f to %.2f", c.prep, late, c.low, c.high)
		}
	}
}
