package logbook

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers/simclock"
)

var start = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))

type hands struct {
	t  *testing.T
	b  *Book
	ck *simclock.Hand
	n  int
}

func (h *hands) do(after time.Duration, body action.Body, why ...string) Saved {
	h.t.Helper()
	s, err := h.try(after, body, why...)
	if err != nil {
		h.t.Fatalf("%s: %v", body.Kind(), err)
	}
	if at := h.b.State().Bench; !at.Same(at.Anew()) {
		h.t.Fatalf("after %s the bench is another than the fold of its records", body.Kind())
	}
	return s
}

func (h *hands) try(after time.Duration, body action.Body, why ...string) (Saved, error) {
	h.ck.Run(after)
	h.n++
	a := action.Action{ID: fmt.Sprintf("a%04d", h.n), At: h.ck.Read().Wall, By: "KT", Body: body}
	if len(why) > 0 {
		a.Why = why[0]
	}
	return h.b.Append(a)
}

func newHands(t *testing.T) *hands {
	t.Helper()
	ck := simclock.At(start, "boot-1")
	path := filepath.Join(inMemory(t), "bench.db")
	b, err := Open(path, ck)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = b.Close() // many tests have closed it already
		wholeBook(t, path)
	})
	return &hands{t: t, b: b, ck: ck}
}

const minute = time.Minute

// route takes one flask from separator to outcome.
func (h *hands) route() {
	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	h.do(minute, action.Coat{Flask: 1, Half: "both"})
	h.do(11*minute, action.MixMake{Flasks: []int{1}})
	h.do(10*minute, action.MixDough{Mix: 1})
	for _, g := range []string{"heavy", "heavy", "slight"} {
		h.do(minute, action.PressIn{Flask: 1})
		h.do(40*time.Second, action.PressAt{Flask: 1})
		h.do(60*time.Second, action.PressOpen{Flask: 1})
		h.do(10*time.Second, action.Flash{Flask: 1, Grade: action.Grade(g)})
	}
	h.do(minute, action.SheetOut{Flask: 1}, "1")
	h.do(minute, action.MetalToMetal{Flask: 1})
	h.do(minute, action.Clamp{Flask: 1})
	h.do(31*minute, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"})
	h.do(9*time.Hour, action.BathUnload{Flasks: []int{1}})
	h.do(30*minute, action.CoolWater{Flasks: []int{1}})
	h.do(15*minute, action.Deflask{Flasks: []int{1}})
	h.do(5*minute, action.Remount{Flask: 1, PinMM: 0.4})
}

func TestRoute(t *testing.T) {
	h := newHands(t)
	h.route()
	f := h.b.State().Bench.Flasks[1]
	if f.Stage != bench.Checked || len(f.Trials) != 3 || f.Trials[2].HeldS != 60 || *f.PinMM != 0.4 {
		t.Errorf("flask stands at %+v", f)
	}
	h.do(minute, action.Outcome{Flask: 1, Outcome: "finished here"})
	if got := h.b.State().Bench.Places[1]; got != 0 {
		t.Errorf("place 1 holds flask %d after the outcome", got)
	}
	h.do(minute, action.TakeBack{Of: fmt.Sprintf("a%04d", h.n)}, "6")
	if got := h.b.State().Bench.Places[1]; got != 1 {
		t.Errorf("place 1 holds %d after the outcome was taken back, want 1", got)
	}
}
