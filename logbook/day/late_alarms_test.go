package day_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/day"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// An alarm that was over before anything of it was written down could sound at no open
// bench: it is told as worked out, not as one that rang and was not acknowledged. Typed as
// they are done, the same steps rang.
func TestAlarmsThatNoBenchCouldSoundAreWorkedOut(t *testing.T) {
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	made := at.Add(6 * time.Hour)
	for _, typedLate := range []bool{true, false} {
		var recs []record.Record
		do := func(after time.Duration, body action.Body) {
			at = at.Add(after)
			wrote := at
			if typedLate {
				wrote = made
			}
			a := action.Action{ID: fmt.Sprint("a", len(recs)), At: at, By: "KT", Body: body, Why: "5"}
			recs = append(recs, record.Record{Seq: uint64(len(recs) + 1), Written: wrote, Stamp: timers.Stamp{At: at}, Action: a})
		}
		at = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
		do(0, action.FlaskOpen{Flask: 1, Place: 1, Case: "4417", Base: "upper", Size: "large"})
		do(time.Minute, action.Coat{Flask: 1, Half: "both", DryMinS: 600})
		do(20*time.Minute, action.PressIn{Flask: 1, Press: 1})
		do(time.Minute, action.PressAt{Flask: 1, PressurePSI: 3000, HoldS: 60})
		do(5*time.Minute, action.PressOpen{Flask: 1})
		s := day.Sheet{Bench: bench.Fold(recs, bench.Counters{}), From: at.Truncate(24 * time.Hour), Until: at.Truncate(24 * time.Hour).Add(24 * time.Hour), Made: made.Add(time.Minute)}
		answers := cells(t, s, "alarms", "answer")
		text := string(written(t, s.Text))
		want := "cleared by the next step"
		if typedLate {
			want = "worked out"
		}
		if len(answers) != 2 || slices.ContainsFunc(answers, func(a string) bool { return a != want }) {
			t.Errorf("typed late %v: answers %q", typedLate, answers)
		}
		if strings.Contains(text, "worked out") != typedLate {
			t.Errorf("typed late %v:\n%s", typedLate, text)
		}
	}
}
