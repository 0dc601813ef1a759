package tui

import (
	"fmt"
	"math"
	"strings"
	"testing"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
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

// fahrenheit is a house that reads °F.
func (d *desk) fahrenheit() {
	d.t.Helper()
	h := house.Default()
	h.Units.Temperature = units.Fahrenheit
	d.do(action.Settings{House: h})
}

// In a house of °C a bath of 165, and in one of °F a room of 23, are asked about, and
// recorded as they were meant; the refrigerator behind the stroke goes with the room.
func TestTemperaturesOfFormsAreAskedAbout(t *testing.T) {
	d := bathDesk(t, 80, 24, 1)
	d.press("1 enter 1 2 165 enter")
	d.sees("which unit was meant?", "165 °F, which is 73.9 °C", "165 °C")
	d.press("1 enter enter 1")
	if l := d.book.State().Bench.Loads[1]; l == nil || math.Abs(l.BathC-73.9) > .1 {
		t.Fatalf("the load is %+v:\n%s", l, d.screen())
	}

	d = newDesk(t, 80, 24)
	d.fahrenheit()
	d.do(action.Caution{Hazard: "monomer"})
	d.do(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.press("1 + 2 enter enter enter enter 23/5 enter")
	if f := d.m.form(); f != nil && f.fields[f.at].name == "flasks" {
		t.Fatalf("still at the flasks:\n%s", d.screen())
	}
	d.sees("which unit was meant?", "23 °C, which is 73 °F")
	d.press("1")
	m := d.book.State().Bench.Mixes[1]
	if m == nil || m.RoomC != 23 || m.JarC == nil || math.Abs(*m.JarC-5) > 1e-9 {
		t.Fatalf("the mix is %+v:\n%s", m, d.screen())
	}
}

// A pressure on the settings page is asked about like one on a gauge.
func TestPressureOfTheSettingsIsAskedAbout(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.run(d.m.settings())
	d.press("2 207 enter")
	d.sees("which unit was meant?", "207 bar, which is 3002 psi")
	d.press("1")
	if p := d.book.State().Bench.House.Press.PressurePSI; p < 3002 || p > 3003 {
		t.Errorf("the house presses at %g psi:\n%s", p, d.screen())
	}
}

// Altitude, pin limit and what case numbers look like are set on the bench too; a pattern
// that is none is refused at its field.
func TestPlacePinAndCasesAreSetOnTheBench(t *testing.T) {
	d := newDesk(t, 80, 24)
	set := func(name, keys string) {
		t.Helper()
		for i, s := range d.m.allSettings() {
			if s.name != name {
				continue
			}
			d.m.overs = nil
			d.run(d.m.settings())
			for range i / perPage {
				d.press("9")
			}
			d.press(fmt.Sprint(i%perPage+1) + " " + keys)
			return
		}
		t.Fatalf("no setting %q", name)
	}
	set("altitude of the place", "1600 enter")
	set("warn about a pin opening above", "0.5 enter")
	set("case numbers look like", "")
	d.feed(tea.PasteMsg{Content: `K-(\d`})
	d.press("enter")
	d.sees("is not a regular expression")
	d.feed(tea.PasteMsg{Content: `)`})
	d.press("enter")
	h := d.book.State().Bench.House
	if h.Place.AltitudeM != 1600 || h.Remount.PinLimitMM != .5 || h.Cases != `K-(\d)` {
		t.Errorf("the house is at %g m, tells a pin above %g mm, has cases like %q:\n%s", h.Place.AltitudeM, h.Remount.PinLimitMM, h.Cases, d.screen())
	}
}

// An unusual case number is asked about before anything else is typed, and can be typed
// anew there; the reason goes with the record, which asks no more.
func TestUnusualCaseNumberIsAskedAboutAtItsField(t *testing.T) {
	d := newDesk(t, 80, 24)
	write := func(s string) {
		d.press("1 enter")
		for _, r := range s {
			d.one(string(r))
		}
		d.press("enter")
	}
	write("Mr X")
	d.sees("does not look like a case number", "a person's name does not belong here")
	d.press("0")
	for range 4 {
		d.press("*")
	}
	d.press("4417 enter")
	d.sees("base")
	d.hides("does not look like")
	d.press("1 1")
	if f := d.flask(1); f == nil || f.Case != "4417" || len(f.Oddities) != 0 {
		t.Fatalf("%+v:\n%s", f, d.screen())
	}
	d.press("2 enter")
	for _, r := range "NODIGIT" {
		d.one(string(r))
	}
	d.press("enter 2 1 1")
	if f := d.flask(2); f == nil || f.Case != "NODIGIT" || len(f.Oddities) != 1 || f.Oddities[0].What != bench.CaseCode {
		t.Fatalf("%+v:\n%s", f, d.screen())
	}
}

// A bath that is to be heated up after the flasks went in may read anything then: it is
// asked, and left unknown where nobody read it.
func TestColdBathBeforeARampIsLeftUnknown(t *testing.T) {
	d := bathDesk(t, 80, 24, 1)
	h := house.Default()
	h.Programmes = []house.Programme{{Name: "slow", Stages: []house.Stage{{TempC: 74, RampS: 3600, HoldS: 9 * 3600}}}}
	d.do(action.Settings{House: h})
	d.press("1 enter 1 2")
	d.sees("the bath reads", "ENTER: leave out")
	d.press("enter enter enter 1")
	l := d.book.State().Bench.Loads[1]
	if l == nil || l.BathC != 0 {
		t.Fatalf("the load is %+v:\n%s", l, d.screen())
	}
	d.settle()
	d.press("/ enter")
	d.sees("no bath temperature recorded when the flasks went in, 22 °C assumed")
}

// How long a load has been in stands whole beside the list of timers.
func TestTheLineOfALoadIsWholeInEveryWidth(t *testing.T) {
	for _, w := range []int{80, 100, 119, 120, 160} {
		d := bathDesk(t, w, 30, 1)
		d.load("long, 9 h", 5, 1)
		d.reads(3, 74)
		d.settle()
		d.press("1")
		all := ""
		for _, row := range strings.Split(d.screen(), "\n") {
			row, _, _ = strings.Cut(row, "│")
			all += bare(row)
		}
		want := bare("read 74 °C")
		if i := strings.Index(all, want); i < 0 || !strings.Contains(all[i:], "ago") {
			t.Errorf("%d columns: the reading is cut:\n%s", w, d.screen())
		}
	}
}
