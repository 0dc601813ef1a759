package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"flaskside/logbook/words"
)

// Every timer in the list has a gauge, at each width that is promised; and its words are
// not cut where their timer has no label of a person's own.
func TestEveryTimerRowHasAGauge(t *testing.T) {
	for _, at := range []int{1, 10, 19, 45, 79} {
		d := demoDesk(t, 80, 24, time.Duration(at)*time.Minute)
		for _, s := range []struct{ w, h int }{{80, 24}, {100, 30}, {120, 30}, {160, 45}} {
			d.sized(s.w, s.h)
			for _, st := range d.m.standings {
				w, _ := d.m.windowByKey(st.Key)
				f := newFrame(s.w, 1)
				d.m.drawWindowRow(f, area{0, 0, s.w - d.m.placesW() - 1, 1}, 0, w, st)
				row := f.plainText()
				if !strings.ContainsAny(row, "─━┣◆┫") {
					t.Errorf("%dx%d, %d min: no gauge in %q", s.w, s.h, at, row)
				}
				if strings.Contains(row, "…") {
					t.Errorf("%dx%d, %d min: cut: %q", s.w, s.h, at, row)
				}
			}
		}
	}
}

// The shortest words of a timer stand in ten columns, for every timer and however far it
// has come; none of them says more than that time has passed.
func TestTightWordsAreTight(t *testing.T) {
	for _, what := range []string{"both halves drying", "cast half drying", "teeth half drying", "dough", "press hold", "bench set", "cure", "bench cooling", "water cooling"} {
		for g := words.ToEarliest; g <= words.Counting; g++ {
			s := words.TimerTight(what, "", "B", g)
			if utf8.RuneCountInString(s) > 10 {
				t.Errorf("%s: %q has more than ten characters", what, s)
			}
			for _, never := range []string{"dry ", "cured", "safe", "done", "ready", "set "} {
				if strings.Contains(strings.ToLower(s)+" ", never) && s != "bench set" {
					t.Errorf("%s: %q says more than that time has passed", what, s)
				}
			}
		}
	}
}

// The day stands on the bench from 120 columns, and on a page of its own at 80x24: each
// with every flask, the press and the baths.
func TestDayIsShown(t *testing.T) {
	for _, s := range []struct {
		w, h int
		keys string
	}{{120, 30, ""}, {120, 24, ""}, {160, 45, ""}, {80, 24, "/ *"}, {80, 24, "d"}} {
		d := demoDesk(t, s.w, s.h, 19*time.Minute)
		d.press(s.keys)
		screen := d.screen()
		at := strings.Index(screen, "the day")
		if at < 0 {
			t.Errorf("%dx%d %q: no day:\n%s", s.w, s.h, s.keys, screen)
			continue
		}
		for _, want := range []string{"now", "3 4417", "4 4420", "press", "bath 1", "4391 4402"} {
			if !strings.Contains(screen[at:], want) {
				t.Errorf("%dx%d %q: the day lacks %q:\n%s", s.w, s.h, s.keys, want, screen)
			}
		}
		d.golden(fmt.Sprintf("day%s-%dx%d", map[bool]string{true: "-bench"}[s.keys == ""], s.w, s.h))
	}
	if d := demoDesk(t, 119, 30, 19*time.Minute); strings.Contains(d.screen(), "the day") {
		t.Error("the day stands on a bench of 119 columns")
	}
}

// No line of a panel ends in nothing: wherever a vertical line meets a horizontal one, a
// corner joins them.
func TestCornersAreClosed(t *testing.T) {
	d := demoDesk(t, 80, 24, 19*time.Minute)
	for _, s := range []struct{ w, h int }{{80, 24}, {100, 30}, {120, 24}, {120, 30}, {140, 40}, {160, 45}, {240, 70}} {
		for _, sel := range []int{3, 8} {
			d.sized(s.w, s.h).m.sel = sel
			f := d.m.draw()
			at := func(x, y int) string {
				if x < 0 || y < 0 || x >= f.w || y >= f.h {
					return " "
				}
				return f.cells[y*f.w+x].s
			}
			x := d.m.placesW()
			for y := 1; y < f.h; y++ {
				across := at(x-1, y) == "─" || at(x+1, y) == "─"
				if at(x, y) == "│" && across {
					t.Errorf("%dx%d: a line runs into nothing at row %d:\n%s", s.w, s.h, y, d.screen())
				}
			}
			if end := at(x, f.h-d.m.footH()); at(x, f.h-d.m.footH()-1) == "│" && end != "┴" {
				t.Errorf("%dx%d: the line ends in %q", s.w, s.h, end)
			}
		}
	}
}

// From 140 columns on every page has two columns, and an empty place shows press order,
// baths and the day; below, no page has.
func TestWidePagesHaveTwoColumns(t *testing.T) {
	d := demoDesk(t, 160, 45, 79*time.Minute)
	for _, keys := range []string{"*", "/", "1 * *", "?"} {
		for _, w := range []int{139, 140, 160, 240} {
			d.sized(w, 45).press(keys)
			s := d.screen()
			if two := strings.Contains(s, "─ the day") && strings.Contains(s, "─ press order"); two != (w >= 140) {
				t.Errorf("%q at %d columns: two columns is %v:\n%s", keys, w, two, s)
			}
		}
	}
	d = demoDesk(t, 160, 45, 79*time.Minute)
	d.press("8")
	d.sees("place 8 is empty", "the day", "coming up", "press order and baths", "100 °C", "CURING TIME IS UP · bath 1: 4417 4420")
	blank := 0
	for _, l := range strings.Split(d.screen(), "\n")[2:40] {
		if strings.TrimSpace(strings.ReplaceAll(l, "│", "")) == "" {
			blank++
		}
	}
	if blank > 6 {
		t.Errorf("%d rows are blank beside an empty place:\n%s", blank, d.screen())
	}
	d.golden("empty-place-160x45")
}

// The chart of a bath is as wide as it has room for.
func TestBathChartTakesTheWidth(t *testing.T) {
	d := demoDesk(t, 240, 70, 79*time.Minute)
	d.press("d")
	for _, l := range strings.Split(d.screen(), "\n") {
		if strings.Contains(l, "100 °C ⠄") && len([]rune(strings.TrimRight(l, " "))) > 200 {
			return
		}
	}
	t.Errorf("no chart of a bath reaches beyond column 200:\n%s", d.screen())
}

// Read out, the day is told in words: no bar is spelt.
func TestDayReadOut(t *testing.T) {
	d := demoDesk(t, 80, 24, 19*time.Minute)
	d.m.aloud = true
	d.press("d")
	said := strings.Join(d.m.spoken(), "\n")
	if strings.ContainsAny(said, "━┣┫│─") || !strings.Contains(said, "CURING TIME IS UP") {
		t.Errorf("the day is read out as %s", said)
	}
}

// The bright line repeats the question, whatever is asked.
func TestBrightLineRepeatsTheQuestion(t *testing.T) {
	for keys, want := range map[string]string{"enter enter": "caution: 1 read", "5 enter": "which case?", "5 enter 4": "case number", "5 enter 4 4 4 enter": "base", "+ 2": "caution: 1 read", "+ 5": "the bath reads, °C", "+": "new"} {
		d := demoDesk(t, 80, 24, 19*time.Minute)
		d.m.sel = 3
		d.press(keys)
		if got := d.m.stepLine(); got != want {
			t.Errorf("after %q the bright line says %q, want %q:\n%s", keys, got, want, d.screen())
		}
	}
}

// A tile of the far view keeps a blank column between itself and the next, and its number
// stands in a box of its own.
func TestFarTilesDoNotTouch(t *testing.T) {
	for _, at := range []int{1, 19, 45, 79} {
		d := demoDesk(t, 80, 24, time.Duration(at)*time.Minute)
		for _, s := range []struct{ w, h int }{{80, 24}, {100, 30}, {160, 45}, {240, 70}} {
			d.sized(s.w, s.h).press("/ /")
			f := d.m.draw()
			boxes := 0
			for y := range f.h {
				for x := 1; x < f.w; x++ {
					c, before := f.cells[y*f.w+x], f.cells[y*f.w+x-1]
					if c.role != boxed || before.role == boxed {
						continue
					}
					boxes++
					if before.s != " " && before.s != "─" {
						t.Fatalf("%dx%d: %q touches the number at row %d:\n%s", s.w, s.h, before.s, y, d.screen())
					}
				}
			}
			if len(d.m.bench().Flasks) > 2 && boxes == 0 {
				t.Errorf("%dx%d: no number in a box:\n%s", s.w, s.h, d.screen())
			}
		}
	}
}
