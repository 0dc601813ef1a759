package tui

import (
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// click clicks on a text of the screen.
func (d *desk) click(text string) {
	d.t.Helper()
	d.ck.Run(time.Second)
	for y, l := range strings.Split(d.screen(), "\n") {
		if before, _, ok := strings.Cut(l, text); ok {
			d.feed(tea.MouseClickMsg{X: ansi.StringWidth(before) + ansi.StringWidth(text)/2, Y: y, Button: tea.MouseLeft})
			return
		}
	}
	d.t.Fatalf("%q is not on the screen:\n%s", text, d.screen())
}

// TestMouse works a flask with clicks alone where nothing need be typed; a click twice at
// once is one, and a click beside everything does nothing.
func TestMouse(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {160, 45}} {
		d := newDesk(t, size[0], size[1])
		d.record(action.FlaskOpen{Place: 2, Case: "4417", Base: "upper", Size: "medium"})
		d.click("4417")
		if d.m.sel != 2 {
			t.Fatalf("place %d is selected", d.m.sel)
		}
		d.click("paint separator")
		d.click("back")
		if d.m.form() != nil {
			t.Fatalf("back is not clicked:\n%s", d.screen())
		}
		d.click("paint separator")
		d.click("both halves")
		d.at(2, bench.Drying)
		d.wait(11 * time.Minute)
		d.click("BOTH HALVES: DRYING TIME IS UP")
		d.sees("acknowledged: BOTH HALVES: DRYING TIME IS UP")
		d.click("new")
		d.click("3 timer")
		d.click("soak")
		d.click("count up")
		d.sees("soak")
		n := len(d.book.State().Bench.Items)
		for y := range size[1] {
			d.ck.Run(time.Second)
			d.feed(tea.MouseClickMsg{X: size[0] - 1, Y: y, Button: tea.MouseRight})
		}
		d.feed(tea.MouseClickMsg{X: -1, Y: 99, Button: tea.MouseLeft})
		d.click("page")
		d.feed(tea.MouseWheelMsg{Button: tea.MouseWheelDown})
		d.click("back to the bench")
		if !d.m.atHome() || len(d.book.State().Bench.Items) != n {
			t.Errorf("page %T, %d records more:\n%s", d.m.page, len(d.book.State().Bench.Items)-n, d.screen())
		}
		// Twice at once is one click: a key and a click on the same key are the same.
		d.click("+ new")
		overs := len(d.m.overs)
		d.ck.Run(100 * time.Millisecond)
		d.feed(keyMsg("+"))
		if len(d.m.overs) != overs || d.m.form().note != "" {
			t.Errorf("the second of two at once counts:\n%s", d.screen())
		}
	}
}
