package plan

import "testing"

// A case whose due time cannot be kept sends no load off early: the other flask would wait
// hours for the bath to be free again, and both are late anyway.
func TestACaseThatCannotBeInTimeHurriesNoLoad(t *testing.T) {
	h := HouseDefaults()
	h.Hands, h.Presses, h.Baths = 1, 1, 1
	for s := range h.Closures {
		h.Closures[s][2], h.Closures[s][3] = .6, .4
	}
	cases := []Case{{Key: 1, Size: Medium, DueMin: 12 * 60, Weight: 1}, {Key: 2, Size: Medium, DueMin: 12 * 60, Weight: 1}}
	e := playable(&h)
	if !e.hopeless(cases[0]) {
		t.Fatal("the case can be in time: nothing is tried")
	}
	d := fixedDraw([]int{2, 3})
	for _, p := range Variants(h, cases) {
		loads := 0
		for _, ev := range Simulate(h, cases, p, d).Events {
			if ev.What == whatLoaded {
				loads++
			}
		}
		if loads != 1 {
			t.Errorf("%v: %d loads for two flasks of one bath", p.Rule, loads)
		}
	}
}
