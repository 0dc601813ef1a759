package tui

import (
	"fmt"
	"strings"
	"testing"

	"github.com/charmbracelet/x/ansi"
	"pgregory.net/rapid"

	"flaskside/logbook/action"

	"flaskside/logbook/words"
)

// TestReasonsSettingsHintsWhole: at 80x24 reasons, settings, corrections, hints and alarms
// stand whole.
func TestReasonsSettingsHintsWhole(t *testing.T) {
	d := hostile(t, 80, 24)
	whole := func(what string, texts ...string) {
		t.Helper()
		all := bare(d.screen())
		for _, s := range texts {
			if !strings.Contains(all, bare(s)) {
				t.Errorf("%s: %q is cut:\n%s", what, s, d.screen())
			}
		}
	}
	bench := d
	d = packed(t)
	d.press("enter enter enter") // opened at once
	whole("reasons", words.Reasons[1:]...)
	d = bench
	d.press("+ 8 2")
	for range 3 {
		for i, s := range d.m.allSettings() {
			from, to, _ := d.m.form().visible()
			if i >= from && i < to {
				whole("settings", s.name+": "+s.show(d.m.house()))
			}
		}
		d.press("9")
	}
	d.press("0 0 0")
	for d.m.over() != nil {
		d.press("0")
	}
	d.m.say(warn, "no flash at the first closure: mould may be underfilled. - add dough and close again, or check it and record it as full")
	whole("hint", d.m.toast)
	d.m.toast = ""
	d.record(action.TimerStart{Label: strings.Repeat("boil ", 8)[:39], Count: "down", AimS: 60})
	d.press("*")
	for range 30 {
		for _, l := range strings.Split(d.screen(), "\n") {
			if strings.HasSuffix(strings.TrimRight(l, " "), "…") && !strings.Contains(l, "▲") {
				t.Errorf("cut on the flask's page: %q", l)
			}
		}
		d.press("enter")
	}
}

// TestAlarmLineKeepsThePlace: an alarm whose words are longer than the line loses words, not
// the place.
func TestAlarmLineKeepsThePlace(t *testing.T) {
	d := bathDesk(t, 80, 24, 4)
	d.load("long, 9 h", 10, 1, 2, 3, 4)
	d.reads(3, 74)
	d.reads(8, 61)
	d.settle()
	if top := d.m.unanswered(); len(top) == 0 || ansi.StringWidth(d.m.alarmWords(top[0])) < 40 {
		t.Fatalf("no long alarm: %+v", top)
	}
	if line, _, _ := strings.Cut(d.screen(), "\n"); !strings.Contains(line, "· place 1 2 3 4") || !strings.Contains(line, "…") {
		t.Errorf("the alarm line is %q", line)
	}
}

// TestSmallWindowKeepsThePlace: in a window too small for the bench an alarm keeps its place
// too.
func TestSmallWindowKeepsThePlace(t *testing.T) {
	d := bathDesk(t, 40, 10, 4)
	d.load("long, 9 h", 10, 1, 2, 3, 4)
	d.reads(3, 74)
	d.reads(8, 61)
	d.settle()
	d.sees("· place 1 2 3 4", "needs 80x24")
}

// TestChoicesAreNeverCut lays questions with choices of any length in any width: where one
// is whole, each choice of the page at hand stands on the frame in one piece, or broken in
// lines of its own.
func TestChoicesAreNeverCut(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var options []string
		for i := range rapid.IntRange(1, 14).Draw(rt, "n") {
			n := rapid.IntRange(1, 60).Draw(rt, "length")
			options = append(options, strings.Repeat(string(rune('a'+i)), n)+fmt.Sprint(i)+" end")
		}
		f := &form{title: "a question", fields: []*field{choose("x", "which?", options...)}}
		if rapid.Bool().Draw(rt, "several") {
			f.fields[0] = several("x", "which?", 0, options, nil)
		}
		a := area{0, 0, rapid.IntRange(20, 130).Draw(rt, "w"), rapid.IntRange(4, 30).Draw(rt, "h")}
		_, whole := f.lay(a.w, a.h, rapid.Bool().Draw(rt, "tight"))
		if a.w >= 78 && a.h >= 18 && !whole {
			if _, whole = f.lay(a.w, a.h, true); !whole {
				rt.Fatalf("no place at %dx%d", a.w, a.h)
			}
		}
		if !whole {
			return
		}
		fr := newFrame(a.w, a.h)
		f.draw(fr, a)
		all, from, to := fr.plainText(), 0, 0
		for from, to, _ = f.visible(); from < to; from++ {
			if !strings.Contains(bare(all), bare(options[from])) {
				rt.Fatalf("%q is cut at %dx%d:\n%s", options[from], a.w, a.h, all)
			}
		}
	})
}
