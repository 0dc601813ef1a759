package civil

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

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

// Whatever is typed for a day is a day of that zone or refused: it has a beginning before its
// end, 20 to 28 hours apart (clock changes of the tz database since 1990 but those across the
// date line), and holds the noon it is named after.
func TestAnythingTypedForADay(t *testing.T) {
	zones := []string{"Europe/Berlin", "America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe", "Pacific/Apia", "UTC"}
	rapid.Check(t, func(rt *rapid.T) {
		loc, err := TypedZone(rapid.SampledFrom(zones).Draw(rt, "zone"))
		if err != nil {
			rt.Fatal(err)
		}
		now := time.Unix(rapid.Int64Range(631152000, 4102444800).Draw(rt, "now"), 0)
		date := rapid.Custom(func(rt *rapid.T) string {
			return time.Unix(rapid.Int64Range(0, 9e9).Draw(rt, "day"), 0).UTC().Format(time.DateOnly)
		})
		word := rapid.OneOf(date, rapid.SampledFrom([]string{"today", "yesterday", "", "tomorrow"}), rapid.StringMatching(`[0-9-]{0,12}`)).Draw(rt, "word")
		from, until, err := Typed(word, now, loc)
		if err != nil {
			return
		}
		if d := until.Sub(from); d < 20*time.Hour || d > 28*time.Hour {
			rt.Fatalf("%q in %s lasts %v", word, loc, d)
		}
		noon := from.Add(12 * time.Hour).In(loc).Format(time.DateOnly)
		if word != "today" && word != "yesterday" && noon != word {
			rt.Fatalf("%q in %s is %s", word, loc, noon)
		}
		if word == "today" && (now.Before(from) || !now.Before(until)) || word == "yesterday" && !until.Before(now.Add(time.Second)) {
			rt.Fatalf("%s seen from %v is %v to %v", word, now, from, until)
		}
	})
}
