package route

import (
	"strings"
	"testing"
)

// The tables of the program are valid by the rules of a house's own.
func TestProgramTables(t *testing.T) {
	if err := Valid(program()); err != nil {
		t.Fatal(err)
	}
	for _, r := range program() {
		text, ok := Source(r.Name)
		if !ok || !strings.Contains(string(text), "# ") {
			t.Errorf("%s has no source with what its values rest on", r.Name)
		}
		for _, s := range r.Steps {
			if s.Evidence == "" && s.Kind != Flask {
				t.Errorf("%s, %s does not say what it rests on", r.Name, s.Name)
			}
		}
	}
}
