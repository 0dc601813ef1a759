package tui

import (
	"testing"
	"time"

	"flaskside/logbook/action"
)

// A screen begins with what the most urgent alarm names, not with the first place.
func TestAScreenBeginsWithWhatTheAlarmNames(t *testing.T) {
	for _, c := range []struct {
		name  string
		rings []int // the places whose separator is dry, the first one first
		own   bool  // a timer of one's own, which names no place, is more urgent
		heard bool  // the alarms are answered
		want  int
	}{
		{"no alarm", nil, false, false, 1},
		{"the second place", []int{2}, false, false, 2},
		{"the third before the second", []int{3, 2}, false, false, 3},
		{"a timer and the second place", []int{2}, true, false, 2},
		{"a timer alone", nil, true, false, 1},
		{"answered", []int{2}, false, true, 1},
	} {
		d := newDesk(t, 80, 24)
		for place := 1; place <= 3; place++ {
			d.openFlask(place, "441"+string(rune('0'+place)), 1, 1)
		}
		for _, place := range c.rings {
			d.record(action.Coat{Flask: d.flask(place).No, Half: action.Both})
			d.wait(time.Minute)
		}
		if c.own {
			d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 60})
		}
		d.wait(15 * time.Minute)
		if c.heard {
			d.press(".")
		}
		if err := d.book.Close(); err != nil {
			t.Fatal(err)
		}
		d.openBook()
		d.press("enter") // what fell due is read
		if d.m.sel != c.want || d.m.off != 0 {
			t.Errorf("%s: place %d is selected, want %d:\n%s", c.name, d.m.sel, c.want, d.screen())
		}
	}
}

// A timer that was stopped is named as it stood on the screen: its number stands nowhere.
func TestAStoppedTimerIsNamed(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("+ 3 5 1 30 enter")
	d.press("+ 3 2")
	d.sees("timer stopped: repair")
}

// The command that a flask's page names has the logbook that the bench is on.
func TestBookFlag(t *testing.T) {
	for file, want := range map[string]string{
		"":                      "",
		"/srv/bench.db":         " --book /srv/bench.db",
		`C:\bench\b-1.db`:       ` --book C:\bench\b-1.db`,
		"/srv/bench 1.db":       " --book '/srv/bench 1.db'",
		"/srv/$HOME's;\x1b[.db": ` --book '/srv/$HOME'\''s;[.db'`,
	} {
		if got := bookFlag(file); got != want {
			t.Errorf("%q: %q, want %q", file, got, want)
		}
	}
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 1)
	for range 40 {
		d.record(action.Note{Flask: 1, Text: "thin at the tuber"})
	}
	d.press("*")
	d.sees("flaskside day --flask 1")
	d.m.book = "/srv/other.db"
	d.sees("--flask 1 --book /srv/other.db")
}

// A bare 3 is three in the afternoon where nobody is there at night, and what was understood is seen before it counts.
func TestABareHourIsTheAfternoons(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("c + 4417 enter 1 1 2 1 3 enter") // upper, packed, medium, today
	d.sees("15:00", "rush?")
	d.press("1")
	d.sees("due Wed 25 Nov 2026 15:00")
}

// A clock that was put back while the program was closed is told at the start, though the computer ran on and the
// timers know better.
func TestAClockPutBackMeanwhileIsTold(t *testing.T) {
	for by, told := range map[time.Duration]bool{-2 * time.Hour: true, -time.Second: false, 0: false} {
		d := newDesk(t, 80, 24)
		d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 3600})
		if err := d.book.Close(); err != nil {
			t.Fatal(err)
		}
		d.ck.Step(by)
		d.openBook()
		if _, page := d.m.page.(*awayPage); page != told {
			t.Errorf("%v: %v\n%s", by, page, d.screen())
		}
		if told {
			d.sees("CHECK THE TIME")
		}
	}
}
