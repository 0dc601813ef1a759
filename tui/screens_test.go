package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/demo"
	"flaskside/timers/longrun"
)

// TestAnyKeysNeverBreak presses anything at all: no panic, and the book can still
// be folded.
func TestAnyKeysNeverBreak(t *testing.T) {
	longrun.Checks(t, 20, 100)
	keys := []string{"0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "enter", "+", "-", "*", "/", ".", "esc", "up", "down", "home", "x", "s", "?", "space", "backspace"}
	rapid.Check(t, func(rt *rapid.T) {
		d := newDesk(t, 80, 24)
		for range rapid.IntRange(1, 120).Draw(rt, "n") {
			d.one(rapid.SampledFrom(keys).Draw(rt, "key"))
			if rapid.IntRange(0, 9).Draw(rt, "wait") == 0 {
				d.wait(time.Duration(rapid.IntRange(1, 3600).Draw(rt, "seconds")) * time.Second)
			}
			if s := d.screen(); len(strings.Split(s, "\n")) != 24 {
				rt.Fatalf("the screen has %d lines", len(strings.Split(s, "\n")))
			}
		}
	})
}

// demoDesk has played the invented shift up to a moment after its start.
func demoDesk(t *testing.T, w, h int, upTo time.Duration) *desk {
	t.Helper()
	d := newDesk(t, w, h)
	d.advise = true
	steps := demo.Shift()
	d.ck.Step(steps[0].After - time.Second)
	for i, s := range steps {
		if s.After > upTo {
			break
		}
		d.ck.Run(shiftStart.Add(s.After).Sub(d.ck.Read().Wall))
		if _, err := d.book.Append(s.Action(i, shiftStart)); err != nil {
			t.Fatalf("step %d: %v", i, err)
		}
	}
	d.ck.Run(shiftStart.Add(upTo).Sub(d.ck.Read().Wall))
	d.start(d.keeper)
	return d.sized(w, h)
}

// sized looks at the bench from place 3, on a screen of another size.
func (d *desk) sized(w, h int) *desk {
	d.m.w, d.m.h, d.m.sel = w, h, 3
	d.m.home()
	d.run(d.m.onTick())
	return d
}

// TestScreens compares every page with the one kept, at each size that is
// promised.
func TestScreens(t *testing.T) {
	for _, s := range []struct{ w, h int }{{80, 24}, {100, 30}, {160, 45}, {240, 70}, {60, 20}} {
		d := demoDesk(t, s.w, s.h, 19*time.Minute)
		d.golden(fmt.Sprintf("bench-%dx%d", s.w, s.h))
	}
	d := demoDesk(t, 80, 24, 20*time.Minute)
	d.press("*").golden("flask-80x24")
	d.press("0 /").golden("press-80x24")
	d.press("0 ?").golden("help-80x24")
	d.press("0 +").golden("new-80x24")
	d.press("0 -").golden("other-80x24")
	d.press("0 0").golden("undo-80x24")
	d.press("enter").golden("undo-why-80x24")
	newDesk(t, 80, 24).golden("first-80x24")
}

// TestFirstFrameBeforeSize draws before the window's size is known.
func TestFirstFrameBeforeSize(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.m.Update(tea.WindowSizeMsg{})
	if v := d.m.View(); !v.AltScreen {
		t.Error("the alternate screen was left on an early frame")
	}
}

// TestFarAndHandover: the far view shows each flask's place, time and stage in large;
// the handover what runs, what comes next and what falls due until tomorrow noon.
func TestFarAndHandover(t *testing.T) {
	d := demoDesk(t, 80, 24, 62*time.Minute)
	d.press("/ /")
	d.golden("far-80x24")
	d.press("5")
	d.sees("ENTER")
	d.press("+ 6 2")
	d.golden("handover-80x24")
	d.sees("handover", "→ out of the bath", "not to be forgotten today")
	d.press("0 + 6 1")
	d.sees("who is at the bench?")
	d.press("2 ab enter")
	d.sees("handover", "at the bench: ab", "whoever takes over reads this and presses +")
	d.press("+")
	d.sees("who takes over, having read this?", "1 ab", "2 KT")
	d.press("3 cd enter")
	d.sees("handover", "at the bench: cd", "read and taken over by cd, 09:")
	if b := d.book.State().Bench; !b.TookOver || b.Crew != "cd" {
		t.Errorf("the handover is not in the book: %q, %v", b.Crew, b.TookOver)
	}
}

// TestScanSelects: what a scanner types on the bench selects the flask, and no
// character of it is taken for a key; a key pressed by hand counts a moment later.
func TestScanSelects(t *testing.T) {
	d := demoDesk(t, 80, 24, 19*time.Minute)
	d.m.cfg.ScanHold = 40 * time.Millisecond
	d.m.sel = 1
	scan := func(s string) {
		for _, r := range s {
			d.ck.Run(5 * time.Millisecond)
			d.m.Update(keyMsg(string(r)))
		}
		d.ck.Run(5 * time.Millisecond)
		_, cmd := d.m.Update(keyMsg("enter"))
		d.run(cmd)
	}
	scan("4420")
	if d.m.sel != 4 || d.m.form() != nil {
		t.Errorf("place %d is selected after scanning 4420, want 4:\n%s", d.m.sel, d.screen())
	}
	scan("no such")
	d.sees("no flask on the bench")
	d.ck.Run(time.Second)
	d.feed(keyMsg("2")) // by hand: its moment passes
	if d.m.sel != 2 {
		t.Errorf("place %d is selected after pressing 2", d.m.sel)
	}
}

// TestKeyIsSeenAtOnce: a digit that may begin a scan is drawn as the key that it mostly is, and
// is none before its moment has passed: a scan that finds nothing leaves the selection as it was.
func TestKeyIsSeenAtOnce(t *testing.T) {
	d := demoDesk(t, 80, 24, 19*time.Minute)
	d.m.cfg.ScanHold = 40 * time.Millisecond
	d.m.sel = 1
	for place := 2; place <= 9; place++ {
		d.ck.Run(time.Second)
		key := fmt.Sprint(place)
		_, held := d.m.Update(keyMsg(key))
		glanced := d.screen()
		if d.m.sel == place || !strings.Contains(glanced, "\n "+key+"▸") {
			t.Fatalf("%s is pressed, place %d is selected:\n%s", key, d.m.sel, glanced)
		}
		if place%2 == 0 {
			was := d.m.sel
			for _, k := range []string{"x", "y", "z", "enter"} {
				d.ck.Run(5 * time.Millisecond)
				d.m.Update(keyMsg(k))
			}
			if d.m.sel != was || !strings.Contains(d.screen(), fmt.Sprintf("\n %d▸", was)) {
				t.Fatalf("a scan of nothing selects place %d:\n%s", d.m.sel, d.screen())
			}
			continue
		}
		d.ck.Run(40 * time.Millisecond)
		d.run(held)
		if d.m.sel != place || d.screen() != glanced {
			t.Fatalf("place %d is selected; it showed\n%s\nand shows\n%s", d.m.sel, glanced, d.screen())
		}
	}
}

// TestPlain writes what changes line by line in ASCII, and nothing while only the
// time passes.
func TestPlain(t *testing.T) {
	d := newDesk(t, 80, 24)
	var out strings.Builder
	p := newPlain(d.m, func(string) string { return "" }, &out)
	p.tell()
	for _, k := range strings.Fields("1 enter 4 4 1 7 enter 1 2 enter 1") {
		d.one(k)
		p.tell()
	}
	for _, want := range []string{"place 1 selected. ENTER  new flask on place 1", "case number: 4417", "place 1: case 4417 upper medium, separator to paint", "1 both halves", "separator drying"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("never told %q:\n%s", want, out.String())
		}
	}
	for _, r := range out.String() {
		if r > 0x7f || r == 0x1b {
			t.Fatalf("%q is not plain ASCII", r)
		}
	}
	d.m.toast = ""
	p.tell()
	out.Reset()
	d.wait(time.Second)
	d.m.toast = ""
	p.tell()
	out.Reset()
	for range 5 {
		d.wait(time.Second)
		p.tell()
	}
	if out.Len() > 0 {
		t.Errorf("told while only time passed: %q", out.String())
	}
	d.wait(10 * time.Minute)
	p.tell()
	if !strings.Contains(out.String(), "ALARM 3: BOTH HALVES: DRYING TIME IS UP") || !strings.Contains(out.String(), "\a") {
		t.Errorf("the alarm was not told: %q", out.String())
	}
}

// TestPasteAndEdit: a text pasted, or sent whole by a scanner, lands in the field,
// and the cursor moves in it; a paste of words into a number is not taken.
func TestPasteAndEdit(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("1 enter")
	d.feed(tea.PasteMsg{Content: "44\n17"})
	d.sees("44 17")
	d.press("backspace backspace backspace 2")
	d.feed(tea.KeyPressMsg{Code: tea.KeyLeft})
	d.press("9 enter 1 1")
	if f := d.flask(1); f.Case != "4492" {
		t.Errorf("the case number is %q, want 4492", f.Case)
	}
	d.press("+ 5")
	d.feed(tea.PasteMsg{Content: "hot"})
	d.feed(tea.PasteMsg{Content: "74"})
	d.press("enter")
	if rs := d.book.State().Bench.Readings; len(rs) != 1 || rs[0].TempC != 74 {
		t.Errorf("readings are %+v, want one of 74", rs)
	}
}

// TestAsksWhoAfterIdle asks for initials when the bench was left alone for the set
// time, and records them.
func TestAsksWhoAfterIdle(t *testing.T) {
	d := newDesk(t, 80, 24)
	h := d.book.State().Bench.House
	h.Crew, h.CrewIdleS = []string{"KT", "MB"}, 600
	if _, err := d.book.Append(action.Action{ID: "house", At: d.ck.Read().Wall, Body: action.Settings{House: h}}); err != nil {
		t.Fatal(err)
	}
	d.heard()
	d.press("2")
	d.ck.Run(11 * time.Minute)
	d.press("enter")
	d.sees("who is at the bench?", "1 KT", "2 MB")
	d.press("2")
	if got := d.book.State().Bench.Crew; got != "MB" {
		t.Errorf("at the bench is %q, want MB", got)
	}
	d.press("0 enter")
	d.sees("new flask")
}

// TestLotPage finds the flasks that had a lot, from the bench.
func TestLotPage(t *testing.T) {
	d := demoDesk(t, 80, 24, 20*time.Minute)
	d.press("+ 8 3 P - 1 1 8 enter")
	d.sees("P-118", "4417", "4391")
	d.press("0")
	d.sees("ENTER")
}
