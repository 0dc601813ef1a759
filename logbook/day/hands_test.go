package day

import (
	"slices"
	"testing"

	"flaskside/logbook/action"
)

// Every kind of record has words for people; those of corrections and takings back are
// chapters of their own.
func TestEveryKindHasWords(t *testing.T) {
	for _, k := range action.Kinds() {
		if kindWords[k] == "" && k != (action.Correct{}).Kind() && k != (action.TakeBack{}).Kind() {
			t.Errorf("the kind %s has no words", k)
		}
	}
	for k := range kindWords {
		if !slices.Contains(action.Kinds(), k) {
			t.Errorf("%s is no kind", k)
		}
	}
}

// Fields are worded with their units, which stand at the end of their names.
func TestFieldNames(t *testing.T) {
	for name, want := range map[string]string{"pressure_psi": "pressure (psi)", "pin_mm": "pin (mm)", "room_c": "room (°C)", "hold_s": "hold (s)", "powder_g": "powder (g)", "text": "text", "dry_min_s": "dry min (s)"} {
		if got := fieldName(name); got != want {
			t.Errorf("%s is worded %q, want %q", name, got, want)
		}
	}
}
