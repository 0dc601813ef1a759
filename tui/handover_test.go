package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// TestTakenOver: the next shift reads what runs, what fell due and what comes, and
// acknowledges it with initials, in the book, with number-pad keys only.
func TestTakenOver(t *testing.T) {
	d := demoDesk(t, 80, 24, 62*time.Minute)
	d.record(action.TimerStart{Label: "stone", Count: "down", AimS: 60})
	d.wait(2 * time.Minute)
	h := d.book.State().Bench.House
	h.Crew = []string{"KT", "MB"}
	d.record(action.Settings{House: h})
	d.press("1 * *")
	d.sees("presses +", "fell due, and waits for a hand", "STONE", "today and tonight", "CURING TIME IS UP", "+  taken over")
	d.press("+")
	d.sees("1 KT", "2 MB")
	d.press("2")
	if b := d.book.State().Bench; b.Crew != "MB" || !b.TookOver {
		t.Errorf("at the bench is %q, taken over %v, want MB", b.Crew, b.TookOver)
	}
	d.sees("read and taken over by MB")
	if strings.Contains(d.screen(), "fell due, and waits") {
		t.Errorf("what was handed over fell due before:\n%s", d.screen())
	}
	d.press("*")
	if !d.m.atHome() {
		t.Errorf("* does not leave the handover:\n%s", d.screen())
	}
}

// TestHandoverOnStart: whoever starts the bench after a while is told first; after a
// short break it is the same hands.
func TestHandoverOnStart(t *testing.T) {
	for away, want := range map[time.Duration]string{longAway - time.Minute: "*tui.benchPage", longAway: "*tui.handoverPage"} {
		d := newDesk(t, 80, 24)
		d.record(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
		if err := d.book.Beat(); err != nil {
			t.Fatal(err)
		}
		if err := d.book.Close(); err != nil {
			t.Fatal(err)
		}
		d.ck.Run(away)
		d.openBook()
		if got := fmt.Sprintf("%T", d.m.page); got != want {
			t.Errorf("after %s the page is %s, want %s", away, got, want)
		}
	}
	// What fell due comes first, then the handover.
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.press("enter 1")
	d.at(1, bench.Drying)
	if err := d.book.Beat(); err != nil {
		t.Fatal(err)
	}
	if err := d.book.Close(); err != nil {
		t.Fatal(err)
	}
	d.ck.Run(time.Hour)
	d.openBook()
	d.sees("While the program was closed")
	d.press("enter")
	d.sees("handover", "fell due")
	d.press("+ 1")
	d.sees("read and taken over by KT")
}
