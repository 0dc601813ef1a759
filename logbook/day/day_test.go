package day_test

import (
	"bytes"
	"encoding/csv"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/day"
)

var update = flag.Bool("update", false, "write the golden files anew")

const goldenDir = "../../testdata/day"

// golden holds what was written against a file; the files are read by people
// before they are kept.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join(goldenDir, name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; it is now\n%s", name, got)
	}
}

func written(t *testing.T, f func(w io.Writer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := f(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestGolden writes both days of the invented shift in every form for people.
func TestGolden(t *testing.T) {
	s := invented(t)
	for _, date := range []string{"2026-11-25", "2026-11-26"} {
		sheet := s.sheet(date)
		sheet.Head = "67:0123456789abcdef" // the true hash begins with the random identity of the book
		golden(t, date+".txt", written(t, sheet.Text))
		for _, table := range day.Tables {
			golden(t, date+"-"+string(table)+".csv", written(t, func(w io.Writer) error { return sheet.CSV(w, table) }))
		}
	}
	if err := s.sheet("2026-11-25").CSV(io.Discard, "loads"); err == nil {
		t.Error("a table that is none was written")
	}
}

// cell gives the values of a column of a table in order of its rows.
func cells(t *testing.T, sheet day.Sheet, table day.Table, column string) []string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(written(t, func(w io.Writer) error { return sheet.CSV(w, table) }))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range rows[0] {
		if name == column {
			out := []string{}
			for _, r := range rows[1:] {
				out = append(out, r[i])
			}
			return out
		}
	}
	t.Fatalf("there is no column %q in %v", column, rows[0])
	return nil
}

// TestMidnight follows a closure that goes into the press at 23:59 and is judged
// after midnight, and a cure that ends on the next day: each record stands in the
// table of its own day and in no other, and both sheets tell what they can know.
func TestMidnight(t *testing.T) {
	s := invented(t)
	today, tomorrow := s.sheet("2026-11-25"), s.sheet("2026-11-26")
	a, b := cells(t, today, day.Records, "seq"), cells(t, tomorrow, day.Records, "seq")
	if n := int(s.book.State().Head.Seq); len(a)+len(b) != n || a[0] != "1" || b[len(b)-1] != "67" {
		t.Errorf("the two days have %d and %d records, the book has %d", len(a), len(b), n)
	}
	if part := cells(t, today, day.Closures, "part_in_day"); part[len(part)-1] != "begun" {
		t.Errorf("the closure at 23:59 is %q on its first day", part)
	}
	if g := cells(t, today, day.Closures, "grade"); g[len(g)-1] != "" {
		t.Errorf("the closure at 23:59 is graded %q before it was judged", g)
	}
	if part, g := cells(t, tomorrow, day.Closures, "part_in_day"), cells(t, tomorrow, day.Closures, "grade"); part[0] != "ended" || g[0] != "heavy" {
		t.Errorf("the closure at 23:59 is %q, %q on the next day", part[0], g[0])
	}
	text := string(written(t, today.Text))
	for _, want := range []string{"running  curing, load 2: since 22:00, not before Thu 26 Nov 07:00, not after\n", "flash not judged by the end"} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet of the day does not say %q", want)
		}
	}
	if text := string(written(t, tomorrow.Text)); !strings.Contains(text, "time only, no reading  curing, load 2: 9 h 10 min; at least 9 h, at most 12") {
		t.Errorf("the sheet of the next day says of the cure:\n%s", text)
	}
}

// TestOvernightCures checks the hour at which a cure of exactly 9 h begun at 20:00
// may end, across every kind of clock change: computed with Python's zoneinfo on
// tz 2025b.
func TestOvernightCures(t *testing.T) {
	for _, c := range []struct{ zone, date, due string }{
		{"Europe/Berlin", "2026-10-24", "Sun 25 Oct 04:00"},
		{"Europe/Berlin", "2026-03-28", "Sun 29 Mar 06:00"},
		{"Europe/Berlin", "2027-03-27", "Sun 28 Mar 06:00"},
		{"Europe/Dublin", "2026-10-24", "Sun 25 Oct 04:00"},
		{"America/Chicago", "2026-10-31", "Sun 1 Nov 04:00"},
		{"America/Chicago", "2026-03-07", "Sun 8 Mar 06:00"},
		{"America/Chicago", "2027-03-13", "Sun 14 Mar 06:00"},
		{"Australia/Lord_Howe", "2026-04-04", "Sun 5 Apr 04:30"},
		{"Australia/Lord_Howe", "2026-10-03", "Sun 4 Oct 05:30"},
		{"Antarctica/Troll", "2026-10-24", "Sun 25 Oct 03:00"},
		{"Africa/Casablanca", "2026-02-14", "Sun 15 Feb 04:00"},
		{"Pacific/Apia", "2011-12-29", "Sat 31 Dec 05:00"},
		{"Asia/Kolkata", "2026-10-24", "Sun 25 Oct 05:00"},
		{"Asia/Kathmandu", "2026-10-24", "Sun 25 Oct 05:00"},
		{"America/Phoenix", "2026-10-31", "Sun 1 Nov 05:00"},
		{"America/Sao_Paulo", "2026-10-31", "Sun 1 Nov 05:00"},
	} {
		s := newShift(t, c.date+" 19:00", c.zone)
		s.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
		s.do(time.Hour, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "5")
		text := strings.Join(strings.Fields(string(written(t, s.sheet(c.date).Text))), " ")
		if want := "running curing, load 1: since 20:00, not before " + c.due + ", not after"; !strings.Contains(text, want) {
			t.Errorf("%s, %s: want %q in\n%s", c.zone, c.date, want, text)
		}
	}
}

// TestLongDay writes the sheet of a day with 25 hours: the hour that comes twice is
// told apart by the offset.
func TestLongDay(t *testing.T) {
	s := newShift(t, "2026-10-24 23:30", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	s.do(3*time.Hour, action.Coat{Flask: 1, Half: "cast"})  // 02:30 summer time
	s.do(time.Hour, action.Coat{Flask: 1, Half: "teeth"})   // 02:30 again
	s.do(21*time.Hour, action.Note{Flask: 1, Text: "late"}) // 23:30
	s.do(time.Hour, action.Note{Flask: 1, Text: "tomorrow"})
	sheet := s.sheet("2026-10-25")
	text := string(written(t, sheet.Text))
	for _, want := range []string{"this day has 25 h (UTC+02:00 to UTC+01:00)", "running  separator drying, cast half: since 02:30 CEST", "running  separator drying, tooth half: since 02:30 CET", "note 23:30 CET  KT  late"} {
		if !strings.Contains(text, want) {
			t.Errorf("the sheet does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "tomorrow") {
		t.Error("the sheet tells of the next day")
	}
	if got := strings.Join(cells(t, sheet, day.Records, "at"), " "); got != "2026-10-25T02:30:00+02:00 2026-10-25T02:30:00+01:00 2026-10-25T23:30:00+01:00" {
		t.Errorf("the records of the day stand at %s", got)
	}
}

// TestKnown makes the sheet of a day as it was known before a correction.
func TestKnown(t *testing.T) {
	s := invented(t)
	sheet := s.sheet("2026-11-25")
	before := sheet
	before.Known = time.Date(2026, 11, 25, 7, 37, 0, 0, time.UTC)
	before.Bench = day.Known(sheet.Bench, before.Known)
	if got := before.Bench.Flasks[1].Trials[1].Grade; got != "heavy" {
		t.Errorf("before the correction the grade was %q", got)
	}
	if got := sheet.Bench.Flasks[1].Trials[1].Grade; got != "slight" {
		t.Errorf("after the correction the grade is %q", got)
	}
	text := string(written(t, before.Text))
	if !strings.Contains(text, "As of Wed 25 Nov 2026 08:37:00 +01:00") || strings.Contains(text, "adjusted") {
		t.Errorf("the sheet as of 08:37 says\n%s", text)
	}
}

// TestEmptyDay writes a day on which nothing was done.
func TestEmptyDay(t *testing.T) {
	sheet := newShift(t, "2026-11-25 08:00", "UTC").sheet("2026-11-24")
	if text := string(written(t, sheet.Text)); !strings.Contains(text, "No flask stood on the bench.") {
		t.Errorf("an empty day reads\n%s", text)
	}
	if got := cells(t, sheet, day.Records, "seq"); len(got) != 0 {
		t.Errorf("an empty day has the records %v", got)
	}
	if got := written(t, sheet.JSONL); len(got) != 0 {
		t.Errorf("an empty day has the lines %s", got)
	}
}

// TestRestarted tells that a length of time rests on the wall clock where the
// machine was restarted in between.
func TestRestarted(t *testing.T) {
	s := newShift(t, "2026-11-25 19:00", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	s.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "5")
	s.clock.Reboot(5*time.Minute, "boot-2")
	s.do(9*time.Hour, action.BathUnload{Flasks: []int{1}})
	if text := strings.Join(strings.Fields(string(written(t, s.sheet("2026-11-26").Text))), " "); !strings.Contains(text, "9 h 5 min by the wall clock; at least 9 h") {
		t.Errorf("the sheet says\n%s", text)
	}
}

// same compares what the records of two books come to.
func same(t *testing.T, got, want *bench.Bench) {
	t.Helper()
	a, b := picture(t, got), picture(t, want)
	if a != b {
		t.Errorf("the benches differ:\n%s\nwant\n%s", a, b)
	}
}
