package tui

import (
	"strings"
	"testing"

	"flaskside/logbook/action"
)

// A base that left the house is asked about when it is to leave once more; after that was
// undone it is not.
func TestDeliveredTwice(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.append(action.Outcome{Flask: 1, Outcome: "remake"})
	d.openFlask(1, "4420", 1, 2)
	no := d.flask(1).No
	d.n++
	if _, err := d.book.Append(action.Action{ID: "out", At: d.ck.Read().Wall, By: "KT", Why: "1", Body: action.Outcome{Flask: no, Outcome: action.Finished}}); err != nil {
		t.Fatal(err)
	}
	d.heard()
	deliver := func() {
		d.m.home()
		d.press("+ 8 6 - 1")
		d.press(digitOf(d, "4420 upper"))
	}
	deliver()
	d.press("2 1 2 enter enter") // not all: finished, polished; no hours in water
	last := func() action.Action {
		items := d.book.State().Bench.Items
		return items[len(items)-1].Action
	}
	first, ok := last().Body.(action.CaseDelivered)
	if !ok || first.Case != "4420" || len(first.Done) != 2 {
		t.Fatalf("recorded is %+v:\n%s", last(), d.screen())
	}
	deliver()
	d.sees("case 4420 upper was delivered already, 08:00", "record it once more?")
	d.press("1")
	if d.sees("closing list"); strings.Contains(d.screen(), "once more") {
		t.Errorf("it is asked again:\n%s", d.screen())
	}
	d.press("2 enter enter")
	if a := last(); a.Why != "1" || a.Body.(action.CaseDelivered).Case != "4420" {
		t.Errorf("recorded is %+v", a)
	}
	for range 2 {
		d.m.home()
		d.press("0 enter 1")
	}
	deliver()
	d.sees("closing list")
}

// A due time is not put off to one that is over.
func TestDueTimeIsToCome(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.append(action.CaseIn{Case: "4417", Base: "upper", Size: "medium", Due: "2026-11-25T17:00:00+01:00"})
	d.press("c - ")
	d.press(digitOf(d, "its due time changes"))
	d.press("1 1 * * 7 enter 1") // today at 7, no rush
	d.sees("07:00 is over")
	d.press("0 * 1 8 enter 1")
	if k := d.book.State().Bench.Cases()[0]; k.Due != "2026-11-25T18:00:00+01:00" {
		t.Errorf("due %s:\n%s", k.Due, d.screen())
	}
}
