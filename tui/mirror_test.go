package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror"
)

// TestTheMirrorInTheTopLine: it is told of where it is behind or wrong, gives way to an alarm,
// and is silent otherwise; the handover tells it in full.
func TestTheMirrorInTheTopLine(t *testing.T) {
	d := newDesk(t, 100, 30)
	line := func() string { return strings.Split(d.m.draw().plainText(), "\n")[0] }
	now := d.m.now.Wall
	for _, c := range []struct {
		st   mirror.Health
		says string
	}{
		{mirror.Health{}, ""},
		{mirror.Health{To: "/mnt/m", Known: true}, ""},
		{mirror.Health{To: "/mnt/m", Known: true, Behind: 37, Since: now.Add(-2 * time.Minute)}, ""},
		{mirror.Health{To: "/mnt/m", Known: true, Behind: 37, Since: now.Add(-2 * time.Hour)}, "mirror 37 behind since " + now.Add(-2*time.Hour).Format("15:04")},
		{mirror.Health{To: "/mnt/m", Err: "gone", Fails: now.Add(-time.Hour)}, "mirror not reached since "},
		{mirror.Health{To: "/mnt/m", Known: true, Wrong: "another history"}, "MIRROR NOT THE SAME"},
	} {
		d.feed(heard(keep.News{Mirror: c.st}))
		if got := line(); c.says == "" && strings.Contains(strings.ToLower(got), "mirror") || !strings.Contains(got, c.says) {
			t.Errorf("%+v: %q", c.st, got)
		}
		page, f := &handoverPage{leaf{m: d.m}}, newFrame(100, 40)
		page.draw(f, area{0, 0, 100, 40})
		text := f.plainText()
		if (c.st.To != "") != strings.Contains(text, "the mirror, /mnt/m") {
			t.Errorf("%+v: the handover says\n%s", c.st, text)
		}
	}
}

// TestNoAlarmHidesTheMirror: while alarms or a lost logbook have the top line, one or a flood of them, the mirror that wants to be
// told of stands elsewhere in view: on every page and in the far view, under every question, and in a window too small for the
// bench while nothing is asked there.
func TestNoAlarmHidesTheMirror(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {160, 45}, {60, 20}} {
		for _, alarms := range []int{0, 1, 50} {
			d := newDesk(t, size[0], size[1])
			d.m.w, d.m.h = size[0], size[1]
			for i := range alarms {
				d.by("KT", action.TimerStart{Label: fmt.Sprint("soak ", i), Count: "down", AimS: 60})
			}
			d.wait(2 * time.Minute)
			health := mirror.Health{To: "/mnt/m", Known: true, Behind: 37, Since: d.m.now.Wall.Add(-2 * time.Hour)}
			d.feed(heard(keep.News{State: d.book.State(), Mirror: health}))
			for _, keys := range []string{"", "?", "* *", "/", "/ /", "+", "1 enter"} {
				d.m.page, d.m.overs = &benchPage{d.m}, nil
				d.press(keys)
				if d.m.small() && d.m.over() != nil {
					continue
				}
				if n := strings.Count(d.screen(), "mirror 37 behind since 06:02"); n != 1 {
					t.Errorf("%v with %d alarms, after %q: the mirror is told of %d times\n%s", size, alarms, keys, n, d.screen())
				}
			}
			d.feed(heard(keep.News{State: d.book.State()}))
			if s := d.screen(); strings.Contains(s, "mirror") {
				t.Errorf("%v with %d alarms: a mirror that there is not is told of\n%s", size, alarms, s)
			}
		}
	}
}
