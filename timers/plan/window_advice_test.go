package plan

import "testing"

// Counted out over the same closures, a mix of two played by the advice of the bench loses no more doughs than by the simple
// order. The two differ where sizes differ and the dough is just long enough, by up to .14: a medium and a large in 28 min are both in time
// with 65 % for 59 %. Three and more are played by the simple order.
func TestAMixByTheAdviceLosesNoMore(t *testing.T) {
	h := ownHouse()
	gained := 0.
	for _, flasks := range [][]Size{{Small, Small}, {Small, Medium}, {Medium, Medium}, {Large, Large}, {Small, Large}, {Medium, Large}, {Small, Medium, Large}} {
		for window := 14.; window <= 40; window += 2 {
			e := newEngine(&h)
			a, b := e.order().countOut(flasks, window), e.countOut(flasks, window)
			if b.Lost > a.Lost+1e-9 || b.All < a.All-1e-9 || len(flasks) > 2 && a != b {
				t.Errorf("%v in %g min: %.4f lost, all in time with %.4f by the advice; %.4f and %.4f by the simple order", flasks, window, b.Lost, b.All, a.Lost, a.All)
			}
			if b.All > a.All+.2 {
				t.Errorf("%v in %g min: all in time with %.4f for %.4f", flasks, window, b.All, a.All)
			}
			gained = max(gained, a.Lost-b.Lost)
		}
	}
	if gained < .02 {
		t.Errorf("the advice saves %.4f flasks at most: it is not played", gained)
	}
}
