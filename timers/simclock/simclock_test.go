package simclock

import (
	"sync"
	"testing"
	"time"

	"flaskside/timers"
)

var at = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)

// Each movement of the hand clock against the clocks it must and must not move.
func TestHand(t *testing.T) {
	const m = time.Minute
	for _, c := range []struct {
		name             string
		do               func(h *Hand)
		wall, boot, mono time.Duration // against the clock as it began
		id               string
	}{
		{"nothing", func(h *Hand) {}, 0, 0, 0, "b1"},
		{"run", func(h *Hand) { h.Run(m) }, m, m, m, "b1"},
		{"sleep", func(h *Hand) { h.Sleep(m) }, m, m, 0, "b1"},
		{"step", func(h *Hand) { h.Step(-m) }, -m, 0, 0, "b1"},
		{"freeze", func(h *Hand) { h.Freeze(m) }, m, 0, 0, "b1"},
		{"restart", func(h *Hand) { h.Reboot(m, "b2") }, m, 20*time.Second - time.Hour, 20*time.Second - time.Hour, "b2"},
		{"restart in an instant", func(h *Hand) { h.Reboot(0, "b2") }, 0, -time.Hour, -time.Hour, "b2"},
		{"zone", func(h *Hand) { h.In(time.FixedZone("", 3600)) }, 0, 0, 0, "b1"},
	} {
		h := At(at, "b1")
		c.do(h)
		r := h.Read()
		if got := [3]time.Duration{r.Wall.Sub(at), r.Boot - time.Hour, r.Mono - time.Hour}; got != [3]time.Duration{c.wall, c.boot, c.mono} || r.BootID != c.id {
			t.Errorf("%s: wall, boot, mono %v in %q, want %v %v %v in %q", c.name, got, r.BootID, c.wall, c.boot, c.mono, c.id)
		}
	}
	h := At(at, "b1")
	h.In(time.FixedZone("", 3600))
	if got := h.Read().Wall.Format(time.RFC3339); got != "2026-11-25T09:00:00+01:00" {
		t.Errorf("in another zone it is %s", got)
	}
	if w := At(time.Now(), "b").Read().Wall; w != w.Round(0) {
		t.Error("the wall clock carries a monotonic part")
	}
}

func TestFast(t *testing.T) {
	under := At(at, "b1")
	demo := time.Date(2026, 1, 2, 8, 0, 0, 0, time.UTC)
	f := NewFast(under, demo, 60)
	before := f.Read()
	if !before.Wall.Equal(demo) {
		t.Errorf("begins at %v, want %v", before.Wall, demo)
	}
	under.Run(time.Second)
	under.Sleep(time.Hour) // the demo waits for the person, not for the machine
	under.Step(time.Hour)
	after := f.Read()
	if got := after.Wall.Sub(demo); got != time.Minute {
		t.Errorf("a second makes %v, want a minute", got)
	}
	f.Run(5)
	if r := f.Read(); r != after {
		t.Errorf("slowed down it jumps from %v to %v", after, r)
	}
	under.Run(time.Second)
	if got := f.Read().Wall.Sub(after.Wall); got != 5*time.Second {
		t.Errorf("slowed down, a second makes %v, want 5 s", got)
	}
	if after.BootID == "b1" || after.BootID == "" || after.BootID != before.BootID {
		t.Errorf("boot %q then %q: the demo must have one of its own", before.BootID, after.BootID)
	}
	if p := (timers.Now{Reading: after}).Since(timers.StampAt(demo, before)); p != (timers.Passed{For: time.Minute}) {
		t.Errorf("passed %+v, want an exact minute", p)
	}
	if ev := timers.Compare(before, after, time.Minute); len(ev) != 0 {
		t.Errorf("the fast clock shows %+v", ev)
	}
}

func TestHandIsSafeForMany(t *testing.T) {
	h := At(at, "b1")
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 100 {
				h.Run(time.Second)
				_ = h.Read()
			}
		})
	}
	wg.Wait()
	if got := h.Read().Wall.Sub(at); got != 800*time.Second {
		t.Errorf("800 s made %v", got)
	}
}
