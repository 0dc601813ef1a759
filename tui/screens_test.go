package tui

import (
	"testing"
	"time"

	"flaskside/logbook/demo"
	"flaskside/timers"
)

// demoDesk has played the invented shift up to a minute after its start.
func demoDesk(t *testing.T, w, h int, upTo time.Duration) *desk {
	t.Helper()
	d := newDesk(t, w, h)
	start := shiftStart
	steps := demo.Shift()
	d.ck.Step(steps[0].After)
	d.ck.Step(-time.Second)
	for i, s := range steps {
		if s.After > upTo {
			break
		}
		now := d.ck.Read().Wall
		d.ck.Run(start.Add(s.After).Sub(now))
		if _, err := d.book.Append(s.Action(i, start)); err != nil {
			t.Fatalf("step %d: %v", i, err)
		}
	}
	d.ck.Run(start.Add(upTo).Sub(d.ck.Read().Wall))
	d.start(d.keeper)
	d.m.w, d.m.h = w, h
	d.m.page, d.m.away = pageBoard, nil
	d.m.sel = 3
	d.run(d.m.onTick())
	return d
}

var _ = timers.Floor

func TestDemoLook(t *testing.T) {
	for _, s := range [][2]int{{80, 24}, {100, 30}, {160, 45}} {
		d := demoDesk(t, s[0], s[1], 19*time.Minute)
		t.Log("\n" + d.screen())
	}
	d := demoDesk(t, 80, 24, 20*time.Minute)
	d.press("/")
	t.Log("\n" + d.screen())
}
