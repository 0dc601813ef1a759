package tui

import (
	"testing"

	"flaskside/logbook/action"
)

// Every hazard that a record can name has its caution in words, and who comes first beneath it.
func TestEveryHazardHasItsCaution(t *testing.T) {
	for _, h := range action.Hazards {
		if c := cautions[h]; len(c) != 2 || c[0] == "" || c[1] == "" {
			t.Errorf("%q has the caution %q", h, c)
		}
	}
	if len(cautions) != len(action.Hazards) {
		t.Errorf("%d cautions for %d hazards", len(cautions), len(action.Hazards))
	}
}
