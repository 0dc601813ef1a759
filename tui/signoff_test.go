package tui

import (
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
)

// The day is signed off on its page with + and initials; the page says by whom, and how much
// was recorded since.
func TestSignOffOnTheDayPage(t *testing.T) {
	d := demoDesk(t, 80, 24, 45*time.Minute)
	d.press("/ *")
	if s := d.screen(); strings.Contains(s, "signed off") || !strings.Contains(s, "+ sign off") {
		t.Fatalf("before:\n%s", s)
	}
	head := d.book.State().Head.Seq
	d.press("+")
	if s := d.screen(); !strings.Contains(s, "who signs off the sheet of") {
		t.Fatalf("asked:\n%s", s)
	}
	d.press("1")
	if s := d.screen(); !strings.Contains(s, "sheet signed off by ") || !strings.Contains(s, "nothing recorded since") || d.book.State().Head.Seq != head+1 {
		t.Fatalf("signed off:\n%s", s)
	}
	d.press("+ 1") // twice, with nothing in between
	if s := d.screen(); !strings.Contains(s, "was signed off by KT") || d.book.State().Head.Seq != head+1 {
		t.Fatalf("signed off twice:\n%s", s)
	}
	d.press("0 0")
	d.do(action.Note{Flask: 1, Text: "after"})
	d.press("/ *")
	if s := d.screen(); !strings.Contains(s, "1 record since") || strings.Contains(s, "nothing recorded since") {
		t.Fatalf("a record since:\n%s", s)
	}
}
