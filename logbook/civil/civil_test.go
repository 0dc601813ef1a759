package civil_test

import (
	"testing"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"

	"flaskside/logbook/civil"
)

func zone(t rapid.TB, name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// TestBounds holds days against the transitions of the tz database (2025b, read
// with zdump): ordinary days, days with the clocks changed by an hour, by half an
// hour and by two, days without midnight, with midnight twice, and a date that
// never was.
func TestBounds(t *testing.T) {
	for _, c := range []struct{ zone, date, from, until string }{
		{"UTC", "2026-11-25", "2026-11-25T00:00:00Z", "2026-11-26T00:00:00Z"},
		{"Europe/Berlin", "2026-11-25", "2026-11-25T00:00:00+01:00", "2026-11-26T00:00:00+01:00"},
		{"Europe/Berlin", "2026-03-29", "2026-03-29T00:00:00+01:00", "2026-03-30T00:00:00+02:00"},       // 23 h, changes 2026-03-29T01:00Z
		{"Europe/Berlin", "2026-10-25", "2026-10-25T00:00:00+02:00", "2026-10-26T00:00:00+01:00"},       // 25 h, changes 2026-10-25T01:00Z
		{"America/Chicago", "2026-03-08", "2026-03-08T00:00:00-06:00", "2026-03-09T00:00:00-05:00"},     // 23 h, 08:00Z
		{"America/Chicago", "2026-11-01", "2026-11-01T00:00:00-05:00", "2026-11-02T00:00:00-06:00"},     // 25 h, 07:00Z
		{"Australia/Lord_Howe", "2026-04-05", "2026-04-05T00:00:00+11:00", "2026-04-06T00:00:00+10:30"}, // 24 h 30, 2026-04-04T15:00Z
		{"Australia/Lord_Howe", "2026-10-04", "2026-10-04T00:00:00+10:30", "2026-10-05T00:00:00+11:00"}, // 23 h 30, 2026-10-03T15:30Z
		{"Antarctica/Troll", "2026-03-29", "2026-03-29T00:00:00+00:00", "2026-03-30T00:00:00+02:00"},    // 22 h
		{"Antarctica/Troll", "2026-10-25", "2026-10-25T00:00:00+02:00", "2026-10-26T00:00:00+00:00"},    // 26 h
		{"Africa/Casablanca", "2026-02-15", "2026-02-15T00:00:00+01:00", "2026-02-16T00:00:00+00:00"},   // Ramadan, 02:00Z
		{"Africa/Casablanca", "2026-03-22", "2026-03-22T00:00:00+00:00", "2026-03-23T00:00:00+01:00"},
		{"Asia/Kathmandu", "2026-10-24", "2026-10-24T00:00:00+05:45", "2026-10-25T00:00:00+05:45"},
		{"America/Santiago", "2024-09-08", "2024-09-08T01:00:00-03:00", "2024-09-09T00:00:00-03:00"},  // no midnight: 00:00 is 01:00
		{"America/Sao_Paulo", "2018-11-04", "2018-11-04T01:00:00-02:00", "2018-11-05T00:00:00-02:00"}, // the same
		{"Africa/Cairo", "2024-04-26", "2024-04-26T01:00:00+03:00", "2024-04-27T00:00:00+03:00"},      // the same
		{"America/Santiago", "2024-04-06", "2024-04-06T00:00:00-03:00", "2024-04-07T00:00:00-04:00"},  // 24:00 is 23:00 again
		{"Atlantic/Azores", "2026-10-25", "2026-10-25T00:00:00+00:00", "2026-10-26T00:00:00-01:00"},   // midnight twice: the first counts
		{"America/Havana", "2024-11-03", "2024-11-03T00:00:00-04:00", "2024-11-04T00:00:00-05:00"},    // the same
		{"America/St_Johns", "2010-11-07", "2010-11-07T00:00:00-02:30", "2010-11-08T00:00:00-03:30"},  // 00:01 is 23:01 of the day before
		{"Pacific/Apia", "2011-12-29", "2011-12-29T00:00:00-10:00", "2011-12-31T00:00:00+14:00"},      // the 30th was left out
		{"Pacific/Apia", "2011-12-30", "2011-12-31T00:00:00+14:00", "2011-12-31T00:00:00+14:00"},
	} {
		d, err := time.Parse(time.DateOnly, c.date)
		if err != nil {
			t.Fatal(err)
		}
		from, until := civil.Bounds(d.Year(), d.Month(), d.Day(), zone(t, c.zone))
		for _, x := range []struct {
			what string
			got  time.Time
			want string
		}{{"begins", from, c.from}, {"ends", until, c.until}} {
			want, err := time.Parse(time.RFC3339, x.want)
			if err != nil {
				t.Fatal(err)
			}
			if !x.got.Equal(want) {
				t.Errorf("%s in %s %s at %s, want %s", c.date, c.zone, x.what, x.got.Format(time.RFC3339), x.want)
			}
		}
	}
}

// TestDaysTile checks for any date in any of these zones that days follow on one
// another and that every instant lies in the day found for it.
func TestDaysTile(t *testing.T) {
	zones := []string{"Europe/Berlin", "America/Chicago", "Australia/Lord_Howe", "Antarctica/Troll", "Africa/Casablanca", "Pacific/Apia", "America/Sao_Paulo",
		"America/Santiago", "Atlantic/Azores", "America/Havana", "America/St_Johns", "Asia/Kathmandu", "Asia/Kolkata", "UTC", "Pacific/Kiritimati", "Asia/Beirut"}
	rapid.Check(t, func(t *rapid.T) {
		loc := zone(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		at := time.Unix(rapid.Int64Range(631152000, 4102444800).Draw(t, "at"), 0).In(loc) // 1990 to 2100
		from, until := civil.OfInstant(at, loc)
		if at.Before(from) || !at.Before(until) {
			t.Fatalf("%s is not in its day, %s to %s", at, from, until)
		}
		y, m, d := from.Date()
		if f, u := civil.Bounds(y, m, d, loc); !f.Equal(from) || !u.Equal(until) {
			t.Fatalf("the day of %s is %s to %s by its date and %s to %s by the instant", at, f, u, from, until)
		}
		if next, _ := civil.OfInstant(until, loc); !next.Equal(until) {
			t.Fatalf("the day after %s begins at %s, not at %s", at, next, until)
		}
		if before, end := civil.OfInstant(from.Add(-1), loc); !end.Equal(from) || !before.Before(from) {
			t.Fatalf("the day before %s ends at %s, not at %s", at, end, from)
		}
		if long := until.Sub(from); long < 22*time.Hour || long > 49*time.Hour {
			t.Fatalf("the day of %s has %s", at, long)
		}
	})
}
