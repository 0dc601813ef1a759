package tui

import (
	"strings"
	"testing"
)

// TestKeysOfTheTable holds the keys that the table tells a person against those it takes, and
// that none is taken twice.
func TestKeysOfTheTable(t *testing.T) {
	of := map[string]string{}
	for _, b := range Bindings() {
		told := strings.Split(b.Also, ", ")
		if !strings.Contains(b.Pad, " ") {
			told = append(told, strings.ToLower(b.Pad))
		}
		for _, key := range told {
			if key == "arrows" || key == "mouse" || key == "1-9" {
				continue
			}
			if got, ok := binding(key); !ok || got.Words != b.Words {
				t.Errorf("%q is told for %q and does %q", key, b.Words, got.Words)
			}
		}
		for key := range strings.FieldsSeq(b.keys) {
			if of[key] != "" {
				t.Errorf("%q does %q and %q", key, of[key], b.Words)
			}
			of[key] = b.Words
		}
	}
	for _, key := range []string{"1", "5", "9", "up", "down"} {
		if !selects(key) || of[key] == "" {
			t.Errorf("%q does not select a place", key)
		}
	}
}
