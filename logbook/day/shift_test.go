package day_test

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/civil"
	"flaskside/logbook/day"
	"flaskside/timers/simclock"
)

// shift is a bench worked by a test, on a clock moved by hand.
type shift struct {
	t     testing.TB
	book  *logbook.Book
	clock *simclock.Hand
	n     int
}

func newShift(t testing.TB, start string, zoneName string) *shift {
	t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", start, zone(t, zoneName))
	if err != nil {
		t.Fatal(err)
	}
	return openShift(t, simclock.At(at, "boot-1"))
}

func openShift(t testing.TB, clock *simclock.Hand) *shift {
	t.Helper()
	b, err := logbook.Open(filepath.Join(t.TempDir(), "bench.db"), clock)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return &shift{t: t, book: b, clock: clock}
}

// do records an action some time after the one before and gives its id.
func (s *shift) do(after time.Duration, body action.Body, why ...string) string {
	s.t.Helper()
	s.clock.Run(after)
	s.n++
	a := action.Action{ID: fmt.Sprintf("a%03d", s.n), At: s.clock.Read().Wall, By: "KT", Body: body}
	if len(why) > 0 {
		a.Why = why[0]
	}
	if _, err := s.book.Append(a); err != nil {
		s.t.Fatalf("%s: %v", body.Kind(), err)
	}
	return a.ID
}

// until lets time pass up to an hour of the clock, on the next day where it has
// gone by.
func (s *shift) until(clock string) time.Duration {
	s.t.Helper()
	now := s.clock.Read().Wall
	h, err := time.Parse("15:04", clock)
	if err != nil {
		s.t.Fatal(err)
	}
	to := time.Date(now.Year(), now.Month(), now.Day(), h.Hour(), h.Minute(), 0, 0, now.Location())
	if to.Before(now) {
		to = to.AddDate(0, 0, 1)
	}
	return to.Sub(now)
}

func (s *shift) fix(of string, set, why string) string {
	s.t.Helper()
	return s.do(0, action.Correct{Of: of, Set: json.RawMessage(set)}, why)
}

// sheet makes the sheet of a date in the zone of the clock.
func (s *shift) sheet(date string) day.Sheet {
	s.t.Helper()
	d, err := time.Parse(time.DateOnly, date)
	if err != nil {
		s.t.Fatal(err)
	}
	from, until := civil.Bounds(d.Year(), d.Month(), d.Day(), s.clock.Read().Wall.Location())
	b, err := day.Gather(s.book, from, until)
	if err != nil {
		s.t.Fatal(err)
	}
	return day.Sheet{Bench: b, Head: s.book.State().Head.String(), From: from, Until: until}
}

const (
	second = time.Second
	minute = time.Minute
)

// trial is one trial closure, judged.
func (s *shift) trial(after time.Duration, flask int, grade action.Grade) (in, at, judged string) {
	s.t.Helper()
	in = s.do(after, action.PressIn{Flask: flask})
	at = s.do(40*second, action.PressAt{Flask: flask})
	s.do(60*second, action.PressOpen{Flask: flask})
	return in, at, s.do(20*second, action.Flash{Flask: flask, Grade: grade})
}

// invented plays an invented day and the morning after: three flasks, two mixes, a
// cure over night, corrections on the day and on the next, a record taken back.
func invented(t testing.TB) *shift {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	s.do(0, action.Crew{Initials: "KT"})
	s.do(0, action.Caution{Hazard: "monomer"})
	open := s.do(minute, action.FlaskOpen{Place: 1, Case: "4471", Base: "upper", Size: "large", Tag: "red 3"})
	s.fix(open, `{"case":"4417"}`, "6")
	s.do(0, action.FlaskOpen{Place: 2, Case: "4420", Base: "lower", Size: "medium"})
	s.do(minute, action.Coat{Flask: 1, Half: "both", Lot: "S-77"})
	s.do(minute, action.Coat{Flask: 2, Half: "both"})
	mix := s.do(11*minute, action.MixMake{Flasks: []int{1, 2}, PowderLot: "P-2031", LiquidLot: "L-118", Resin: "heat-cured", PowderG: 45, LiquidG: 18.8, RoomC: 23, DoughS: 600, WorkS: 2700})
	s.do(10*minute, action.MixDough{Mix: 1})
	s.trial(minute, 1, "heavy")
	_, at, _ := s.trial(minute, 2, "none")
	s.do(minute, action.DoughAdd{Flask: 2})
	_, _, judged := s.trial(minute, 1, "heavy")
	s.do(10*second, action.FlashMore{Flask: 1, Grams: 1.25, Where: []string{"posterior", "labial"}})
	s.trial(minute, 2, "heavy")
	s.fix(judged, `{"grade":"slight"}`, "7")
	s.fix(at, `{"pressure_psi":2500}`, "misread the gauge")
	slip := s.do(5*second, action.Inspect{Flask: 2})
	s.do(5*second, action.TakeBack{Of: slip}, "6")
	s.do(minute, action.SheetOut{Flask: 1})
	s.do(minute, action.MetalToMetal{Flask: 1})
	s.do(minute, action.Clamp{Flask: 1})
	s.do(minute, action.SheetOut{Flask: 2}, "1")
	s.do(minute, action.MetalToMetal{Flask: 2})
	s.do(minute, action.Clamp{Flask: 2})
	s.do(minute, action.Note{Flask: 1, Text: "thick tuberosity on the left: asked the dentist, goes ahead as it is; watch the palate at deflasking"})
	s.do(minute, action.TimerStart{Label: "stone for 4431", Count: "down", AimS: 1800})
	s.do(31*minute, action.TimerStop{Timer: 1})
	s.do(s.until("10:00"), action.BathLoad{Flasks: []int{1}, Programme: "short and boil"})
	s.do(minute, action.BathReading{Bath: 1, TempC: 72.5, Source: "typed"})
	s.do(s.until("13:30"), action.BathUnload{Flasks: []int{1}})
	s.do(20*minute, action.CoolWater{Flasks: []int{1}}, "4")
	s.do(15*minute, action.Deflask{Flasks: []int{1}})
	s.do(5*minute, action.Remount{Flask: 1, PinMM: 0.4})
	s.do(5*minute, action.Outcome{Flask: 1, Outcome: "adjusted", Defects: []string{"open bite"}})
	s.do(s.until("22:00"), action.BathLoad{Flasks: []int{2}, Programme: "long, 9 h"}, "5")
	s.do(s.until("23:15"), action.FlaskOpen{Place: 1, Case: "4431", Base: "partial", Size: "small"})
	s.do(0, action.Coat{Flask: 3, Half: "both"})
	s.do(10*minute, action.MixMake{Flasks: []int{3}, PowderLot: "P-2031", LiquidLot: "L-118", Resin: "heat-cured", PowderG: 22.5, LiquidG: 9.4, RoomC: 23, DoughS: 600, WorkS: 2700})
	s.do(20*minute, action.MixDough{Mix: 2})
	s.trial(s.until("23:55"), 3, "heavy")
	s.trial(s.until("23:59"), 3, "heavy") // into the press on the day, judged on the next
	s.do(2*minute, action.SheetOut{Flask: 3}, "4")
	s.do(minute, action.MetalToMetal{Flask: 3})
	s.do(minute, action.Clamp{Flask: 3})
	s.fix(mix, `{"powder_lot":"P-2013"}`, "7")
	s.do(s.until("07:10"), action.BathUnload{Flasks: []int{2}})
	s.do(30*minute, action.CoolWater{Flasks: []int{2}})
	s.do(15*minute, action.Deflask{Flasks: []int{2}})
	return s
}
