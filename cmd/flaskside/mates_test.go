package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// The trend of a finished flask is its own, also while its bath-mates are still at work:
// the bench then knows of it only that it was in their bath.
func TestTrendOfAFinishedFlaskWithMatesAtWork(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mates.db")
	at := time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)
	var as []action.Action
	do := func(after time.Duration, body action.Body) {
		at = at.Add(after)
		as = append(as, action.Action{ID: fmt.Sprint("m", len(as)), At: at, By: "KT", Body: body, Why: "8"})
	}
	for f := 1; f <= 2; f++ {
		do(time.Minute, action.FlaskOpen{Place: f, Case: fmt.Sprint(4000 + f), Base: "upper", Size: "large"})
		for range 2 {
			do(time.Minute, action.PressIn{Flask: f})
			do(30*time.Second, action.PressAt{Flask: f})
			do(time.Minute, action.PressOpen{Flask: f})
			do(20*time.Second, action.Flash{Flask: f, Grade: "heavy"})
		}
	}
	do(time.Minute, action.BathLoad{Flasks: []int{1, 2}, Programme: "long, 9 h"})
	do(9*time.Hour, action.BathUnload{Flasks: []int{1}})
	do(time.Hour, action.Outcome{Flask: 1, Outcome: "remake"})
	for range 80 {
		do(time.Minute, action.Note{Flask: 2, Text: "looked at"})
	}
	book, err := logbook.Open(path, simclock.At(at.Add(time.Hour), "boot-1"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := book.AppendAll(as); err != nil {
		t.Fatal(err)
	}
	if f := book.State().Bench.Flasks[1]; f == nil || f.Case != "?" {
		t.Fatal("flask 1 is not a stub of the living bench: the test shows nothing")
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	out, _, err := says(t, t.Context(), "trend", "--book", path, "1")
	if err != nil || !strings.Contains(out, "4001") || !strings.Contains(out, "large") || strings.Contains(out, "none yet") {
		t.Errorf("%v\n%s", err, out)
	}
}
