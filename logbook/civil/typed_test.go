package civil

import (
	"errors"
	"testing"
	"time"

	"flaskside/logbook/asked"
)

// TestTyped reads the dates that can be asked for, around a change of the clocks.
func TestTyped(t *testing.T) {
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 10, 26, 0, 30, 0, 0, loc) // the day after one of 25 h
	for _, c := range []struct{ arg, from, until string }{
		{"today", "2026-10-26T00:00:00+01:00", "2026-10-27T00:00:00+01:00"},
		{"yesterday", "2026-10-25T00:00:00+02:00", "2026-10-26T00:00:00+01:00"},
		{"2026-03-29", "2026-03-29T00:00:00+01:00", "2026-03-30T00:00:00+02:00"},
	} {
		from, until, err := Typed(c.arg, now, loc)
		if err != nil || from.Format(time.RFC3339) != c.from || until.Format(time.RFC3339) != c.until {
			t.Errorf("%q is %s to %s, %v; want %s to %s", c.arg, from.Format(time.RFC3339), until.Format(time.RFC3339), err, c.from, c.until)
		}
	}
	for _, bad := range []string{"2026-02-30", "2026-13-01", "26-11-25", "1026-11-25", "tomorrow", "2026-11-25T00:00:00Z", ""} {
		var wrong asked.Wrong
		if _, _, err := Typed(bad, now, loc); !errors.As(err, &wrong) {
			t.Errorf("%q is taken, %v", bad, err)
		}
	}
}
