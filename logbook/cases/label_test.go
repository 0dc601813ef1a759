package cases_test

import (
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/cases"
	"flaskside/logbook/label"
)

// Whatever a label was made for, its code gives that case and base back.
func TestTheCodeOfALabelIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.StringMatching(`[A-Za-z0-9/.-]{1,12}( [A-Za-z0-9]{1,6})?`).Draw(t, "number")
		base := rapid.SampledFrom(action.Bases).Draw(t, "base")
		if n, b := cases.FromLabel(label.Label{Case: number, Base: base}.Code()); n != number || b != base {
			t.Fatalf("%s %s came back as %q, %q", number, base, n, b)
		}
	})
	for code, want := range map[string][2]string{"4417": {"4417", ""}, " 4417  UPPER ": {"4417", "upper"}, "upper": {"upper", ""}, "": {"", ""}, "44 17": {"44 17", ""}} {
		if n, b := cases.FromLabel(code); n != want[0] || b != want[1] {
			t.Errorf("%q is read as %q, %q", code, n, b)
		}
	}
}
