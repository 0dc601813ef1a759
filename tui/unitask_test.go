package tui

import (
	"testing"

	"flaskside/logbook/action"
)

// A pressure typed without its unit that makes sense only in another is asked about, with
// the pad alone; what is recorded is what was meant, as it was read.
func TestBarePressureInAnotherUnitIsAskedAbout(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.do(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.do(action.PressIn{Flask: 1})
	f := d.book.State().Bench.Flasks[1]
	d.run(d.m.otherPressure(f))
	d.press("207 enter")
	d.sees("which unit was meant?", "207 bar, which is 3002 psi", "207 psi")
	d.press("1")
	tr := d.book.State().Bench.Flasks[1].Trial()
	if tr.PSI < 3002 || tr.PSI > 3003 || tr.Gauge != "207 bar" {
		t.Fatalf("recorded %g psi, %q:\n%s", tr.PSI, tr.Gauge, d.screen())
	}
}

// A final closure has a pressure of its own, and one well above the house's asks for the
// rated load once.
func TestMetalToMetalAtAPressureOfItsOwn(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.do(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.do(action.SheetOut{Flask: 1})
	d.run(d.m.metalPressure(d.book.State().Bench.Flasks[1]))
	d.press("4000 enter")
	d.sees("no rated load is set")
	d.press("1")
	if f := d.book.State().Bench.Flasks[1]; f.MetalPSI != 4000 || f.MetalGauge != "4000 psi" {
		t.Fatalf("metal to metal at %g psi, %q:\n%s", f.MetalPSI, f.MetalGauge, d.screen())
	}
}
