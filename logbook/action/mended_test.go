package action

import (
	"strings"
	"testing"
)

// Lines for people that do not yet say what is right.
func TestRefusalsInPlainWords(t *testing.T) {
	for _, c := range []struct{ name, in, want, not string }{
		{"the whole is not an object", `[]`, "one JSON object", `field ""`},
		{"the body is not an object", inFrame("flash", `[]`), "JSON object", `field ""`},
		{"a field of the frame", `{"id":5}`, `the field "id"`, "wire."},
		{"at is a number", `{"id":"x","at":5,"act":"seen","body":{}}`, "2026-11-25T14:07:32+01:00", "UnmarshalJSON"},
		{"a number too large", inFrame("flash", `{"flask":3,"grade":"heavy","grams":1e400}`), "grams", `field ""`},
		{"a very long number", inFrame("flash", `{"flask":`+strings.Repeat("1", 3000)+`,"grade":"heavy"}`), "flask", `field ""`},
		{"an unknown field of a body", inFrame("flash", `{"flask":3,"grade":"heavy","colour":1}`), "where", ""}, // the fields there are
	} {
		_, err := Decode([]byte(c.in))
		if err == nil {
			t.Errorf("%s: taken", c.name)
			continue
		}
		if !strings.Contains(err.Error(), c.want) || c.not != "" && strings.Contains(err.Error(), c.not) {
			t.Errorf("%s: says %.200q, want %q and not %q", c.name, err, c.want, c.not)
		}
		if bad := badLine(err.Error()); bad != "" {
			t.Errorf("%s: %s", c.name, bad)
		}
	}
}

// Characters that hide: the supplementary variation selectors do as those of the
// basic plane, which are refused.
func TestHiddenCharacters(t *testing.T) {
	for _, r := range []string{"\U000E0100", "\U000E01EF", "\u115f", "\u3164"} {
		if _, err := Decode([]byte(inFrame("flask-open", `{"place":1,"case":"44`+r+`17","base":"upper","size":"small"}`))); err == nil {
			t.Errorf("a case number with %U is taken", []rune(r)[0])
		}
	}
}
