//go:build unix

package sysclock

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"flaskside/timers"
)

func TestZoneFrom(t *testing.T) {
	dir := t.TempDir()
	link := filepath.Join(dir, "localtime")
	if err := os.Symlink("../usr/share/zoneinfo/Europe/Berlin", link); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("TZif2"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		tz   string
		set  bool
		link string
		want string
	}{
		{"link", "", false, link, "Europe/Berlin"},
		{"copied file", "", false, file, ""},
		{"nothing there", "", false, filepath.Join(dir, "none"), ""},
		{"TZ", "America/Chicago", true, link, "America/Chicago"},
		{"TZ with a colon", ":America/Chicago", true, link, "America/Chicago"},
		{"TZ empty", "", true, link, "UTC"},
		{"TZ a path", "/usr/share/zoneinfo/Asia/Tokyo", true, link, "Asia/Tokyo"},
		{"TZ a path to a link", link, true, file, "Europe/Berlin"},
		{"TZ a path elsewhere", file, true, link, ""},
	} {
		if got := zoneFrom(c.tz, c.set, c.link); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// A zone changed while the program runs is in the next reading, and is noticed.
func TestZoneChangesWhileRunning(t *testing.T) {
	t.Setenv("TZ", "Europe/Berlin")
	c := New()
	a := c.Read()
	if got := a.Wall.Location().String(); got != "Europe/Berlin" {
		t.Errorf("zone %q", got)
	}
	t.Setenv("TZ", "Asia/Tokyo")
	b := c.Read()
	if got := b.Wall.Format("-07:00"); got != "+09:00" {
		t.Errorf("offset %s after the zone was changed", got)
	}
	ev := timers.Compare(a, b, time.Second)
	if len(ev) != 1 || ev[0].What != timers.Zone {
		t.Errorf("events %+v, want one change of zone", ev)
	}
}
