package action

import (
	"encoding/json"
	"strings"
	"testing"
)

// A time given in another zone is not told as an hour of this one.
func TestCorrectedTimeNamesItsZone(t *testing.T) {
	of := func(string) (Body, bool) { return TimerStop{Timer: 1}, true }
	said := Teller{Of: of}.Tell(Correct{Of: "a", Set: json.RawMessage(`{"at":"2026-11-24T23:50:00Z"}`)})
	if !strings.Contains(said, "done Tue 24 Nov 23:50 (UTC+00:00)") {
		t.Errorf("it says %q", said)
	}
}
