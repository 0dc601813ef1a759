package logbook

import (
	"testing"
	"time"

	"flaskside/logbook/action"
)

// TestWrongClockNeverBlocks sets the clock back over a restart: the work goes on,
// in sequence, and the records say so.
func TestWrongClockNeverBlocks(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	h.do(minute, action.Coat{Flask: 1, Half: "both"})
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	h.ck.Reboot(time.Minute, "boot-2")
	h.ck.Step(-2 * time.Hour)
	b, err := Open(h.b.Path(), h.ck)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }()
	h.b = b
	s := h.do(minute, action.Note{Flask: 1, Text: "the clock is wrong"})
	if len(s.Action.Unusual) != 1 || s.Action.Unusual[0] != "clock-back" {
		t.Errorf("recorded as %v, want clock-back", s.Action.Unusual)
	}
	w := b.State().Bench.Windows()[0].Stand(b.Now())
	if !w.ClockBack || w.For < 20*time.Second {
		t.Errorf("the window stands at %+v, want at least the time since the new boot and the clock called back", w.Passed)
	}
	// A time of one's own before the last record is refused all the same.
	a := action.Action{ID: "late", At: h.ck.Read().Wall.Add(-time.Hour), Body: action.Note{Flask: 1, Text: "x"}}
	if _, err := b.Append(a); err == nil {
		t.Error("a typed time before the last record was taken")
	}
}
