package tui

import (
	"testing"
	"time"

	"flaskside/logbook/action"
)

// TestLotsInTheHouse takes a lot in by its code and another by hand, with the keys of a
// number pad and a scanner, is asked about a mix with a third, and withdraws one that was
// recalled, whose flasks are shown.
func TestLotsInTheHouse(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("+ 8 4")
	d.sees("no lots booked in yet: + to add one", "+ book in", "- take out of use")
	d.press("+ 1")
	for _, r := range "(01)03453120000011(17)281231(10)ABCD1234" {
		d.feed(keyMsg(string(r)))
	}
	d.press("enter")
	d.sees("product in your own words") // the code tells the last day of use
	d.press("enter")
	d.sees("lots in the house", "ABCD1234", "use until 2028-12-31")
	d.press("+ 5 7 7 enter 2 0 2 7 0 9 enter enter")
	d.sees("stone", "77", "use until 2027-09-30")
	d.golden("lots-80x24")
	d.press("+ 5 7 8 enter 9 9 enter")
	d.sees(`"99" is not a date`)
	d.press("* * - * * - 0")
	d.sees("lots in the house")

	d.press("0")
	d.openFlask(1, "4417", 1, 2)
	d.do(action.Caution{Hazard: "monomer"})
	d.do(action.Coat{Flask: 1, Half: "both"})
	d.wait(11 * time.Minute)
	d.press("1 enter enter 1")
	for _, r := range "X-9" {
		d.one(string(r))
	}
	d.press("enter enter enter")
	d.sees("the powder lot X-9 is not on the list")
	d.press("1")
	if len(d.book.State().Bench.Mixes) != 1 {
		t.Fatalf("no mix:\n%s", d.screen())
	}
	d.press("+ 8 4 - 1")
	d.sees("why?", "recalled")
	d.press("2")
	d.sees("ABCD1234")
	d.press("0 + 8 4")
	d.sees("OUT OF USE", "recalled")
	d.press("- 2 5 7 9 enter 2")
	d.sees("the stone lot 79 is not on the list")
}

// TestSeparatorLot: the lot of the separator is named where it is painted on, one key more,
// and offered again for the next flask.
func TestSeparatorLot(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.openFlask(2, "4420", 1, 2)
	d.do(action.LotIn{Material: "separator", Lot: "S-7"})
	d.press("1 enter 4")
	d.sees("separator lot, scanned or typed", "S-7")
	d.press("enter")
	d.press("2 enter 4 S - 9 enter")
	d.sees("the separator lot S-9 is not on the list")
	d.press("1")
	st := d.book.State().Bench
	for no, want := range map[int]string{1: "S-7", 2: "S-9"} {
		if f := st.Flasks[no]; len(f.Halves) != 2 || f.Halves["cast"].Lot != want || f.Halves["teeth"].Lot != want {
			t.Errorf("flask %d: %+v %+v", no, f.Halves["cast"], f.Halves["teeth"])
		}
	}
}
