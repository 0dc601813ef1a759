package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// What a shift of the whole job may cost in keys (set by the house of this program).
const (
	mostKeysPacked = 90
	mostKeysRepair = 25
)

// caution reads a caution where one is shown.
func (d *desk) caution() {
	if strings.Contains(d.screen(), "1 read") {
		d.press("1")
	}
}

// counted counts the keys that something takes.
func (d *desk) counted(do func()) int {
	before := d.keys
	do()
	return d.keys - before
}

// nextOf holds the step that the page of cases names.
func (d *desk) next(want string) {
	d.t.Helper()
	if s := d.m.stepLine(); !strings.Contains(s, want) {
		d.t.Fatalf("the bright line is %q, want %q:\n%s", s, want, d.screen())
	}
}

// A shift of the whole job by the number pad at 80x24: three cases in, invested, boiled out,
// packed, cured, finished, delivered; one repair in the pot; one injected. The keys of each
// are counted, and nothing in it is called unusual.
func TestWholeJobOnThePad(t *testing.T) {
	d := newDesk(t, 80, 24)
	packed := 0
	in := func(number string, way, size string) int {
		return d.counted(func() { d.press("+ " + number + " enter 1 " + way + " " + size + " 3 enter 1") })
	}
	d.press("-")
	for _, n := range []string{"4401", "4402", "4403"} {
		packed += in(n, "1", "2")
	}
	// each of three in its turn, the pause after all
	round := func(want string, keys string, wait time.Duration) {
		packed += d.counted(func() {
			for i := 1; i <= 3; i++ {
				d.press(fmt.Sprint(i))
				d.next(want)
				d.press("enter")
				d.caution()
				d.press(keys)
			}
		})
		d.wait(wait)
	}
	round("first layer", "", 16*time.Minute)
	round("second layer", "", 16*time.Minute)
	round("cap", "", 61*time.Minute)
	round("boil out", "", 4*time.Minute+30*time.Second)
	round("flush three times", "1", time.Minute)
	round("cool to hand-warm", "", 11*time.Minute)
	packed += d.counted(func() { d.packThree() })
	packed += d.counted(func() { d.press("-") })
	round("trim and finish", "", time.Minute)
	round("polish", "", time.Minute)
	round("into water", "", 25*time.Hour)
	packed += d.counted(func() {
		for range 3 {
			d.press("1") // the list grows shorter
			d.next("delivered")
			d.press("enter 1 enter")
		}
	})
	if n := len(d.book.State().Bench.Cases()); n != 0 {
		t.Fatalf("%d cases are still on the list:\n%s", n, d.screen())
	}

	repair := in("5001", "2", "")
	repair += d.counted(func() {
		d.next("wet the joint")
		d.press("enter")
		d.caution()
		d.wait(2 * time.Minute)
		d.press("enter 1") // into the pot as the table has it
		d.wait(21 * time.Minute)
		d.next("pressure let off")
		d.press("enter")
		d.caution()
		d.press("1")
		d.press("enter")
		d.caution()
		d.next("delivered")
		d.press("enter 1 enter")
	})
	injected := in("6001", "3", "2")
	injected += d.counted(func() { d.injectOne() })
	if n := len(d.book.State().Bench.Cases()); n != 0 {
		t.Fatalf("%d cases are still on the list:\n%s", n, d.screen())
	}
	for _, it := range d.book.State().Bench.Items {
		if len(it.Action.Unusual) > 0 {
			t.Errorf("record %d (%s) is unusual (%v) in a shift without anything unusual", it.Seq, it.Body.Kind(), it.Action.Unusual)
		}
		if c, ok := it.Body.(action.CaseDelivered); ok && len(c.Missing)+len(c.Short()) > 0 {
			t.Errorf("case %s went out short of %v %v", c.Case, c.Missing, c.Short())
		}
	}
	per := float64(packed) / 3
	t.Logf("keystrokes: %.1f for a packed case from in to delivered, %d for a repair, %d for an injected one; %d in all", per, repair, injected, d.keys)
	if per > mostKeysPacked || repair > mostKeysRepair {
		t.Errorf("a packed case took %.1f keys and a repair %d; at most %d and %d are promised", per, repair, mostKeysPacked, mostKeysRepair)
	}
}

// packThree takes three cases from an empty bench to their outcomes.
func (d *desk) packThree() {
	d.t.Helper()
	d.press("1")
	d.next("open a flask on place 1")
	d.press("enter")
	d.at(1, bench.Opened)
	d.press("enter 1") // separator on both halves
	for p := 2; p <= 3; p++ {
		d.press(fmt.Sprintf("%d enter 1", p)) // the first of the cases that wait
		d.press("enter 1")
		d.at(p, bench.Drying)
	}
	d.wait(11 * time.Minute)
	d.press("1 enter")
	d.caution()
	d.press("enter enter enter enter enter")
	d.wait(9 * time.Minute)
	d.press("enter") // dough
	for trial, grade := range []int{3, 2} {
		for p := 1; p <= 3; p++ {
			d.press(fmt.Sprint(p))
			if trial == 0 {
				d.press("enter")
				d.caution()
				d.press("enter")
				d.wait(62 * time.Second)
				d.press(fmt.Sprintf("enter %d", grade))
			} else {
				d.closure(grade)
			}
			d.at(p, bench.Trimmed)
			d.wait(20 * time.Second)
		}
	}
	for p := 1; p <= 3; p++ {
		d.press(fmt.Sprintf("%d enter enter 1 enter", p))
		d.at(p, bench.Set)
	}
	d.wait(31 * time.Minute)
	d.press("1 enter")
	d.caution()
	d.press("1 1")
	d.at(3, bench.InBath)
	d.wait(9 * time.Hour)
	d.press(". enter 1")
	d.wait(31 * time.Minute)
	d.press("3 enter 1")
	d.wait(16 * time.Minute)
	d.press("1 enter")
	d.caution()
	d.press("1")
	for p := 1; p <= 3; p++ {
		d.press("enter .4 enter")
		d.at(p, bench.Checked)
		d.press("enter 1")
	}
	if n := len(d.book.State().Bench.Cases()); n != 3 {
		d.t.Fatalf("%d cases are on the list after their outcomes, want all three until they go out", n)
	}
}

// injectOne takes the case that is chosen along the injected route.
func (d *desk) injectOne() {
	d.t.Helper()
	step := func(want, keys string, wait time.Duration) {
		d.t.Helper()
		d.next(want)
		d.press("enter")
		d.caution()
		d.press(keys)
		d.wait(wait)
	}
	step("first layer", "", 16*time.Minute)
	step("second layer", "", 16*time.Minute)
	step("cap", "", 61*time.Minute)
	step("boil out", "", 5*time.Minute)
	step("flush", "1", time.Minute)
	step("cool to hand-warm", "", 11*time.Minute)
	step("separator", "", 16*time.Minute)
	step("close and clamp", "1", time.Minute)
	step("mix, fill", "", 3*time.Minute)
	step("inject", "1", 6*time.Minute)
	step("into the bath", "", 40*time.Minute)
	step("cools under pressure", "", 31*time.Minute)
	step("pressure let off", "1", time.Minute)
	step("remount", ".2 enter", time.Minute)
	step("trim and finish", "", time.Minute)
	step("polish", "", time.Minute)
	step("into water", "", 25*time.Hour)
	step("delivered", "1 enter", time.Minute)
}
