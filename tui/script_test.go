package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/demo"
)

// TestDemoTeaches: the demo says first what a newcomer should know, then of each step
// which pad keys it takes, with tips in between;
// and the first key pressed ends the play and slows the clock.
func TestDemoTeaches(t *testing.T) {
	steps := demo.Shift()
	for i, s := range steps {
		if s.After >= 0 && scriptKeys(s.Body) == "ENTER" {
			switch k := s.Body.Kind(); k {
			case "mix-dough", "press-in", "press-at", "press-open", "sheet-out", "clamp":
			default:
				t.Errorf("step %d, %s: no keys are told for it", i, k)
			}
		}
	}
	played := func(until time.Duration) (*desk, *int) {
		d := newDesk(t, 80, 24)
		d.ck.Step(steps[0].After - time.Second)
		script, slowed := &Script{}, new(int)
		script.Yours = func() string { *slowed++; return "DEMO x6, yours" }
		before, then := demo.Cut(shiftStart)
		script.Steps = then
		for _, a := range before {
			d.ck.Run(a.At.Sub(d.ck.Read().Wall))
			if _, err := d.book.Append(a); err != nil {
				t.Fatal(err)
			}
		}
		d.start(d.keeper)
		d.m.cfg.Script = script
		d.m.home()
		d.ck.Run(shiftStart.Add(-time.Minute).Sub(d.ck.Read().Wall))
		d.run(d.m.onTick())
		d.sees("plays by itself", "Three things to know")
		for d.ck.Read().Wall.Before(shiftStart.Add(until)) {
			d.wait(time.Second)
		}
		return d, slowed
	}
	d, slowed := played(18*time.Minute + 6*time.Second) // place 3 is judged at 18:00
	d.sees("keys 3: flash heavy")
	if strings.Contains(d.screen(), "plays by itself") {
		t.Errorf("what was told first stays:\n%s", d.screen())
	}
	n := len(d.book.State().Bench.Items)
	d.press("4")
	d.sees("yours")
	d.wait(time.Minute)
	d.press("enter")
	for _, it := range d.book.State().Bench.Items[n:] {
		if !strings.HasPrefix(it.Action.ID, "id-") {
			t.Errorf("the shift plays on: record %d is %s", it.Seq, it.Action.ID)
		}
	}
	if *slowed != 1 {
		t.Errorf("the clock was slowed %d times", *slowed)
	}
	d, _ = played(31 * time.Minute)
	d.sees(fmt.Sprint("meanwhile: ", tips[0][:9]))
}
