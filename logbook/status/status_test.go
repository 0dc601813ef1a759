package status_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/clipperhouse/displaywidth"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/status"
	"flaskside/timers/simclock"
)

type shift struct {
	t     *testing.T
	book  *logbook.Book
	clock *simclock.Hand
	n     int
}

func newShift(t *testing.T) *shift {
	t.Helper()
	clock := simclock.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("CET", 3600)), "boot-1")
	b, err := logbook.Open(filepath.Join(t.TempDir(), "bench.db"), clock)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return &shift{t: t, book: b, clock: clock}
}

func (s *shift) do(after time.Duration, body action.Body) {
	s.t.Helper()
	s.clock.Run(after)
	s.n++
	a := action.Action{ID: fmt.Sprintf("a%03d", s.n), At: s.clock.Read().Wall, By: "KT", Body: body, Why: "8"}
	if _, err := s.book.Append(a); err != nil {
		s.t.Fatalf("%s: %v", body.Kind(), err)
	}
}

func (s *shift) now() status.Status { return status.Of(s.book.State(), s.book.Now()) }

func text(t *testing.T, s status.Status) string {
	t.Helper()
	var b bytes.Buffer
	if err := s.Text(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestStatus follows one flask in the press, one in the bath and two timers.
func TestStatus(t *testing.T) {
	s := newShift(t)
	if got := text(t, s.now()); !strings.Contains(got, "No flask is at work.") {
		t.Errorf("an empty bench reads\n%s", got)
	}
	if b, err := json.Marshal(s.now()); err != nil || !strings.Contains(string(b), `"places":[],"windows":[],"alarms":[]`) {
		t.Errorf("an empty bench is %s, %v", b, err)
	}
	s.do(0, action.Crew{Initials: "KT"})
	s.do(0, action.FlaskOpen{Place: 3, Case: "4417", Base: "upper", Size: "large", Tag: "red 3"})
	s.do(0, action.FlaskOpen{Place: 1, Case: "4420", Base: "lower", Size: "small"})
	s.do(0, action.BathLoad{Flasks: []int{2}, Programme: "long, 9 h"})
	s.do(0, action.Coat{Flask: 1, Half: "both"})
	s.do(12*time.Minute, action.MixMake{Flasks: []int{1}, Resin: "heat-cured", PowderG: 22.5, LiquidG: 9.4, DoughS: 600, WorkS: 2700})
	s.do(11*time.Minute, action.MixDough{Mix: 1})
	s.do(0, action.TimerStart{Label: "stone", Count: "up"})
	s.do(0, action.TimerStart{Label: "tea", Count: "down", AimS: 30})
	s.do(0, action.PressIn{Flask: 1})
	s.do(0, action.PressAt{Flask: 1})
	s.do(40*time.Second+time.Millisecond, action.AlarmShelve{Alarm: "timer/2/own#not before", ForS: 300})
	s.do(0, action.Caution{Hazard: "press"})

	got := s.now()
	if len(got.Places) != 2 || got.Places[0].Place != 1 || got.Places[1].Place != 3 {
		t.Fatalf("the places are %+v", got.Places)
	}
	want := status.Place{Place: 3, Where: "place 3", Flask: 1, Case: "4417", Base: "upper", Size: "large", Tag: "red 3", Stage: "at pressure", Next: "open", Trials: 1, Mix: 1, MixLetter: "A"}
	if got.Places[1] != want {
		t.Errorf("place 3 is %+v, want %+v", got.Places[1], want)
	}
	if p := got.Places[0]; p.Stage != "in the bath" || p.Next != "unload" || p.Load != 1 {
		t.Errorf("place 1 is %+v", p)
	}
	var order []string
	for _, w := range got.Windows {
		if w.What == "dough" { // what its model says is tested there
			order = append(order, "dough "+w.Phase)
			continue
		}
		order = append(order, fmt.Sprintf("%s %s%s %d", w.What, w.Label, w.Next, w.LeftS))
	}
	// The count-down is over since 10 s. The hold has 60 s, of which 40.001 are gone:
	// 20 s are left, rounded up.
	if got, want := strings.Join(order, "; "), "timer tea -10; press hold not before 20; dough open; cure not before 30980; timer stone -40"; got != want {
		t.Errorf("the windows are\n%s, want\n%s", got, want)
	}
	for _, w := range got.Windows {
		if off := w.Due.Sub(got.At) - time.Duration(w.LeftS)*time.Second; w.Next != "" && (off > 0 || off <= -time.Second) {
			t.Errorf("%s is due %s and has %d s left at %s", w.What, w.Due, w.LeftS, got.At)
		}
	}
	if len(got.Alarms) != 1 || got.Alarms[0].State != "shelved" || got.Alarms[0].Priority != "medium" || got.Alarms[0].BackS != 300 || got.Alarms[0].Label != "tea" {
		t.Errorf("the alarms are %+v", got.Alarms)
	}
	s.clock.Run(20 * time.Second)
	if got := s.now(); len(got.Alarms) != 2 || got.Alarms[0].State != "unacknowledged" || got.Alarms[0].What != "press hold" || got.Alarms[0].End != "not before" {
		t.Errorf("after the hold the alarms are %+v", got.Alarms)
	}
	for _, want := range []string{
		"Wed 25 Nov 2026 08:24:00 +01:00   at the bench: KT",
		"3  case 4417   upper, large   tag red 3   flask 1\n   at pressure; trial 1; mix A; next: open the press\n",
		"1  case 4420   lower, small   flask 2\n   in the bath; load 1; next: out of the bath\n",
		"  medium  hold time is up, 4417 (place 3)\n          not acknowledged, since 08:24:00\n",
		"  medium  tea: time is up\n          snoozed, since 08:23:30, back in 4 min 40 s\n",
		"  8 h 36 min left    curing, 4420 (place 1): not before 17:00:00\n",
		"  1 min so far       stone\n",
	} {
		if got := text(t, s.now()); !strings.Contains(got, want) {
			t.Errorf("the text does not say\n%s\nbut\n%s", want, got)
		}
	}
}

// TestRestart marks as estimated what rests on the wall clock alone.
func TestRestart(t *testing.T) {
	s := newShift(t)
	s.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	s.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"})
	s.clock.Run(time.Hour)
	before := s.book.Now()
	s.clock.Reboot(time.Hour, "boot-2")
	got := s.now()
	if w := got.Windows[0]; !w.Estimated || w.LeftS != 7*3600 {
		t.Errorf("after a restart the cure is %+v", w)
	}
	if !strings.Contains(text(t, got), "about 7 h left") {
		t.Errorf("after a restart the text is\n%s", text(t, got))
	}
	// Looked at from now, the hour before the restart lies in another boot.
	then := status.AsOf(before.Wall, s.clock.Read())
	if w := status.Of(s.book.State(), then).Windows[0]; !w.Estimated || w.LeftS != 8*3600 {
		t.Errorf("as of then the cure is %+v", w)
	}
}

// TestAsOf looks back within one boot, where the boot clock decides.
func TestAsOf(t *testing.T) {
	s := newShift(t)
	s.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	s.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"})
	then := s.clock.Read().Wall.Add(2 * time.Hour)
	s.clock.Run(5 * time.Hour)
	got := status.Of(s.book.State(), status.AsOf(then.UTC(), s.clock.Read()))
	if w := got.Windows[0]; w.Estimated || w.LeftS != 7*3600 {
		t.Errorf("as of then the cure is %+v", w)
	}
	if got.At.Format(time.RFC3339) != "2026-11-25T10:00:00+01:00" {
		t.Errorf("as of then it is %s", got.At.Format(time.RFC3339))
	}
}

// TestWidth keeps every line in 80 columns, whatever stands in a case number.
func TestWidth(t *testing.T) {
	s := newShift(t)
	for p := 1; p <= 9; p++ {
		s.do(0, action.FlaskOpen{Place: p, Case: strings.Repeat("歯", 24), Base: "partial", Size: "medium", Tag: strings.Repeat("ö", 24)})
	}
	for range 3 {
		s.do(0, action.TimerStart{Label: strings.Repeat("時", 40), Count: "window", MinS: 86400, AimS: 86401, MaxS: 172800})
	}
	s.do(0, action.Coat{Flask: 1, Half: "both"})
	s.do(26*time.Hour, action.Inspect{Flask: 9})
	for _, line := range strings.Split(text(t, s.now()), "\n") {
		if w := displaywidth.String(line); w > status.Width {
			t.Errorf("%d columns: %s", w, line)
		}
	}
}
