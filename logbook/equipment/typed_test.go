package equipment_test

import (
	"strings"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/equipment"
	"flaskside/logbook/house"
)

// What is typed of a check counts in the unit that stands with it, else in that of the house: 32 °F is
// 0 °C and 212 °F is 100 °C (definition of the scale), 1 bar is 14.5038 psi (NIST SP 811, table B.8).
func TestCheckAsTyped(t *testing.T) {
	u := house.Default().Units
	for _, c := range []struct {
		item  action.PieceKind
		typed map[string]string
		want  string
	}{
		{action.Thermometer, map[string]string{"ice": "32F", "boil": "212F"}, ""},
		{action.Thermometer, map[string]string{"ice": ""}, "--ice: "},
		{action.Thermometer, map[string]string{"ice": "cold"}, "--ice: "},
		{action.Gauge, map[string]string{"read": "10bar", "against": "10 bar", "due": "2027-05"}, ""},
		{action.Gauge, map[string]string{"boil": "212F"}, "--boil is of a thermometer; a gauge takes --read and --against"},
		{action.Gauge, map[string]string{"read": "1", "against": "1", "due": "soon"}, "--due: "},
	} {
		a, err := equipment.Checked(action.EquipCheck{Item: c.item, Name: "1"}, c.typed, u)
		switch {
		case c.want != "" && (err == nil || !strings.HasPrefix(err.Error(), c.want)):
			t.Errorf("%v: %v, want %q", c.typed, err, c.want)
		case c.want == "" && err != nil:
			t.Errorf("%v: %v", c.typed, err)
		case c.want != "":
		case c.item == action.Thermometer && (!near(a.IceC, 0) || !near(a.BoilC, 100) || a.ReadC != nil):
			t.Errorf("%v: %+v", c.typed, a)
		case c.item == action.Gauge && (!near(a.ReadPSI, 145.038) || !near(a.AgainstPSI, 145.038) || a.Due != "2027-05-31"):
			t.Errorf("%v: %+v", c.typed, a)
		}
	}
	in, err := equipment.TakenIn(action.EquipIn{Item: action.Press, Name: "1"}, "345bar", "", u)
	if err != nil || !near(&in.RatedPSI, 5003.8) || in.ScalePSI != 0 {
		t.Errorf("%+v, %v", in, err)
	}
	if _, err := equipment.TakenIn(in, "", "big", u); err == nil || !strings.HasPrefix(err.Error(), "--scale: ") {
		t.Errorf("a scale that is none: %v", err)
	}
}

func near(v *float64, want float64) bool { return v != nil && *v > want-0.1 && *v < want+0.1 }
