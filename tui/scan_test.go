package tui

import (
	"testing"
	"time"

	"flaskside/logbook/action"
)

// scan types a text as a scanner does, and ENTER behind it.
func (d *desk) scan(text string) {
	d.m.cfg.ScanHold = 40 * time.Millisecond
	d.ck.Run(time.Second)
	for _, r := range text {
		key := string(r)
		if key == " " {
			key = "space"
		}
		d.ck.Run(4 * time.Millisecond)
		_, _ = d.m.Update(keyMsg(key)) // the end of the holding back does not come in between
	}
	d.ck.Run(4 * time.Millisecond)
	d.feed(keyMsg("enter"))
	d.ck.Run(time.Second)
}

// The label of a case, scanned where a case number is asked, says the base, too; what is typed
// by hand asks for it as ever.
func TestALabelIntoAField(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("1 enter")
	d.scan("4417 lower")
	d.sees("size")
	d.hides("4417 lower")
	d.press("2")
	if f := d.flask(1); f == nil || f.Case != "4417" || f.Base != "lower" {
		t.Errorf("the label gave %+v", f)
	}
	d.press("2 enter 4 4 1 8 enter")
	d.sees("base")
	d.press("1 2")
	if f := d.flask(2); f == nil || f.Case != "4418" || f.Base != "upper" {
		t.Errorf("typed by hand it is %+v", f)
	}
}

// At the question which case, a scan chooses the one that was read, by no digit of its number;
// another one goes on to the question for its size. Digits typed by hand choose as ever.
func TestALabelAtTheQuestionWhichCase(t *testing.T) {
	in := func(d *desk, number, base string) {
		d.record(action.CaseIn{Case: number, Base: base, Size: "medium", Due: d.ck.Read().Wall.Add(30 * time.Hour).Format(time.RFC3339)})
	}
	d := newDesk(t, 80, 24)
	in(d, "4401", "upper")
	in(d, "4402", "upper")
	in(d, "4402", "lower")
	in(d, "4403", "upper")
	d.press("1 enter")
	d.sees("which case?")
	d.scan("4402 lower")
	if f := d.flask(1); f == nil || f.Case != "4402" || f.Base != "lower" {
		t.Fatalf("the scan opened %+v\n%s", f, d.screen())
	}
	d.press("2 enter")
	d.scan("4403")
	if f := d.flask(2); f == nil || f.Case != "4403" {
		t.Errorf("a number alone opened %+v\n%s", f, d.screen())
	}
	d.press("3 enter")
	d.scan("9321 upper")
	d.sees("size", "9321")
	d.press("1")
	if f := d.flask(3); f == nil || f.Case != "9321" || f.Base != "upper" {
		t.Errorf("another case opened %+v\n%s", f, d.screen())
	}
	d.press("4 enter")
	d.press("1")
	if f := d.flask(4); f == nil || f.Case != "4401" {
		t.Errorf("the digit opened %+v\n%s", f, d.screen())
	}
}

// On the page of cases a scan chooses the case, and says what comes next for it.
func TestALabelOnThePageOfCases(t *testing.T) {
	d := newDesk(t, 80, 24)
	for _, n := range []string{"5001", "5002", "5003"} {
		d.record(action.CaseIn{Case: n, Base: "upper", Size: "medium", Due: d.ck.Read().Wall.Add(30 * time.Hour).Format(time.RFC3339), Route: "packed"})
	}
	d.press("c")
	d.scan("5003 upper")
	if d.m.caseSel != "5003 upper" {
		t.Errorf("the scan chose %q\n%s", d.m.caseSel, d.screen())
	}
	d.sees("scanned 5003 upper: next: invest: first layer")
	d.scan("7777 upper")
	d.sees("no such case is on the list")
}

// A label that is scanned while a question is open that takes none answers nothing, whatever its
// digits; the question stays. In a number no part of it is left.
func TestALabelAnswersNoOtherQuestion(t *testing.T) {
	d := bathDesk(t, 80, 24, 4)
	d.load("short and boil", 4, 1)
	d.wait(4 * time.Hour)
	for _, body := range []action.Body{action.BathUnload{Flasks: []int{1}}, action.Deflask{Flasks: []int{1}}, action.Remount{Flask: 1}} {
		d.do(body)
	}
	before := d.book.State().Head
	d.press("1 enter")
	d.sees("outcome")
	for _, label := range []string{"4414 upper", "4114 lower", "1111", "1222"} {
		d.scan(label)
		d.sees("outcome", "scanned "+label+": this question takes no scan")
	}
	d.press("0 2 enter") // the bath
	d.scan("1111 upper")
	d.press("0 + 5")
	d.scan("74 upper")
	d.sees("the bath reads  ▏", "type a number, or - goes back")
	d.press("- 0")
	d.sees("undo the last record?")
	d.scan("4411 upper")
	d.press("0 *")
	d.scan("1111 upper")
	d.sees("scanned 1111 upper: 0 goes back to the bench")
	if now := d.book.State().Head; now != before {
		t.Errorf("recorded by scans: %v, before %v", now, before)
	}
}
