package logbook

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// A cure that began yesterday is read with yesterday's bath temperatures: as of now
// the readings are those of the bench itself.
func TestAsOfHasTheReadings(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	h.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "1")
	h.do(time.Hour, action.BathReading{Bath: 1, TempC: 74})
	h.do(time.Hour, action.BathReading{Bath: 1, TempC: 60})
	h.do(time.Hour, action.Note{Flask: 1, Text: "x"})
	now := h.ck.Read().Wall
	want := len(h.b.State().Bench.Readings)
	b, err := h.b.AsOf(now)
	if err != nil || len(b.Readings) != want {
		t.Errorf("as of now there are %d readings, want %d (%v)", len(b.Readings), want, err)
	}
	if b, err = h.b.Whole(now, now.Add(time.Hour)); err != nil || len(b.Readings) != want {
		t.Errorf("the next day has %d readings of the cure that runs, want %d (%v)", len(b.Readings), want, err)
	}
}

// Far instants do not overflow: everything lies before the year 9999.
func TestFarInstants(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	recs, err := h.b.Between(time.Time{}, time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC))
	if err != nil || len(recs) != 1 {
		t.Errorf("between the year 1 and the year 9999 lie %d records (%v)", len(recs), err)
	}
	if recs, err = h.b.Between(time.Date(1500, 1, 1, 0, 0, 0, 0, time.UTC), h.ck.Read().Wall.Add(time.Hour)); err != nil || len(recs) != 1 {
		t.Errorf("since the year 1500: %d records (%v)", len(recs), err)
	}
}

// A pipe given as a book is refused, not waited for.
func TestPipeIsNoBook(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { _, err := Open(path, simclock.At(start, "boot-1")); done <- err }()
	select {
	case err := <-done:
		if err == nil {
			t.Error("a pipe was opened as a book")
		}
	case <-time.After(5 * time.Second):
		t.Error("hangs")
	}
}

// What nobody can say is saved is not shown as done.
func TestUnknownIsNotShown(t *testing.T) {
	canInject(t)
	f := diskFault{call: "fdatasync", n: 2, ever: true, errno: "EIO"}
	answers, _, _ := underFault(t, seedBook(t, 40), f)
	for _, s := range answers {
		if s.answer == "unknown" && s.shown {
			t.Errorf("%v: %s was called unknown and is on the bench", f, s.id)
		}
	}
}

// What a killed program left of a book it was making does not stop the next one, even
// where the system gives it the same number (the first process of a container always
// has it).
func TestLeftoverOfMaking(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.db")
	clock := simclock.At(start, "boot-1")
	tmp := fmt.Sprintf("%s.new-%d", path, os.Getpid())
	copyFile(t, seedBook(t, 1), tmp)
	b, err := Open(path, clock)
	if err != nil {
		t.Fatal(err)
	}
	if st := b.State(); st.Head.Seq != 0 {
		t.Errorf("the new book holds %d records of the leftover", st.Head.Seq)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
}
