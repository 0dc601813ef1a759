package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
)

// TestResizeAtAnyMoment: every page and question is drawn at every size, from a cell to
// more than a screen has, and back: rows and columns are those of the window, nothing
// typed is lost, and below the smallest size the alarms are still told.
func TestResizeAtAnyMoment(t *testing.T) {
	sizes := [][2]int{{80, 24}, {0, 0}, {1, 1}, {7, 3}, {40, 12}, {59, 19}, {60, 20}, {79, 24}, {80, 23}, {81, 25}, {100, 30}, {119, 29}, {120, 31}, {160, 45}, {200, 24}, {80, 70}, {240, 70}, {400, 120}, {80, 24}}
	for at, all := range map[time.Duration][]string{
		19 * time.Minute: {"", "*", "* *", "/", "/ /", "?", "+", "-", "0", "+ 2", "+ 3 1 1 4", "5 enter 4 4", "+ 5 7"},
		80 * time.Minute: {"", "/", "/ /"},
	} {
		d := demoDesk(t, 80, 24, at)
		for _, keys := range all {
			d.press(keys)
			before, page := d.screen(), d.m.page
			for _, s := range sizes {
				d.feed(tea.WindowSizeMsg{Width: s[0], Height: s[1]})
				_ = d.m.View()
				if s[0] == 0 {
					continue
				}
				lines := strings.Split(d.screen(), "\n")
				if len(lines) != s[1] {
					t.Fatalf("%q at %dx%d: %d rows", keys, s[0], s[1], len(lines))
				}
				for _, l := range lines {
					if w := ansi.StringWidth(l); w > s[0] {
						t.Fatalf("%q at %dx%d: a row of %d columns", keys, s[0], s[1], w)
					}
				}
			}
			if d.m.page != page || d.screen() != before {
				t.Errorf("%q: after the sizes the screen is another:\n%s\nwas\n%s", keys, d.screen(), before)
			}
			d.press("esc esc esc")
			d.m.overs, d.m.sel = nil, 3
			d.m.home()
		}
	}
	d := demoDesk(t, 60, 20, 79*time.Minute)
	d.wait(time.Minute)
	waiting := 0
	for _, al := range d.m.alarms {
		d.sees(fmt.Sprintf("▲%d %s", al.Priority, d.m.alarmWords(al)))
		waiting++
	}
	if waiting == 0 {
		t.Error("no alarm to be told in a window that is too small")
	}
	d.sees("window too small: 60x20; needs 80x24")
}
