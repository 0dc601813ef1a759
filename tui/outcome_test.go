package tui

import (
	"testing"

	"flaskside/logbook/action"
)

// What was ticked and gone back from is not recorded with the other answer.
func TestDefectsGoneBackFromAreNotRecorded(t *testing.T) {
	d := bathDesk(t, 80, 24, 2)
	d.m.outcome(1)
	d.press("2 1 2 0 1")
	if d.m.form() != nil { // out of order here: the reason
		d.press("8")
	}
	for _, it := range d.book.State().Bench.Items {
		if o, ok := it.Body.(action.Outcome); ok {
			if len(o.Defects) > 0 || o.Outcome != action.Finished {
				t.Errorf("recorded %+v", o)
			}
			return
		}
	}
	t.Errorf("no outcome was recorded:\n%s", d.screen())
}
