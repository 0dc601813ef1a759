package tui

import (
	"testing"
	"time"

	"flaskside/logbook/action"
)

// TestEquipmentByNumberPad takes a bath, its thermometer, clamps and a flask in with the keys
// of a number pad, is told once of a cure without a check, is asked for clamp and tag by one
// digit, checks the thermometer, and sees which flasks had a clamp that was recalled.
func TestEquipmentByNumberPad(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("+ 8 8")
	d.sees("nothing in the register yet: + to take something in", "+ take in", "- check, water, out of use")
	d.press("+ 2 1 enter") // bath 1
	d.sees("bath 1", "no change of water recorded")
	d.press("+ 8 7 enter 1") // thermometer 7 in bath 1
	d.sees("thermometer 7", "no check recorded", "on bath 1")
	d.press("+ 6 1 2 enter 2 4 0 0 0 enter") // clamp 12 with springs, 4000 psi
	d.press("+ 6 1 3 enter 1 enter")         // clamp 13, its rated load not known
	d.press("+ 5 5 1 enter enter")           // flask 51
	d.sees("to be done: 2", "clamp 12", "springs, rated 4000 psi", "flask 51")
	d.golden("equipment-80x24")

	d.press("0 + 1 4 4 1 7 enter 1 2")
	d.sees("which flask? by the tag on it", "1 51", "one without a tag")
	d.press("1")
	f := d.book.State().Bench.Flasks[1]
	if f == nil || f.Tag != "51" {
		t.Fatalf("the flask is %+v", f)
	}
	d.try(action.MetalToMetal{Flask: 1, Press: 1, PressurePSI: 3000})
	d.press("1 enter")
	d.sees("which clamp?", "12, rated load 4000 psi", "13", "without its number")
	d.press("1")
	if got := d.book.State().Bench.Flasks[1].Clamp; got != "12" {
		t.Fatalf("the clamp is %q", got)
	}
	d.do(action.FlaskOpen{Place: 2, Case: "4418", Base: "lower", Size: "small"})
	d.do(action.Caution{Hazard: "bath"})
	d.wait(40 * time.Minute)
	d.press("1 enter")
	d.press("1 1")
	if len(d.book.State().Bench.Loads) != 1 {
		t.Fatalf("no load:\n%s", d.screen())
	}
	d.sees("thermometer 7 has no check recorded", "It stands on the day sheet.")

	d.press("+ 8 8 - 1 1 1 0 enter") // in ice it reads 0
	d.sees("no difference in ice")
	k, _ := d.book.State().Bench.Piece(action.Piece{Item: "thermometer", Name: "7"})
	if len(k.Checks) != 1 || *k.Checks[0].IceC != 0 {
		t.Errorf("the check is %+v", k.Checks)
	}
	d.press("- 1 1 1 3 2 enter")
	d.sees("which unit was meant?", "32 °F, which is 0 °C")
	d.press("1")
	d.press("- 1 1 1 0 . 5 enter 2") // half a degree below
	d.sees("0.5 °C low in ice")
	d.press("- 2 1")
	d.sees("water changed Wed 25 Nov 2026")
	d.press("- 3 3 3") // bath 1, flask 51, clamp 12: recalled
	d.sees("clamp 12: 1 flask", "4417 upper", "flaskside equipment --which 'clamp 12' --csv")
	d.press("0 e")
	d.sees("out of use", "recalled")
	if got := d.book.State().Bench.Free(action.ClampItem); len(got) != 1 {
		t.Errorf("free are %+v", got)
	}
}

// The code of a label selects the flask of its base, also where both bases of a case are at
// work.
func TestALabelIsScanned(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.openFlask(2, "4417", 2, 2)
	for code, place := range map[string]int{"4417 lower": 2, "4417 upper": 1, "4417 LOWER": 2} {
		d.m.scanned(code)
		if d.m.sel != place {
			t.Errorf("%q selects place %d", code, d.m.sel)
		}
	}
}
