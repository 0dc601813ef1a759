package tui

import (
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// Whatever the bench offers to be set right can be asked for on the screen.
func TestWhatIsOfferedToBeSetRightCanBeTyped(t *testing.T) {
	d := newDesk(t, 80, 24)
	ask := correctables(d.m, bench.Item{})
	for _, kind := range action.Kinds() {
		for _, field := range bench.Mends(kind) {
			if c := ask[field]; c.make == nil || c.read == nil || c.ask == "" {
				t.Errorf("%s: nothing asks for %q", kind, field)
			}
		}
	}
}
