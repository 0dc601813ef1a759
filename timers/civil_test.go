package timers_test

import (
	"fmt"
	"testing"
	"time"

	"flaskside/timers"
	"flaskside/timers/simclock"
)

// Thirteen overnight cures of exactly nine hours, begun at 20:00 by the clock on the
// wall, in nights when the offset changes and in zones where it never does. The
// expected hours are those of the tz database (2025b and 2025c agree); the last
// column is what the same cure would last if the end were set by the face of the
// clock, nine hours on.
func TestOvernightCures(t *testing.T) {
	for _, c := range []struct {
		zone, start, startZ, due, dueZ string
		naive                          time.Duration
	}{
		{"Europe/Berlin", "2026-10-24", "2026-10-24T18:00Z", "2026-10-25 04:00 +01:00", "2026-10-25T03:00Z", 10 * h},
		{"Europe/Berlin", "2026-03-28", "2026-03-28T19:00Z", "2026-03-29 06:00 +02:00", "2026-03-29T04:00Z", 8 * h},
		{"Europe/Berlin", "2027-03-27", "2027-03-27T19:00Z", "2027-03-28 06:00 +02:00", "2027-03-28T04:00Z", 8 * h},
		{"Europe/Dublin", "2026-10-24", "2026-10-24T19:00Z", "2026-10-25 04:00 +00:00", "2026-10-25T04:00Z", 10 * h},
		{"America/Chicago", "2026-10-31", "2026-11-01T01:00Z", "2026-11-01 04:00 -06:00", "2026-11-01T10:00Z", 10 * h},
		{"America/Chicago", "2026-03-07", "2026-03-08T02:00Z", "2026-03-08 06:00 -05:00", "2026-03-08T11:00Z", 8 * h},
		{"America/Chicago", "2027-03-13", "2027-03-14T02:00Z", "2027-03-14 06:00 -05:00", "2027-03-14T11:00Z", 8 * h},
		{"Australia/Lord_Howe", "2026-04-04", "2026-04-04T09:00Z", "2026-04-05 04:30 +10:30", "2026-04-04T18:00Z", 9*h + 30*time.Minute},
		{"Australia/Lord_Howe", "2026-10-03", "2026-10-03T09:30Z", "2026-10-04 05:30 +11:00", "2026-10-03T18:30Z", 8*h + 30*time.Minute},
		{"Antarctica/Troll", "2026-10-24", "2026-10-24T18:00Z", "2026-10-25 03:00 +00:00", "2026-10-25T03:00Z", 11 * h},
		{"Africa/Casablanca", "2026-02-14", "2026-02-14T19:00Z", "2026-02-15 04:00 +00:00", "2026-02-15T04:00Z", 10 * h},
		{"Pacific/Apia", "2011-12-29", "2011-12-30T06:00Z", "2011-12-31 05:00 +14:00", "2011-12-30T15:00Z", -15 * h},
		// The thirteenth stands for the zones without a change of the clock.
		{"Asia/Kolkata", "2026-10-24", "2026-10-24T14:30Z", "2026-10-25 05:00 +05:30", "2026-10-24T23:30Z", 9 * h},
		{"Asia/Tokyo", "2026-10-24", "2026-10-24T11:00Z", "2026-10-25 05:00 +09:00", "2026-10-24T20:00Z", 9 * h},
		{"Asia/Kathmandu", "2026-10-31", "2026-10-31T14:15Z", "2026-11-01 05:00 +05:45", "2026-10-31T23:15Z", 9 * h},
		{"America/Phoenix", "2026-10-31", "2026-11-01T03:00Z", "2026-11-01 05:00 -07:00", "2026-11-01T12:00Z", 9 * h},
		{"America/Sao_Paulo", "2026-10-31", "2026-10-31T23:00Z", "2026-11-01 05:00 -03:00", "2026-11-01T08:00Z", 9 * h},
	} {
		t.Run(fmt.Sprint(c.zone, c.start), func(t *testing.T) {
			loc := zone(t, c.zone)
			start, err := time.ParseInLocation("2006-01-02 15:04", c.start+" 20:00", loc)
			if err != nil {
				t.Fatal(err)
			}
			const z = "2006-01-02T15:04Z"
			if got := start.UTC().Format(z); got != c.startZ {
				t.Fatalf("20:00 is %s, want %s", got, c.startZ)
			}
			face := time.Date(start.Year(), start.Month(), start.Day()+1, 5, 0, 0, 0, loc)
			if got := face.Sub(start); got != c.naive {
				t.Errorf("by the face of the clock it would last %v, want %v", got, c.naive)
			}
			ck := simclock.At(start, "boot-1")
			w := timers.NewWindow("load/1/cure", stamp(ck), timers.Ends{FloorS: 9 * 3600, Floor: timers.Medium, Limit: timers.High})
			check := func(when string) {
				t.Helper()
				st := w.Stand(now(ck))
				if got := st.Due.Format("2006-01-02 15:04 -07:00"); got != c.due {
					t.Errorf("%s: due %s, want %s", when, got, c.due)
				}
				if got := st.Due.UTC().Format(z); got != c.dueZ {
					t.Errorf("%s: due %s, want %s", when, got, c.dueZ)
				}
			}
			check("at the start")
			ck.Run(5 * h)
			check("in the night")
			ck.Sleep(4*h - 1)
			if st := w.Stand(now(ck)); st.Phase != timers.Early || st.Left != 1 {
				t.Errorf("1 ns before: phase %q, left %v", st.Phase, st.Left)
			}
			ck.Run(1)
			if st := w.Stand(now(ck)); st.Phase != timers.Open || !st.Due.Equal(ck.Read().Wall) {
				t.Errorf("at nine hours: phase %q, due %v", st.Phase, st.Due)
			}
			check("at the end")
			// After a restart the wall clock decides, and civil time plays no part.
			ck = simclock.At(start, "boot-1")
			ck.Run(h)
			ck.Reboot(h, "boot-2")
			check("after a restart")
			ck.Run(7*h - 1)
			if st := w.Stand(now(ck)); st.Phase != timers.Early {
				t.Errorf("after a restart, 1 ns before: phase %q", st.Phase)
			}
			ck.Run(1)
			if st := w.Stand(now(ck)); st.Phase != timers.Open {
				t.Errorf("after a restart, at nine hours: phase %q", st.Phase)
			}
		})
	}
}

// The moments of change themselves, tz database: the offset one second before, and
// at the change.
func TestOffsetChanges(t *testing.T) {
	for _, c := range []struct{ zone, utc, before, after string }{
		{"Europe/Berlin", "2026-03-29T01:00:00Z", "+01:00", "+02:00"},
		{"Europe/Berlin", "2026-10-25T01:00:00Z", "+02:00", "+01:00"},
		{"Europe/Berlin", "2027-03-28T01:00:00Z", "+01:00", "+02:00"},
		{"Europe/Berlin", "2027-10-31T01:00:00Z", "+02:00", "+01:00"},
		{"America/Chicago", "2026-03-08T08:00:00Z", "-06:00", "-05:00"},
		{"America/Chicago", "2026-11-01T07:00:00Z", "-05:00", "-06:00"},
		{"America/Chicago", "2027-03-14T08:00:00Z", "-06:00", "-05:00"},
		{"America/Chicago", "2027-11-07T07:00:00Z", "-05:00", "-06:00"},
		{"Australia/Lord_Howe", "2026-04-04T15:00:00Z", "+11:00", "+10:30"},
		{"Australia/Lord_Howe", "2026-10-03T15:30:00Z", "+10:30", "+11:00"},
		{"Australia/Lord_Howe", "2027-04-03T15:00:00Z", "+11:00", "+10:30"},
		{"Australia/Lord_Howe", "2027-10-02T15:30:00Z", "+10:30", "+11:00"},
		{"Africa/Casablanca", "2026-02-15T02:00:00Z", "+01:00", "+00:00"},
		{"Africa/Casablanca", "2026-03-22T02:00:00Z", "+00:00", "+01:00"},
		{"Antarctica/Troll", "2026-03-29T01:00:00Z", "+00:00", "+02:00"},
		{"Antarctica/Troll", "2026-10-25T01:00:00Z", "+02:00", "+00:00"},
	} {
		change, err := time.Parse(time.RFC3339, c.utc)
		if err != nil {
			t.Fatal(err)
		}
		ck := simclock.At(change.Add(-time.Second).In(zone(t, c.zone)), "boot-1")
		w := timers.NewWindow("k", stamp(ck), timers.Ends{FloorS: 2, Floor: timers.Low, Limit: timers.High})
		if got := ck.Read().Wall.Format("-07:00"); got != c.before {
			t.Errorf("%s before %s: %s, want %s", c.zone, c.utc, got, c.before)
		}
		ck.Run(time.Second)
		if got := ck.Read().Wall.Format("-07:00"); got != c.after {
			t.Errorf("%s at %s: %s, want %s", c.zone, c.utc, got, c.after)
		}
		if st := w.Stand(now(ck)); st.Left != time.Second || st.Phase != timers.Early {
			t.Errorf("%s at %s: a window of 2 s has %v left", c.zone, c.utc, st.Left)
		}
	}
}

// Short windows across the hour that comes twice and the hour that never comes: the
// face of the clock shows the tz database's time, the length stays what it is.
func TestRepeatedAndMissingHours(t *testing.T) {
	for _, c := range []struct {
		name, zone, startZ string
		startFace          string
		minutes            int
		due                string
	}{
		{"ends in the first pass of the repeated hour", "Europe/Berlin", "2026-10-24T23:50:00Z", "01:50 CEST", 50, "02:40 CEST"},
		{"ends in the second pass", "Europe/Berlin", "2026-10-24T23:50:00Z", "01:50 CEST", 90, "02:20 CET"},
		{"begins in the first pass, ends at the same face in the second", "Europe/Berlin", "2026-10-25T00:30:00Z", "02:30 CEST", 60, "02:30 CET"},
		{"begins in the second pass", "Europe/Berlin", "2026-10-25T01:30:00Z", "02:30 CET", 45, "03:15 CET"},
		{"across the missing hour", "Europe/Berlin", "2026-03-29T00:50:00Z", "01:50 CET", 30, "03:20 CEST"},
		{"ends at the first moment after the missing hour", "Europe/Berlin", "2026-03-29T00:50:00Z", "01:50 CET", 10, "03:00 CEST"},
		{"repeated half hour", "Australia/Lord_Howe", "2026-04-04T14:45:00Z", "01:45 +11", 30, "01:45 +1030"},
		{"missing half hour", "Australia/Lord_Howe", "2026-10-03T15:20:00Z", "01:50 +1030", 20, "02:40 +11"},
		{"repeated hour in Chicago", "America/Chicago", "2026-11-01T06:40:00Z", "01:40 CDT", 40, "01:20 CST"},
	} {
		t.Run(c.name, func(t *testing.T) {
			start, err := time.Parse(time.RFC3339, c.startZ)
			if err != nil {
				t.Fatal(err)
			}
			ck := simclock.At(start.In(zone(t, c.zone)), "boot-1")
			if got := ck.Read().Wall.Format("15:04 MST"); got != c.startFace {
				t.Fatalf("begins at %s, want %s", got, c.startFace)
			}
			w := timers.NewWindow("k", stamp(ck), timers.Ends{FloorS: c.minutes * 60, Floor: timers.Low, Limit: timers.High})
			if got := w.Stand(now(ck)).Due.Format("15:04 MST"); got != c.due {
				t.Errorf("due %s, want %s", got, c.due)
			}
			ck.Run(time.Duration(c.minutes)*time.Minute - 1)
			if w.Stand(now(ck)).Phase != timers.Early {
				t.Error("done early")
			}
			ck.Run(1)
			if st := w.Stand(now(ck)); st.Phase != timers.Open || st.For != time.Duration(c.minutes)*time.Minute {
				t.Errorf("at the end: phase %q after %v", st.Phase, st.For)
			}
		})
	}
}
