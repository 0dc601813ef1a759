package day_test

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/civil"
	"flaskside/logbook/day"
	"flaskside/logbook/demo"
	"flaskside/timers/simclock"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// demoSheet is the sheet of the demo's day, made the evening after.
func demoSheet(t testing.TB) day.Sheet {
	t.Helper()
	start := demo.Start(time.Date(2026, 11, 25, 0, 0, 0, 0, zone(t, "Europe/Berlin")))
	clock := simclock.At(start.Add(-11*time.Hour), "boot-1")
	book, err := logbook.Open(filepath.Join(t.TempDir(), "demo.db"), clock)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = book.Close() })
	for i, s := range demo.Shift() {
		a := s.Action(i, start)
		clock.Run(a.At.Sub(clock.Read().Wall))
		if _, err := book.Append(a); err != nil {
			t.Fatalf("step %d: %v", i, err)
		}
	}
	from, until := civil.OfInstant(start, start.Location())
	b, err := day.Gather(book, from, until)
	if err != nil {
		t.Fatal(err)
	}
	return day.Sheet{Bench: b, Head: book.State().Head.String(), From: from, Until: until, Made: start.Add(2 * time.Hour)}
}

// TestPaperGolden keeps the page of the demo's day, which people have looked at, and
// the trend of one of its flasks by itself. The picture day-sheet.png in
// testdata/screens was made from this page.
func TestPaperGolden(t *testing.T) {
	s := demoSheet(t)
	s.Head = "73:0123456789abcdef" // the true hash begins with the random identity of the book
	page := written(t, s.HTML)
	golden(t, "demo.html", page)
	svg := strings.Replace(pictures(t, page)[2], "<svg ", `<svg xmlns="http://www.w3.org/2000/svg" font-family="Arial, sans-serif" `, 1)
	golden(t, filepath.Join("..", "screens", "day-trend.svg"), []byte(svg+"\n"))
}
