package tui

import (
	"testing"
	"time"
)

// TestOutcomeListsWhatWasOff: what was short or off on a flask is listed before its outcome,
// in words, and nothing is where nothing was.
func TestOutcomeListsWhatWasOff(t *testing.T) {
	d := packed(t)
	if got := d.m.offLines(d.flask(1)); got != nil {
		t.Errorf("on a flask as set there is listed %q", got)
	}
	d.press("enter enter")
	d.wait(20 * time.Second)
	d.press("enter")
	d.sees("go on anyway? your reason is recorded", "checked, looked right")
	d.press("1 3")
	d.m.outcome(d.flask(1).No)
	d.sees("not as set on this flask: hold cut short", "1 finished here", "3 adjusted", "4 remake")
}
