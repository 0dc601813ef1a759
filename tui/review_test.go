package tui

import (
	"strings"
	"testing"
	"time"

	"flaskside/logbook/review"
)

// TestReviewOfAMonth: the month in figures is the text of the review, page by page, by the
// keys of a number pad; an empty month says so.
func TestReviewOfAMonth(t *testing.T) {
	d := demoDesk(t, 80, 24, 62*time.Minute)
	d.press("+ 8 5")
	d.sees("review which month?", "1 November 2026", "2 October 2026")
	d.press("1")
	d.golden("review-80x24")
	from := time.Date(2026, 11, 1, 0, 0, 0, 0, shiftStart.Location())
	until := from.AddDate(0, 1, 0)
	whole, err := d.book.Whole(from, until)
	if err != nil {
		t.Fatal(err)
	}
	r := review.Of(whole, from, until, review.Boiling(whole, from, until))
	r.Head = d.book.State().Head.String()
	var text strings.Builder
	if err := r.Text(&text); err != nil {
		t.Fatal(err)
	}
	shown := ""
	for range 12 {
		shown += d.screen() + "\n"
		d.press("enter")
	}
	for line := range strings.Lines(text.String()) {
		if line = strings.TrimSpace(line); line != "" && !strings.Contains(shown, line) {
			t.Errorf("the page never shows %q", line)
		}
	}
	d.press("0 + 8 5 2")
	d.sees("No flask was finally closed or finished in this time")
	// A month that was asked for, and left for another before it was read.
	d.press("0 + 8 5")
	d.ck.Run(time.Second)
	_, november := d.m.Update(keyMsg("1"))
	d.press("0 + 8 5 2")
	d.run(november)
	d.sees("No flask was finally closed or finished in this time")
}
