package day_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook"
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

// That the closures will not fit the dough's time gives way to that it is over: of the two
// the sheet tells the later, or both where the first was acknowledged.
func TestShortDoughGivesWayToItsEnd(t *testing.T) {
	for _, heard := range []bool{false, true} {
		s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
		s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "large"})
		s.do(minute, action.Coat{Flask: 1, Half: "both", DryMinS: 600})
		s.do(11*minute, action.MixMake{Flasks: []int{1}, DoughS: 300, WorkS: 2400})
		s.do(37*minute, action.Note{Flask: 1, Text: "the telephone rang"})
		if heard {
			s.do(minute, action.AlarmHeard{Alarm: "flask/1/closures/0#short of dough"})
		}
		s.do(20*minute, action.Note{Flask: 1, Text: "left lying"})
		s.do(minute, action.MixStiff{Mix: 1})
		plain := strings.Join(strings.Fields(string(written(t, s.sheet("2026-11-25").Text))), " ")
		short := strings.Contains(plain, "may not close before the dough is too stiff")
		if !strings.Contains(plain, "mix A: working time is over") || short != heard {
			t.Errorf("acknowledged %v: shortage told %v:\n%s", heard, short, plain)
		}
	}
}

// In a finished flask nothing runs on, and what was not gone on from is not told as set.
func TestNothingRunsOnInAFinishedFlask(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "large"})
	s.do(minute, action.Coat{Flask: 1, Half: "both", DryMinS: 600})
	s.do(30*minute, action.Outcome{Flask: 1, Outcome: "remake", Defects: []string{"fracture"}}, "1")
	sheet := s.sheet("2026-11-25")
	plain := strings.Join(strings.Fields(string(written(t, sheet.Text))), " ")
	for name, form := range map[string]string{"text": plain, "html": selfContained(t, written(t, sheet.HTML))} {
		if strings.Contains(form, "running") || strings.Contains(form, "as set") || !strings.Contains(form, "ended with the flask") {
			t.Errorf("%s:\n%s", name, form)
		}
	}
}

// A clock that was moved between the start of a timer and its end changes nothing of what rang: by the wall clock
// alone the sheet lost an alarm that was answered, or told one that was to come, or one as new that was old.
func TestAMovedClockChangesNoAlarm(t *testing.T) {
	heard := func(s *shift, after time.Duration, timer string) {
		s.t.Helper()
		s.do(after, action.AlarmHeard{Alarm: "timer/" + timer + "/own#not before"})
	}
	text := func(s *shift, date string) string {
		s.t.Helper()
		sheet := s.sheet(date)
		sheet.Made = s.clock.Read().Wall
		var b strings.Builder
		if err := sheet.Text(&b); err != nil {
			s.t.Fatal(err)
		}
		return b.String()
	}
	for _, c := range []struct {
		name  string
		do    func(s *shift)
		date  string
		has   []string
		hasnt []string
	}{
		{"back an hour", func(s *shift) {
			s.do(0, action.TimerStart{Label: "repair", Count: "down", AimS: 1800})
			s.clock.Step(-time.Hour)
			heard(s, 31*time.Minute, "1")
		}, "2026-11-25", []string{"repair: time is up", "1 acknowledged", "09:30"}, nil},
		{"back an hour, not over", func(s *shift) {
			s.do(0, action.Coat{Flask: s.opened(), Half: "both"})
			s.clock.Step(-time.Hour)
			s.do(time.Minute, action.Note{Flask: 1, Text: "x"})
		}, "2026-11-25", []string{"not before 09:10"}, []string{"ALARMS", "not before 10:10"}},
		{"forward a quarter of an hour", func(s *shift) {
			s.do(0, action.TimerStart{Label: "repair", Count: "down", AimS: 600})
			s.clock.Step(15 * time.Minute)
			s.do(time.Minute, action.TimerStart{Label: "soak", Count: "up"})
		}, "2026-11-25", nil, []string{"ALARMS"}},
		{"forward a day", func(s *shift) {
			s.do(0, action.TimerStart{Label: "repair", Count: "down", AimS: 600})
			heard(s, 11*time.Minute, "1")
			s.clock.Step(24 * time.Hour)
			s.do(time.Minute, action.TimerStart{Label: "soak", Count: "up"})
		}, "2026-11-26", nil, []string{"repair: time is up"}},
		{"restarted, the clock two hours back", func(s *shift) {
			s.do(0, action.TimerStart{Label: "repair", Count: "down", AimS: 1800})
			s.do(15*time.Minute, action.TimerStart{Label: "soak", Count: "up"})
			path := s.book.Path()
			if err := s.book.Close(); err != nil {
				s.t.Fatal(err)
			}
			s.clock.Reboot(time.Minute, "boot-2")
			s.clock.Step(-2 * time.Hour)
			book, err := logbook.Open(path, s.clock)
			if err != nil {
				s.t.Fatal(err)
			}
			s.t.Cleanup(func() { _ = book.Close() })
			s.book = book
			heard(s, 16*time.Minute, "1")
		}, "2026-11-25", []string{"repair: time is up", "1 acknowledged"}, nil},
	} {
		s := newShift(t, "2026-11-25 10:00", "Europe/Berlin")
		c.do(s)
		got := text(s, c.date)
		for _, want := range c.has {
			if !strings.Contains(got, want) {
				t.Errorf("%s: there is no %q:\n%s", c.name, want, got)
			}
		}
		for _, not := range c.hasnt {
			if strings.Contains(got, not) {
				t.Errorf("%s: it says %q:\n%s", c.name, not, got)
			}
		}
	}
}

// opened opens a flask on the first place and gives its number.
func (s *shift) opened() int {
	s.t.Helper()
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "small"})
	return 1
}

// What happened to the clocks is said as a person would.
func TestClocksInWords(t *testing.T) {
	s := newShift(t, "2026-11-25 10:00", "Europe/Berlin")
	for _, e := range []action.ClockEvent{{What: "clock moved", ByS: -3600}, {What: "clock moved", ByS: 90}, {What: "stood still", ByS: 660}, {What: "slept", ByS: 7200}, {What: "restarted", ByS: 60}, {What: "zone changed", ByS: 3600, Detail: "CET to CEST"}} {
		s.do(time.Minute, e)
	}
	var b strings.Builder
	if err := s.sheet("2026-11-25").Text(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"clock moved back 1 h\n", "clock moved forward 1 min 30 s\n", "the program did not run for 11 min\n", "the computer slept for 2 h\n", "the computer was restarted\n", "zone changed by 1 h: CET to CEST\n"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("there is no %q:\n%s", want, b.String())
		}
	}
}
