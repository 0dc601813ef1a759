package bench_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Whatever way an action comes in, somebody whom the settings name records by it only what they may at a screen. Held to nothing
// are those whom the settings do not name, a line that names nobody, what the bench records itself, a signing on, and
// what was done before the settings were made.
func TestRolesHoldForEveryLine(t *testing.T) {
	boot := timers.Reading{Wall: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), Boot: time.Hour, BootID: "boot-1"}
	var recs []record.Record
	at := func(minutes int) (timers.Reading, time.Time) {
		r, by := boot, time.Duration(minutes)*time.Minute
		r.Wall, r.Boot, r.Mono = r.Wall.Add(by), r.Boot+by, r.Mono+by
		return r, r.Wall
	}
	check := func(a action.Action, minutes int) (action.Action, error) {
		r, _ := at(minutes)
		return bench.Fold(recs, bench.Counters{}).Check(a, timers.StampAt(a.At, r), timers.Now{Reading: r})
	}
	do := func(id, by string, minutes int, body action.Body) {
		t.Helper()
		r, wall := at(minutes)
		a, err := check(action.Action{ID: id, At: wall, By: by, Body: body}, minutes)
		if err != nil {
			t.Fatal(err)
		}
		seq, prev := uint64(1), record.Hash{}
		if n := len(recs); n > 0 {
			seq, prev = recs[n-1].Seq+1, recs[n-1].Hash()
		}
		rec, err := record.Write(seq, prev, r, timers.StampAt(wall, r), a)
		if err != nil {
			t.Fatal(err)
		}
		recs = append(recs, rec)
	}
	h := house.Default()
	h.People = []house.Person{{By: "LL", Role: "lead"}, {By: "KT", Role: "work"}, {By: "SV", Role: "see"}, {By: "HM", Role: "work", Away: true}}
	do("flask", "MB", 0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "large"})
	do("people", "LL", 10, action.Settings{House: h, From: "typed"})
	do("own", "kt", 11, action.TimerStart{Label: "soak", Count: "down", AimS: 60})
	do("other", "MB", 12, action.TimerStart{Label: "plaster", Count: "down", AimS: 60})
	alarm := bench.Fold(recs, bench.Counters{})
	now, _ := at(20)
	key := alarm.Alarms(timers.Now{Reading: now})[0].Key
	set := json.RawMessage(`{"label":"wax"}`)
	for _, c := range []struct {
		by, refused string
		minutes     int
		body        action.Body
	}{
		{"KT", "", 20, action.TimerStart{Label: "soak", Count: "up"}},
		{"KT", "", 20, action.Correct{Of: "own", Set: set}},
		{"KT", "", 20, action.TakeBack{Of: "own"}},
		{"KT", "that record is by MB: only a lead may", 20, action.Correct{Of: "other", Set: set}},
		{"KT", "that record is by MB: only a lead may", 20, action.TakeBack{Of: "other"}},
		{"kt", "that record is by MB: only a lead may", 20, action.TakeBack{Of: "other"}},
		{"Kt ", "KT works at the bench; changing the settings is for a lead", 20, action.Settings{House: house.Default(), From: "typed"}},
		{"kt", "", 20, action.TakeBack{Of: "own"}},
		{"LL", "", 20, action.Correct{Of: "other", Set: set}},
		{"LL", "", 20, action.TakeBack{Of: "other"}},
		{"KT", "KT works at the bench; changing the settings is for a lead", 20, action.Settings{House: house.Default(), From: "typed"}},
		{"LL", "", 20, action.Settings{House: house.Default(), From: "typed"}},
		{"SV", "SV looks on and records nothing", 20, action.TimerStart{Label: "soak", Count: "up"}},
		{"SV", "", 20, action.Crew{Initials: "SV"}},
		{"SV", "", 20, action.Screen{What: action.Joined, Role: "see"}},
		{"HM", "HM is away from the bench", 20, action.AlarmHeard{Alarm: key}},
		{"KT", "", 20, action.AlarmHeard{Alarm: key}},
		{"XX", "", 20, action.Settings{House: house.Default(), From: "typed"}},
		{"", "", 20, action.Settings{House: house.Default(), From: "typed"}},
		{"KT", "", 5, action.Settings{House: house.Default(), From: "typed"}},
		{"SV", "", 5, action.TimerStart{Label: "soak", Count: "up"}},
	} {
		_, wall := at(c.minutes)
		_, err := check(action.Action{ID: "x", At: wall, By: c.by, Body: c.body, Why: "1"}, 20)
		if (err == nil) != (c.refused == "") || err != nil && !strings.HasPrefix(err.Error(), c.refused) {
			t.Errorf("%s of %q at minute %d: %v, want %q", c.body.Kind(), c.by, c.minutes, err, c.refused)
		}
	}
	before := recs
	do("ahead", "LL", 100000, action.Settings{House: h, From: "typed"}) // by a clock that stands wrong, before a restart
	boot.BootID = "boot-2"
	if _, err := check(action.Action{ID: "x", At: now.Wall, By: "KT", Body: action.TakeBack{Of: "other"}}, 20); err == nil {
		t.Error("settings made by a clock that stood ahead hold nobody")
	}
	recs = before[:1] // a house without roles
	if _, err := check(action.Action{ID: "x", At: now.Wall, By: "KT", Body: action.TakeBack{Of: "flask"}}, 20); err != nil {
		t.Errorf("without roles: %v", fmt.Sprint(err))
	}
}
