package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
)

// undone counts the records that were taken back.
func (d *desk) undone() int {
	n := 0
	for _, it := range d.book.State().Bench.Items {
		if _, ok := it.Body.(action.TakeBack); ok {
			n++
		}
	}
	return n
}

// TestUndoWantsEnterOnWhatItShows: 0 on the bench shows whose record, what and how long ago;
// a digit then does its own work, and only ENTER goes on to the reason.
func TestUndoWantsEnterOnWhatItShows(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.openFlask(2, "4420", 2, 2)
	d.wait(3 * time.Minute)
	d.sees("0 undo")
	d.press("0")
	d.sees("undo the last record?", "flask opened: case 4420", "by KT", "ago, at 08:00", "ENTER undo, and why")
	d.press("1")
	if d.m.over() != nil || d.m.sel != 1 || d.undone() != 0 {
		t.Fatalf("1 on the question: place %d, %d undone:\n%s", d.m.sel, d.undone(), d.screen())
	}
	d.press("0 0 1 0 0 2 0 +") // back, back, 1: what had lost a final closure
	d.sees("1 flask", "2 mix")
	if d.undone() != 0 {
		t.Fatal("undone without ENTER")
	}
	d.press("0 0 enter")
	d.sees("why is it undone?", "1 wrong key")
	d.press("0")
	if d.undone() != 0 {
		t.Fatal("undone by going back from the reason")
	}
	d.press("0 enter 1")
	if d.undone() != 1 || d.book.State().Bench.OnPlace(2) != nil {
		t.Fatalf("%d undone:\n%s", d.undone(), d.screen())
	}
	d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 60})
	d.wait(2 * time.Minute)
	d.press("0 .")
	d.sees("acknowledged: SOAK")

	n := d.undone()
	d.m.saving = true // pressed ahead, while a record is on its way to the disk
	d.press("0 enter 1")
	d.m.saving = false
	d.run(d.m.drain())
	if d.undone() != n {
		t.Error("undone by keys pressed before the question stood on the screen")
	}
	d.press("0 0")
	d.m.overs = nil
	d.m.cfg.ScanHold = 40 * time.Millisecond
	d.ck.Run(time.Second)
	for _, k := range []string{"0", "enter"} { // a tag of one digit, read by a scanner
		d.ck.Run(5 * time.Millisecond)
		_, cmd := d.m.Update(keyMsg(k))
		_ = cmd
	}
	if d.m.form() != nil {
		t.Errorf("a scan goes on to the reason:\n%s", d.screen())
	}
}

// checked has a flask whose remount check is due.
func checked(t *testing.T) *desk {
	d := newDesk(t, 80, 24)
	d.do(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.do(action.Deflask{Flasks: []int{1}})
	return d
}

// TestZeroIsADigitInFields: a pin opening of 0 mm, the best there is, is 0 ENTER; - goes back
// from an empty field, and the row of keys says so.
func TestZeroIsADigitInFields(t *testing.T) {
	d := checked(t)
	d.press("1 enter")
	d.sees("opening at the incisal pin", "0-9 type a number", "- back")
	d.hides("0 back", "* rubs out", "ENTER takes it")
	d.press("-")
	if d.m.over() != nil {
		t.Fatalf("- does not go back from an empty field:\n%s", d.screen())
	}
	d.press("enter 0")
	d.sees("ENTER takes it", "* rubs out; held, clears")
	d.hides("- back")
	d.press("enter")
	if f := d.flask(1); f.PinMM == nil || *f.PinMM != 0 {
		t.Fatalf("the pin opening is %v, want 0:\n%s", f.PinMM, d.screen())
	}
	d.sees("outcome")
	d.press("0 2 enter 0 0 - 7 enter 0") // in a text too, where - is a character once something stands there
	if f := d.m.form(); f == nil || f.text("case") != "00-7" {
		t.Errorf("the case is not 00-7:\n%s", d.screen())
	}
}

// TestHiddenQuestionTakesNoKey: below 80x24 a question is drawn whole or takes no key, and
// the bench takes none that records.
func TestHiddenQuestionTakesNoKey(t *testing.T) {
	d := packed(t)
	for range 6 {
		d.press(".")
	}
	d.press("enter enter")
	d.wait(62 * time.Second)
	d.feed(tea.WindowSizeMsg{Width: 60, Height: 20})
	n := len(d.book.State().Bench.Items)
	d.press("enter 1 5 - * / 0 x")
	if got := len(d.book.State().Bench.Items); got != n {
		t.Fatalf("%d records by keys that nobody saw the use of:\n%s", got-n, d.screen())
	}
	d.sees("window too small: 60x20")
	d.feed(tea.WindowSizeMsg{Width: 80, Height: 24})
	d.press("1 enter")
	d.sees("flash?")
	d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 1})
	d.wait(2 * time.Second)
	d.feed(tea.WindowSizeMsg{Width: 24, Height: 4})
	n = len(d.book.State().Bench.Items)
	d.press("3 1 enter 0 esc")
	if got := len(d.book.State().Bench.Items); got != n || d.m.form() == nil {
		t.Fatalf("a question that is not seen took a key:\n%s", d.screen())
	}
	waiting := len(d.m.unanswered())
	d.press(".")
	if waiting == 0 || len(d.m.unanswered()) != waiting-1 {
		t.Errorf("%d alarms waited, %d after the point", waiting, len(d.m.unanswered()))
	}
	d.feed(tea.WindowSizeMsg{Width: 60, Height: 20})
	d.sees("flash?", "1 none", "2 slight", "3 heavy") // drawn, so it is asked
	d.press("3")
	d.at(1, bench.Trimmed)
	d.press("+ 9 1")
	if !d.quit {
		t.Errorf("cannot leave from a small window:\n%s", d.screen())
	}
}

// TestPointAcknowledgesInsideQuestions: also over a menu, a choice, several; in a field it is
// a character.
func TestPointAcknowledgesInsideQuestions(t *testing.T) {
	for _, keys := range []string{"", "+", "+ 3", "0", "0 enter", "1 -", "*", "/", "/ /", "* *", "?", "+ 2"} {
		d := packed(t)
		for range 6 {
			d.press(".")
		}
		d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 60})
		d.wait(2 * time.Minute)
		d.press(keys)
		overs := len(d.m.overs)
		if len(d.m.unanswered()) != 1 {
			t.Fatalf("%q: %d alarms wait", keys, len(d.m.unanswered()))
		}
		d.sees(". got it")
		d.press(".")
		if len(d.m.unanswered()) != 0 {
			t.Errorf("%q: the point did not acknowledge:\n%s", keys, d.screen())
		}
		if _, undoing := d.m.over().(*undo); len(d.m.overs) != overs && keys != "0" || undoing {
			t.Errorf("%q: the point closed the question:\n%s", keys, d.screen())
		}
	}
	d := checked(t)
	d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 60})
	d.wait(2 * time.Minute)
	d.press("1 enter")
	d.hides(". got it")
	d.press(".4 enter")
	if f := d.flask(1); f.PinMM == nil || *f.PinMM != .4 {
		t.Errorf("the pin opening is %v", f.PinMM)
	}
}

// TestTooLongForItsField: what does not fit a field is refused there, never cut; a long text
// shows its end; * held clears it.
func TestTooLongForItsField(t *testing.T) {
	d := newDesk(t, 80, 24)
	long := "(01)03453120000011(17)281231(10)ABCD1234"
	d.press("1 enter")
	for _, r := range long {
		d.one(string(r))
	}
	d.sees("too long by 16: this takes at most 24 characters")
	d.press("enter")
	if f := d.m.form(); f == nil || f.at != 0 {
		t.Fatalf("a case number that was cut is taken:\n%s", d.screen())
	}
	hold := func() {
		for i := range 8 {
			d.ck.Run(map[bool]time.Duration{true: 500 * time.Millisecond, false: 30 * time.Millisecond}[i == 1])
			_, _ = d.m.Update(keyMsg("*"))
		}
		d.feed(doubtMsg{d.m.doubts})
	}
	d.ck.Run(time.Second)
	hold()
	if f := d.m.form(); f.text("case") != "" || f.at != 0 {
		t.Fatalf("held, * leaves %q:\n%s", f.text("case"), d.screen())
	}
	d.feed(tea.PasteMsg{Content: long})
	d.sees("too long by 16")
	if f := d.m.form(); f.text("case") != "" {
		t.Errorf("a paste that is too long left %q", f.text("case"))
	}
	d.press("4 4 1 7 enter 1 1")
	if f := d.flask(1); f.Case != "4417" {
		t.Errorf("the case is %q", f.Case)
	}
	d.press("-")
	d.press(digitOf(d, "lots of stone"))
	text := strings.Repeat("0123456789", 14) + "THE END"
	for _, r := range text {
		d.one(string(r))
	}
	d.sees("THE END▏", "…")
	held := keyMsg("*")
	held.IsRepeat = true
	d.press("*")
	d.feed(held)
	if f := d.m.form(); f.text("stone") != "" {
		t.Errorf("held, * leaves %q", f.text("stone"))
	}
}

// hostile is a bench whose names are as long as the logbook takes them.
func hostile(t *testing.T, w, h int) *desk {
	d := newDesk(t, w, h)
	hs := house.Default()
	for i := range 6 {
		p := hs.Programmes[0]
		p.Name = fmt.Sprintf("programme %d of the maker of a resin with a very long name, yes", i)[:60]
		hs.Programmes = append(hs.Programmes, p)
	}
	hs.Crew = strings.Fields("ABCDEFGH IJKLMNOP QRSTUVWX")
	for _, p := range hs.Programmes {
		p.Name = strings.TrimSpace(p.Name)
	}
	d.record(action.Settings{House: hs})
	lot := strings.Repeat("LOT-0123456789-", 10)
	for p, c := range []string{"CASE-0123456789-ABCDEFGH", "4420", "MMMMMMMMMMMMMMMMMMMMMMMM", "4402", "4403"} {
		d.record(action.FlaskOpen{Place: p + 1, Case: c, Base: "partial", Size: "medium"})
		d.record(action.FlaskLots{Flask: p + 1, StoneLot: lot, SheetLot: lot})
		d.record(action.Note{Flask: p + 1, Text: strings.Repeat("a long word of the bench ", 14)})
	}
	d.record(action.LotIn{Material: "powder", Lot: lot, Product: strings.Repeat("x", 60)})
	d.record(action.Coat{Flask: 2, Half: "both"})
	d.record(action.Coat{Flask: 3, Half: "both", Lot: lot})
	d.record(action.MixMake{Flasks: []int{3}, PowderLot: lot, LiquidLot: lot})
	d.record(action.PressIn{Flask: 3})
	d.record(action.PressAt{Flask: 3})
	d.record(action.PressOpen{Flask: 3})
	d.record(action.Flash{Flask: 3, Grade: "heavy", Where: action.Wheres})
	d.record(action.Clamp{Flask: 4})
	d.record(action.Clamp{Flask: 5})
	d.record(action.TimerStart{Label: strings.Repeat("timer ", 6), Count: "down", AimS: 60})
	d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 70})
	d.wait(2 * time.Minute)
	return d
}

// bare takes all blanks out, so that what was broken into lines is found.
func bare(s string) string {
	return strings.Map(func(r rune) rune {
		if r <= ' ' {
			return -1
		}
		return r
	}, s)
}

// missing lists what a question asks and the screen does not show: its title, what is said
// above it, the question, its choices.
func (d *desk) missing() []string {
	screen := d.screen()
	rows := strings.Split(screen, "\n")
	all, left := bare(screen), "" // beside the list of timers a text is broken at the line between them
	for _, row := range rows {
		row, _, _ = strings.Cut(row, "│")
		left += bare(row)
	}
	var out []string
	want := func(s string) {
		if !strings.Contains(all, bare(s)) && !strings.Contains(left, bare(s)) {
			out = append(out, s)
		}
	}
	switch o := d.m.over().(type) {
	case *undo:
		for _, l := range o.lines() {
			want(l)
		}
	case *form:
		want(o.title)
		for _, l := range o.lines {
			want(l)
		}
		fd := o.fields[o.at]
		want(fd.ask)
		if o.note != "" {
			want(o.note)
		}
		if fd.typing() {
			return out
		}
		from, to, _ := o.visible()
		for i := from; i < to; i++ {
			option := fmt.Sprintf("%d %s", i-from+1, fd.options[i])
			if fd.kind == pickMany {
				option = map[bool]string{true: "[x] ", false: "[ ] "}[fd.picked[i]] + fd.options[i]
			}
			whole := false // side by side, or broken into lines of its own
			for _, row := range rows {
				whole = whole || strings.Contains(bare(row), bare(option))
			}
			if !whole {
				want(option)
			}
		}
	}
	return out
}

// asked is what a question has taken so far.
func (d *desk) asked() string {
	s := fmt.Sprint(len(d.m.overs), " ")
	if f := d.m.form(); f != nil {
		s += fmt.Sprint(f.title, f.at)
		for _, fd := range f.fields {
			s += fmt.Sprint(fd.typed, fd.choice, fd.picked, fd.page)
		}
	}
	return s
}

// checks has rapid make so many runs, in the long run others; a quarter of them in a short test.
func checks(t *testing.T, usual, long int) {
	if testing.Short() {
		usual, long = usual/4, long/4
	}
	longrun.Checks(t, usual, long)
}

var padKeys = strings.Fields("0 1 2 3 4 5 6 7 8 9 enter . + - * / 0 enter enter 1 2")

// TestKeysAtRandom: whatever is pressed, on a bench with the longest names, in windows of any
// size. Nothing is undone by keys without an ENTER on a question that showed it; no question
// takes a key that is not seen whole; at 80x24 and above all are.
func TestKeysAtRandom(t *testing.T) {
	checks(t, 12, 60)
	rapid.Check(t, func(rt *rapid.T) {
		d := hostile(t, 80, 24)
		shown := map[string]bool{} // records whose undoing was asked about on the screen, and ENTER pressed
		for range rapid.IntRange(1, 60).Draw(rt, "keys") {
			if rapid.IntRange(0, 7).Draw(rt, "resize") == 0 {
				w, h := rapid.IntRange(10, 110).Draw(rt, "w"), rapid.IntRange(3, 34).Draw(rt, "h")
				if rapid.Bool().Draw(rt, "80x24") {
					w, h = 80, 24
				}
				d.feed(tea.WindowSizeMsg{Width: w, Height: h})
			}
			whole, toast := bare(d.screen()), d.m.toast
			if d.m.over() != nil && d.m.hushed {
				toast = "" // it gives way to the question
			}
			if step := d.m.stepLine(); !d.m.small() && !strings.Contains(whole, bare(step+toast)) {
				rt.Fatalf("the bright line %q or the message %q is cut:\n%s", step, toast, d.screen())
			}
			key := rapid.SampledFrom(padKeys).Draw(rt, "key")
			missing, before, screen, n := d.missing(), d.asked(), d.screen(), len(d.book.State().Bench.Items)
			if len(missing) > 0 && d.m.w >= 80 && d.m.w < 100 && d.m.h >= 24 {
				rt.Fatalf("at %dx%d a question is not whole, %q:\n%s", d.m.w, d.m.h, missing, screen)
			}
			if o := d.m.over(); o != nil && d.m.w >= 80 && d.m.h >= 24 {
				if _, whole := d.m.lay(); !whole {
					rt.Fatalf("at %dx%d a question has no place:\n%s", d.m.w, d.m.h, screen)
				}
			}
			if u, ok := d.m.over().(*undo); ok && key == "enter" && strings.Contains(bare(screen), bare(u.lines()[0])) && len(missing) == 0 {
				shown[u.it.Action.ID] = true
			}
			d.one(key)
			if d.m.w < 100 && len(missing) > 0 && key != "." && (d.asked() != before || len(d.book.State().Bench.Items) != n) {
				rt.Fatalf("%q was taken by a question that is not seen whole at %dx%d, %q:\n%s", key, d.m.w, d.m.h, missing, screen)
			}
			if d.m.small() && before[0] == '0' && key != "." && len(d.book.State().Bench.Items) != n {
				rt.Fatalf("%q recorded at %dx%d where nothing says so:\n%s", key, d.m.w, d.m.h, screen)
			}
			for _, it := range d.book.State().Bench.Items {
				if b, ok := it.Body.(action.TakeBack); ok && !shown[b.Of] {
					rt.Fatalf("%s was undone and nobody was shown it: %q\n%s", b.Of, missing, screen)
				}
			}
		}
		if err := d.book.Close(); err != nil {
			rt.Fatal(err)
		}
	})
}

// TestAQuestionAnsweredBeforeStandsWhole: gone back to, a long question with an answer in it
// shows what ENTER takes, and is not cut for it, also beneath a message.
func TestAQuestionAnsweredBeforeStandsWhole(t *testing.T) {
	d := hostile(t, 80, 24)
	d.press("4 + 4 1 2")
	if f := d.m.form(); f == nil || f.title != "into the bath" {
		t.Fatalf("not at the bath:\n%s", d.screen())
	}
	d.press("0")
	d.m.say(warn, strings.Repeat("a message of four lines ", 12))
	d.sees("ENTER: 2")
	if missing := d.missing(); len(missing) > 0 {
		t.Errorf("%q is not seen:\n%s", missing, d.screen())
	}
}

// TestAMessageGivesWayToAQuestion: a question that has a place only without the message above
// the keys has it, and the message is there again once it is answered.
func TestAMessageGivesWayToAQuestion(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	f := &form{title: "a high question", fields: []*field{line("x", "type it", "", false)}}
	for i := range 13 {
		f.lines = append(f.lines, fmt.Sprintf("line %d of what is said above it", i))
	}
	f.done = func(*form) tea.Cmd { d.m.shut(); return nil }
	d.m.open(f)
	d.m.say(warn, strings.Repeat("a message of four lines ", 12))
	if missing := d.missing(); len(missing) > 0 {
		t.Fatalf("%q is not seen:\n%s", missing, d.screen())
	}
	d.hides("a message of four lines")
	d.press("7 enter")
	d.sees("a message of four lines")
}

// TestWhatIsSavedIsToldWhole: what is longer than a message is told by its kind.
func TestWhatIsSavedIsToldWhole(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	for text, want := range map[string]string{
		"trimmed twice": "saved: note: trimmed twice · record 9",
		strings.Repeat("a long word of the bench ", 14): "saved: note · record 9",
	} {
		if got := d.m.savedWords(logbook.Saved{Record: record.Record{Seq: 9, Action: action.Action{Body: action.Note{Flask: 1, Text: text}}}}); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// TestRowOfKeysSaysWhatIsSo presses, wherever random keys lead, the keys that the row at the
// bottom names: each does what its word says.
func TestRowOfKeysSaysWhatIsSo(t *testing.T) {
	checks(t, 12, 60)
	seen := map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		d := hostile(t, 80, 24)
		for range rapid.IntRange(1, 40).Draw(rt, "keys") {
			var named []hint
			last := d.screen()[strings.LastIndex(d.screen(), "\n")+1:]
			for _, k := range d.m.keysHere() {
				if !k.off && d.m.page.step() != "" {
					named = append(named, k)
					if !strings.Contains(last, k.key+" "+k.words) {
						rt.Fatalf("the row of keys lacks %q:\n%s", k.key+" "+k.words, d.screen())
					}
				}
			}
			if len(named) == 0 || rapid.IntRange(0, 3).Draw(rt, "any") == 0 {
				d.one(rapid.SampledFrom(padKeys).Draw(rt, "key"))
				continue
			}
			k := rapid.SampledFrom(named).Draw(rt, "named")
			seen[k.words]++
			key := k.key
			switch lo, hi, several := strings.Cut(key, "-"); {
			case key == "type":
				key = "7"
			case key == "ENTER":
				key = "enter"
			case several && lo != "":
				key = fmt.Sprint(rapid.IntRange(int(lo[0]-'0'), int(hi[0]-'0')).Draw(rt, "digit"))
			}
			screen := d.screen()
			if err := d.doesWhatItSays(k, key); err != nil {
				rt.Fatalf("%q %q pressed as %q: %v. From\n%s\nto\n%s", k.key, k.words, key, err, screen, d.screen())
			}
		}
		if err := d.book.Close(); err != nil {
			rt.Fatal(err)
		}
	})
	t.Log(seen)
}

// doesWhatItSays presses a key of the row and holds what came of it against its word.
func (d *desk) doesWhatItSays(k hint, key string) error {
	overs, screen, asked, page := len(d.m.overs), d.screen(), d.asked(), fmt.Sprintf("%T", d.m.page)
	waiting, typed, at := len(d.m.unanswered()), 0, 0
	var fd *field
	if f := d.m.form(); f != nil {
		fd, at = f.fields[f.at], f.at
		typed = len(fd.typed)
	}
	d.one(key)
	want := func(ok bool, what string) error {
		if !ok {
			return fmt.Errorf("want %s", what)
		}
		return nil
	}
	switch k.words {
	case "back":
		if overs == 0 {
			return want(d.screen() != screen, "the page before")
		}
		return want(len(d.m.overs) < overs || d.m.form() != nil && d.m.form().at < at, "the question before, or none")
	case "got it":
		return want(len(d.m.unanswered()) == waiting-1, "one alarm fewer")
	case "undo", "new", "other steps", "take in", "check, water, out of use", "change, what if", "change", "book in", "take out of use", "plan", "take over", "sign off":
		return want(len(d.m.overs) == overs+1, "a question")
	case "undo, and why":
		return want(d.m.form() != nil && strings.Contains(d.screen(), "why is it undone?"), "the reason asked")
	case "page", "press & bath", "cases", "plan the day", "handover", "far view", "the day":
		return want(fmt.Sprintf("%T", d.m.page) != page, "another page")
	case "back to the bench":
		return want(d.m.atHome(), "the bench")
	case "read":
		return want(!d.m.reading(), "the page read")
	case "type a number", "or scan":
		return want(len(fd.typed) == typed+1 || fd.lost > 0, "a character more")
	case "rubs out; held, clears":
		return want(len(fd.typed) == typed-1, "a character fewer")
	case "flask":
		return want(fmt.Sprint(d.m.sel) == key, "that place selected")
	case "more":
		return want(d.screen() != screen, "another part")
	case "take this plan", "take the new", "see the new", "see the old":
		return want(d.screen() != screen, "the plan taken, or why not")
	case "on, off", "goes on":
		return want(d.asked() != asked || d.m.form() == nil || d.m.form().note != "", "a change")
	case "choose", "takes it", "leaves it out", "takes what is offered":
		return want(d.asked() != asked || d.m.form() == nil || d.m.form().note != "" || d.quit, "an answer taken, or why not")
	}
	if strings.HasPrefix(k.words, "takes ") {
		return want(d.asked() != asked || d.m.form() == nil || d.m.form().note != "" || d.quit, "an answer taken, or why not")
	}
	if strings.HasPrefix(k.words, "by ") { // the last record of others, for a lead
		return want(d.screen() != screen, "the record of somebody else")
	}
	return fmt.Errorf("no such word is held to anything")
}
