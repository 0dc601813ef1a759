package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
)

// record writes something at the bench beside the keys.
func (d *desk) record(body action.Body) {
	d.t.Helper()
	d.n++
	if _, err := d.book.Append(action.Action{ID: fmt.Sprintf("beside-%04d", d.n), At: d.ck.Read().Wall, By: "KT", Body: body, Why: "8"}); err != nil {
		d.t.Fatal(err)
	}
	d.heard()
}

func (d *desk) hides(words ...string) {
	d.t.Helper()
	s := d.screen()
	for _, w := range words {
		if strings.Contains(s, w) {
			d.t.Errorf("the screen shows %q:\n%s", w, s)
		}
	}
}

// TestVerdictOnTheBoard shows the verdict in words after each closure, with the first
// reason on the bench and all of them, and what would mend each, on the page.
func TestVerdictOnTheBoard(t *testing.T) {
	d := packed(t)
	d.press(". . .")
	d.closure(3)
	d.sees("not yet: last trial heavy", "likely ", "more (80 %: ", "; dough allows ", "next ≤ slight ", "estimates; you decide")
	d.press("*")
	d.sees("· last trial heavy → trim and close again: the house asks for slight or less", "· 1 of 2 trials → close again", "(none ", "estimates; you decide", "heavy", "slight")
	d.press("0")
	d.closure(2)
	d.sees("READY for final closure", "estimates; you decide")
	d.hides("not yet", "likely ")
	d.record(action.DoughAdd{Flask: 1})
	d.sees("not yet: dough was added since the last trial")
}

// TestVerdictInTheHouseUnit shows pressures as the gauge of this house does (1 MPa is
// 145.04 psi, NIST SP 811).
func TestVerdictInTheHouseUnit(t *testing.T) {
	d := packed(t)
	h := house.Default()
	h.Units.Pressure = "MPa"
	d.record(action.Settings{House: h})
	d.closure(3)
	d.record(action.PressIn{Flask: 1})
	d.record(action.PressAt{Flask: 1, PressurePSI: 2000})
	d.ck.Run(20 * time.Second)
	d.record(action.PressOpen{Flask: 1})
	d.record(action.Flash{Flask: 1, Grade: "slight"})
	d.sees("not yet: last trial at 13.8 MPa of 20.7 MPa")
	d.press("*")
	d.sees("· last trial at 13.8 MPa of 20.7 MPa → close again at the house pressure", "· last trial held 20 s of 60 s → close again for the house hold")
}

// TestShortOfDoughOnTheScreen: the alarm comes when what is likely wanted no longer
// fits, sounds, is heard with one key, and goes with the next record.
func TestShortOfDoughOnTheScreen(t *testing.T) {
	d := packed(t)
	d.closure(3)
	for range 5 {
		d.press(".")
	}
	words := "DOUGH TIME LOW · place 1 (estimate)"
	rings := func() (n int) {
		for _, r := range d.raw {
			if strings.HasPrefix(r, "\a") && strings.Contains(r, words) {
				n++
			}
		}
		return n
	}
	b := d.book.State().Bench
	o, err := b.Outlook(b.Flasks[1], d.book.Now())
	if err != nil {
		t.Fatal(err)
	}
	// House defaults: a closure takes 42+60+18+90 s, the final one 120 s.
	at := b.Mixes[1].Window.To - time.Duration(120+210*o.Median)*time.Second
	now := d.book.Now()
	d.wait(at - now.Since(b.Mixes[1].Made).For - 2*time.Second)
	d.hides(words, "TOO LATE?")
	d.wait(4 * time.Second)
	d.sees(words, fmt.Sprintf("TOO LATE? likely %d more; dough allows %d", o.Median, o.Median-1), ". got it")
	if rings() != 1 {
		t.Errorf("sent to the terminal: %q", d.raw)
	}
	d.press(".")
	d.wait(40 * time.Second)
	if rings() != 1 {
		t.Errorf("rang after it was heard: %q", d.raw)
	}
	for _, a := range d.book.State().Bench.Alarms(d.book.Now()) {
		if strings.Contains(a.Key, string(bench.ShortOfDough)) && a.State != "acknowledged" {
			t.Errorf("after it was heard: %+v", a)
		}
	}
	d.press("enter")
	d.at(1, bench.InPress)
	d.hides(words)
}

// crowded has four flasks waiting on one mix that cannot serve them all.
func crowded(t *testing.T, w, h int) *desk {
	t.Helper()
	d := newDesk(t, w, h)
	d.advise = true
	for p, size := range []action.Size{"medium", "large", "large", "small"} {
		d.record(action.FlaskOpen{Place: p + 1, Case: fmt.Sprint(4400 + p), Base: "upper", Size: size})
		d.record(action.Coat{Flask: p + 1, Half: "both"})
	}
	d.ck.Run(11 * time.Minute)
	d.record(action.MixMake{Flasks: []int{1, 2, 3, 4}, RoomC: 23})
	d.ck.Run(25 * time.Minute)
	d.start(d.keeper)
	d.m.w, d.m.h = w, h
	d.m.home()
	d.run(d.m.onTick())
	return d
}

// TestPressOrderOnTheScreen: on the bench in a line or two, on its own page with each
// flask's chance, what would help, which to give up, and what another mix would cost.
func TestPressOrderOnTheScreen(t *testing.T) {
	d := crowded(t, 80, 24)
	d.sees("press next: ", "in time: 1 ", "not all: give up 3?")
	d.press("/")
	d.sees("press order", "next: press place ", "in time ", "(estimate)", "working time left ", "Not all are likely to be in time; giving up place ", "(estimate; you decide)",
		"If you mix now for one more medium flask: ")
	whole := d.screen()
	d.press("enter")
	d.sees("baths")
	if whole += d.screen(); !strings.Contains(whole, "(estimates; you decide).") {
		t.Errorf("the page never says who decides:\n%s", whole)
	}
	before := d.m.advice.Next
	// Time passes and nothing is recorded: the advice stands.
	for range 6 {
		d.wait(10 * time.Second)
		if d.m.advice.Next.Flask != before.Flask && d.m.advice.Gain < 0.03 {
			t.Errorf("the advice went from %+v to %+v for a gain of %.3f", before, d.m.advice.Next, d.m.advice.Gain)
		}
		before = d.m.advice.Next
	}
	// It follows each record.
	no := d.m.bench().Waiting(d.m.advice.Next.Flask).No
	d.record(action.PressIn{Flask: no})
	d.run(d.m.onTick())
	if n := d.m.advice.Next; n.Flask == fmt.Sprint(no) && n.Verb.String() == "press" {
		t.Errorf("flask %d is in the press and advised to be pressed", no)
	}
	// The dough is spent, but its flask still takes up the press.
	d.record(action.MixStiff{Mix: 1})
	d.run(d.m.onTick())
	d.sees("next: open place ", "too late", "pack it from a new mix")
	// All are past their dough: nothing is advised, each is told of, and the question about a
	// mix is still answered.
	d.record(action.PressAt{Flask: no})
	d.record(action.PressOpen{Flask: no})
	d.record(action.Flash{Flask: no, Grade: "heavy"})
	d.run(d.m.onTick())
	d.sees("too late (estimate), mix too stiff", "pack it from a new mix", "If you mix now", "(estimates; you decide).")
	if s := d.screen(); strings.Contains(s, "next: ") || strings.Contains(s, "press next") {
		t.Errorf("flasks past their dough are sent in:\n%s", s)
	}
}

// TestWordsBeforeAnyAdvice: a page asked for before the first answer is no blank.
func TestWordsBeforeAnyAdvice(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("/")
	d.sees("no flask waits for the press")
	if got := d.m.placeOf("77"); got != "77" {
		t.Errorf("a flask that is not there stands on %s", got)
	}
	if got := d.m.shortWords("flask/77/closures/1"); !strings.Contains(got, "(estimate)") {
		t.Errorf("words %q", got)
	}
}
