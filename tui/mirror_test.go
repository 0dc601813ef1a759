package tui

import (
	"strings"
	"testing"
	"time"

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
