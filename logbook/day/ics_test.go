package day_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"

	"flaskside/logbook/action"
	"flaskside/logbook/day"
)

// overnight puts one flask in the bath at 20:00 of a zone for exactly 9 h.
func overnight(t testing.TB, zoneName, date string) (s *shift, load string) {
	s = newShift(t, date+" 19:00", zoneName)
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "small"})
	return s, s.do(time.Hour, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "8")
}

// events reads a calendar back with a parser that is not ours, by start, and checks
// what RFC 5545 asks of any: CR LF and 75 octets at most (section 3.1), UTC times
// (3.3.5), and lengths of time by their grammar without days (3.3.6).
func events(t *testing.T, sheet day.Sheet) []*ics.VEvent {
	t.Helper()
	text := written(t, sheet.ICS)
	if bytes.Count(text, []byte("\n")) != bytes.Count(text, []byte("\r\n")) || !bytes.HasSuffix(text, []byte("END:VCALENDAR\r\n")) {
		t.Error("lines do not all end with CR LF")
	}
	for _, l := range strings.Split(string(text), "\r\n") {
		if len(l) > 75 {
			t.Errorf("a line has %d octets: %q", len(l), l)
		}
	}
	unfolded := strings.ReplaceAll(string(text), "\r\n ", "")
	for _, m := range regexp.MustCompile(`(?m)^(DTSTART|DTEND|DTSTAMP)(.*?)\r$`).FindAllStringSubmatch(unfolded, -1) {
		if !regexp.MustCompile(`^:\d{8}T\d{6}Z$`).MatchString(m[2]) {
			t.Errorf("%s%s is not in UTC", m[1], m[2])
		}
	}
	for _, m := range regexp.MustCompile(`(?m)^TRIGGER(.*?)\r$`).FindAllStringSubmatch(unfolded, -1) {
		if !regexp.MustCompile(`^;RELATED=START:PT(\d+H(\d+M(\d+S)?)?|\d+M(\d+S)?|\d+S)$`).MatchString(m[1]) {
			t.Errorf("TRIGGER%s is not an exact duration", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`(?m)^(SUMMARY|DESCRIPTION):(.*?)\r$`).FindAllStringSubmatch(unfolded, -1) {
		if !regexp.MustCompile(`^([^\\;,]|\\[\\;,nN])*$`).MatchString(m[2]) {
			t.Errorf("%s has characters that are not escaped (3.3.11): %s", m[1], m[2])
		}
	}
	cal, err := ics.ParseCalendar(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("another parser refuses the calendar: %v\n%s", err, text)
	}
	seen := map[string]bool{}
	for _, e := range cal.Events() {
		if id := e.Id(); id == "" || seen[id] {
			t.Errorf("the UID %q is none or not the only one (3.8.4.7)", id)
		} else {
			seen[id] = true
		}
		if len(e.Alarms()) == 0 {
			t.Errorf("the event %s has no alarm", e.Id())
		}
	}
	return cal.Events()
}

func value(e *ics.VEvent, p ics.ComponentProperty) string {
	if v := e.GetProperty(p); v != nil {
		return v.Value
	}
	return ""
}

// ends gives the instants of an event.
func ends(t *testing.T, e *ics.VEvent) (start, end time.Time) {
	t.Helper()
	start, err := e.GetStartAt()
	if err != nil {
		t.Fatal(err)
	}
	if end, err = e.GetEndAt(); err != nil {
		t.Fatal(err)
	}
	return start, end
}

// TestICSOvernight: a cure of exactly 9 h begun at 20:00 is in the calendar from
// instant to instant, across every kind of clock change. Start and end in UTC were
// computed with Python's zoneinfo on tz 2025b.
func TestICSOvernight(t *testing.T) {
	for _, c := range []struct{ zone, date, start, due string }{
		{"Europe/Berlin", "2026-10-24", "2026-10-24T18:00:00Z", "2026-10-25T03:00:00Z"},
		{"Europe/Berlin", "2026-03-28", "2026-03-28T19:00:00Z", "2026-03-29T04:00:00Z"},
		{"Europe/Berlin", "2027-03-27", "2027-03-27T19:00:00Z", "2027-03-28T04:00:00Z"},
		{"Europe/Dublin", "2026-10-24", "2026-10-24T19:00:00Z", "2026-10-25T04:00:00Z"},
		{"America/Chicago", "2026-10-31", "2026-11-01T01:00:00Z", "2026-11-01T10:00:00Z"},
		{"America/Chicago", "2026-03-07", "2026-03-08T02:00:00Z", "2026-03-08T11:00:00Z"},
		{"America/Chicago", "2027-03-13", "2027-03-14T02:00:00Z", "2027-03-14T11:00:00Z"},
		{"Australia/Lord_Howe", "2026-04-04", "2026-04-04T09:00:00Z", "2026-04-04T18:00:00Z"},
		{"Australia/Lord_Howe", "2026-10-03", "2026-10-03T09:30:00Z", "2026-10-03T18:30:00Z"},
		{"Antarctica/Troll", "2026-10-24", "2026-10-24T18:00:00Z", "2026-10-25T03:00:00Z"},
		{"Africa/Casablanca", "2026-02-14", "2026-02-14T19:00:00Z", "2026-02-15T04:00:00Z"},
		{"Pacific/Apia", "2011-12-29", "2011-12-30T06:00:00Z", "2011-12-30T15:00:00Z"},
		{"Asia/Kolkata", "2026-10-24", "2026-10-24T14:30:00Z", "2026-10-24T23:30:00Z"},
		{"Asia/Kathmandu", "2026-10-24", "2026-10-24T14:15:00Z", "2026-10-24T23:15:00Z"},
		{"America/Phoenix", "2026-10-31", "2026-11-01T03:00:00Z", "2026-11-01T12:00:00Z"},
		{"America/Sao_Paulo", "2026-10-31", "2026-10-31T23:00:00Z", "2026-11-01T08:00:00Z"},
	} {
		t.Run(c.zone+" "+c.date, func(t *testing.T) {
			s, _ := overnight(t, c.zone, c.date)
			sheet := s.sheet(c.date)
			sheet.Made = s.clock.Read().Wall
			es := events(t, sheet)
			if len(es) != 3 {
				t.Fatalf("there are %d events, want the cure and two coolings", len(es))
			}
			start, end := ends(t, es[0])
			if start.Format(time.RFC3339) != c.start || end.Format(time.RFC3339) != c.due {
				t.Errorf("the cure goes from %s to %s, want %s to %s", start, end, c.start, c.due)
			}
			if got := es[0].Alarms()[0].GetProperty(ics.ComponentPropertyTrigger).Value; got != "PT9H" {
				t.Errorf("it rings after %s", got)
			}
			for i, lasts := range []time.Duration{30 * time.Minute, 15 * time.Minute} { // house defaults
				from, to := ends(t, es[i+1])
				if _, before := ends(t, es[i]); !from.Equal(before) || to.Sub(from) != lasts || value(es[i+1], ics.ComponentPropertyStatus) != "TENTATIVE" {
					t.Errorf("cooling %d goes from %s to %s", i+1, from, to)
				}
			}
		})
	}
}

// TestICSNames: a step keeps its UID whenever it is exported, through a correction,
// which raises its SEQUENCE (RFC 5545, section 3.8.7.4), and from being to come to
// running.
func TestICSNames(t *testing.T) {
	s, load := overnight(t, "Europe/Berlin", "2026-11-25")
	sheet := func() day.Sheet {
		sheet := s.sheet(s.clock.Read().Wall.Format(time.DateOnly))
		sheet.Made = s.clock.Read().Wall
		return sheet
	}
	tell := func(e *ics.VEvent) string { return e.Id() + " " + value(e, ics.ComponentPropertySequence) }
	first := events(t, sheet())
	s.clock.Run(time.Hour)
	if again := events(t, sheet()); tell(again[0]) != tell(first[0]) || value(again[0], ics.ComponentPropertyDtstamp) == value(first[0], ics.ComponentPropertyDtstamp) {
		t.Errorf("an hour later the cure is %s, made %s", tell(again[0]), value(again[0], ics.ComponentPropertyDtstamp))
	}
	s.fix(load, `{"at":"2026-11-25T20:05:00+01:00"}`, "7")
	fixed := events(t, sheet())
	if tell(fixed[0]) != first[0].Id()+" 1" {
		t.Errorf("corrected the cure is %s, it was %s", tell(fixed[0]), tell(first[0]))
	}
	if start, _ := ends(t, fixed[0]); !start.Equal(time.Date(2026, 11, 25, 19, 5, 0, 0, time.UTC)) {
		t.Errorf("corrected it starts at %s", start)
	}
	s.do(s.until("05:30"), action.BathUnload{Flasks: []int{1}})
	cooling := events(t, sheet())
	if len(cooling) != 1 || tell(cooling[0]) != first[1].Id()+" 2" || value(cooling[0], ics.ComponentPropertyStatus) != "CONFIRMED" {
		t.Errorf("the cooling that runs is %d events, %s, it was to come as %s", len(cooling), tell(cooling[0]), tell(first[1]))
	}
	s.clock.Run(2 * time.Hour)
	if err := sheet().ICS(io.Discard); !errors.Is(err, day.ErrNothingToCome) {
		t.Errorf("with nothing to come the error is %v", err)
	}
}

// TestICSText: free text comes back from another parser as it went in (RFC 5545,
// section 3.3.11), and a bench set is in the calendar too.
func TestICSText(t *testing.T) {
	for i, name := range []string{"4417", `a;b,c\n\d`, "=1+1", strings.Repeat("Łódź", 6), strings.Repeat("x", 24), "日本語日本語日本語日本語日本語日本語日本語😀", `"quoted":colon`} {
		s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
		s.do(0, action.FlaskOpen{Place: 1, Case: name, Base: "upper", Size: "small"}, "8")
		s.do(minute, action.Clamp{Flask: 1}, "8")
		sheet := s.sheet("2026-11-25")
		sheet.Made = s.clock.Read().Wall
		es := events(t, sheet)
		if len(es) != 1 || !strings.Contains(value(es[0], ics.ComponentPropertySummary), "Bench set") {
			t.Fatalf("case %d: %d events", i, len(es))
		}
		if got := ics.FromText(value(es[0], ics.ComponentPropertyDescription)); !strings.Contains(got, fmt.Sprintf("\nCase %s, upper, small, flask 1, place 1.", name)) &&
			!strings.Contains(value(es[0], ics.ComponentPropertyDescription), fmt.Sprintf("\nCase %s, upper, small, flask 1, place 1.", name)) {
			t.Errorf("case %q came back as %q", name, got)
		}
	}
}
