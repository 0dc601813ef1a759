package tui

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// openFlask opens a flask on a place with the pad alone.
func (d *desk) openFlask(place int, caseNo string, base, size int) {
	d.t.Helper()
	d.press(fmt.Sprintf("%d enter %s enter %d %d", place, caseNo, base, size))
}

func (d *desk) flask(place int) *bench.Flask {
	d.t.Helper()
	f := d.book.State().Bench.OnPlace(place)
	for _, o := range d.book.State().Bench.OffPlaces() { // or the one that left it for the bath
		if f == nil && o.Home == place {
			f = o
		}
	}
	if f == nil {
		d.t.Fatalf("place %d is empty:\n%s", place, d.screen())
	}
	return f
}

func (d *desk) at(place int, want bench.FlaskStage) {
	d.t.Helper()
	if f := d.flask(place); f.Stage != want {
		d.t.Fatalf("place %d stands at %q, want %q:\n%s", place, f.Stage, want, d.screen())
	}
}

// closure makes one trial closure with a grade by its digit: in, reached, open,
// judge.
func (d *desk) closure(grade int) {
	d.t.Helper()
	d.press("enter")
	d.press("enter")
	d.wait(62 * time.Second)
	d.press(fmt.Sprintf("enter %d", grade))
}

// TestWholeShiftOnThePad takes four flasks, two mixes and one bath from separator
// to outcome with the keys of the number pad only, and counts them.
func TestWholeShiftOnThePad(t *testing.T) {
	d := newDesk(t, 80, 24)
	for p, c := range []string{"4417", "4420", "4391", "4402"} {
		d.openFlask(p+1, c, p%4+1, p%3+1)
		d.press("enter 1") // separator on both halves
		d.at(p+1, bench.Drying)
	}
	d.wait(11 * time.Minute)
	mix := func(place int, toggles string) {
		d.press(fmt.Sprintf("%d enter", place))
		if strings.Contains(d.screen(), "caution") {
			d.press("1")
		}
		if strings.Contains(d.screen(), "from which mix?") {
			d.press("2") // a new one
		}
		if strings.Contains(d.screen(), "as last time") {
			d.press("1")
		} else {
			d.press(toggles + " enter enter enter enter enter")
		}
		d.wait(9 * time.Minute)
		d.press("enter") // dough reached
	}
	closures := 0
	keysForClosures := 0
	pack := func(a, b int) {
		for round, grade := range []int{3, 3, 2} {
			for _, p := range []int{a, b} {
				d.press(fmt.Sprint(p))
				if round == 0 {
					d.press("enter")
					if strings.Contains(d.screen(), "caution") {
						d.press("1")
					}
					before := d.keys
					d.press("enter")
					d.wait(62 * time.Second)
					d.press(fmt.Sprintf("enter %d", grade))
					keysForClosures += d.keys - before + 1
				} else {
					before := d.keys
					d.closure(grade)
					keysForClosures += d.keys - before
				}
				closures++
				d.at(p, bench.Trimmed)
				d.wait(20 * time.Second)
			}
		}
		for _, p := range []int{a, b} {
			d.press(fmt.Sprintf("%d", p))
			d.sees("READY", "FINAL CLOSURE")
			d.press("enter enter 1 enter")
			d.at(p, bench.Set)
		}
	}
	mix(1, "3 4")
	pack(1, 2)
	d.wait(31 * time.Minute)
	mix(3, "")
	pack(3, 4)
	d.wait(31 * time.Minute)
	d.press("1 enter")
	if strings.Contains(d.screen(), "caution") {
		d.press("1")
	}
	d.sees("place 1: 4417", "4402 reline")
	d.press("1 1")
	for p := 1; p <= 4; p++ {
		d.at(p, bench.InBath)
	}
	d.wait(9 * time.Hour)
	d.sees("CURING TIME IS UP")
	d.press(". enter 1")
	for p := 1; p <= 4; p++ {
		d.at(p, bench.Cooling)
	}
	d.wait(31 * time.Minute)
	d.press("3 enter 1")
	d.at(3, bench.InWater)
	d.wait(16 * time.Minute)
	d.press("1 enter")
	if strings.Contains(d.screen(), "caution") {
		d.press("1")
	}
	d.press("1")
	for p := 1; p <= 4; p++ { // the next place is selected
		d.press("enter .4 enter")
		d.at(p, bench.Checked)
		if d.m.over() != nil { // the digit that selects the next flask must not become the outcome of this one
			t.Fatalf("something is asked by itself:\n%s", d.screen())
		}
		d.press("enter 1")
		if d.book.State().Bench.Places[p] != 0 {
			t.Fatalf("place %d is not free after the outcome:\n%s", p, d.screen())
		}
	}
	per, flask := float64(keysForClosures)/float64(closures), float64(d.keys)/4
	t.Logf("keystrokes: %.2f for a trial closure (and one to select the place where another was worked on), %.1f for a flask, %d in all", per, flask, d.keys)
	if per > 4 || flask > 45 {
		t.Errorf("a trial closure took %.2f keystrokes and a flask %.1f; at most 4 and 45 are promised", per, flask)
	}
	for _, it := range d.book.State().Bench.Items {
		if len(it.Action.Unusual) > 0 {
			t.Errorf("record %d is unusual (%v) in a shift without anything unusual", it.Seq, it.Action.Unusual)
		}
	}
}

// TestKilledMidShift opens the book anew, as after kill -9: every window is where
// it was.
func TestKilledMidShift(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.press("enter 1")
	d.wait(4 * time.Minute)
	if err := d.book.Beat(); err != nil {
		t.Fatal(err)
	}
	before := d.screen()
	if err := d.book.Close(); err != nil {
		t.Fatal(err)
	}
	d.openBook()
	if after := d.screen(); strings.Split(after, "\n")[2] != strings.Split(before, "\n")[2] {
		t.Errorf("the place changed:\n%s\n%s", before, after)
	}
	if err := d.book.Close(); err != nil {
		t.Fatal(err)
	}
	d.ck.Run(40 * time.Minute)
	d.openBook()
	d.sees("While the program was closed", "BOTH HALVES: DRYING TIME IS UP")
	d.press("enter 0")
	d.sees("drying time up")
	if err := d.book.Close(); err != nil {
		t.Fatal(err)
	}
	d.ck.Reboot(time.Hour, "boot-2")
	d.openBook()
	d.press("enter 0")
	d.sees("≈")
}

// TestCorrectAndTakeBack corrects a grade and a pressure, and takes back the last
// record, all with the pad.
func TestCorrectAndTakeBack(t *testing.T) {
	d := packed(t)
	d.closure(3)
	d.press("-")
	d.sees("correct a record")
	d.press(digitOf(d, "correct a record"))
	d.sees("correct which record?", "flash heavy")
	d.press(digitOf(d, "flash heavy"))
	d.press("1 2 2") // the flash, slight, misread
	if f := d.flask(1); f.Trials[0].Grade != "slight" || !f.Trials[0].Corrected {
		t.Errorf("trial 1 counts as %+v, want slight and corrected", f.Trials[0])
	}
	d.sees("(corrected)")
	d.press("*")
	found := false
	for range 5 {
		found = found || strings.Contains(d.screen(), "CORRECTED by KT, was flash heavy: misread")
		d.press("enter")
	}
	if !found {
		t.Errorf("the flask's page does not show the correction with the old value")
	}
	d.press("0 0")
	d.sees("undo the last record?", "correction of flash heavy")
	d.press("enter 1")
	if f := d.flask(1); f.Trials[0].Grade != "heavy" {
		t.Errorf("after taking back the correction trial 1 counts as %s", f.Trials[0].Grade)
	}
	d.press("0")
	d.sees("undo the last record?", "flash heavy")
	d.press("enter 1")
	d.at(1, bench.Judging)
	d.press("enter 3")
	d.at(1, bench.Trimmed)
}

// digitOf finds the digit that a choice on the screen has.
func digitOf(d *desk, choice string) string {
	d.t.Helper()
	for _, l := range strings.Split(d.screen(), "\n") {
		if i := strings.Index(l, choice); i >= 2 {
			for j := i - 2; j >= 0; j-- {
				if l[j] >= '1' && l[j] <= '9' {
					return l[j : j+1]
				}
			}
		}
	}
	d.t.Fatalf("no choice %q on the screen:\n%s", choice, d.screen())
	return ""
}

// packed has one flask with its dough reached and both cautions read.
func packed(t *testing.T) *desk {
	t.Helper()
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.press("enter 1")
	d.wait(11 * time.Minute)
	d.press("enter 1 enter enter enter enter enter")
	d.wait(9 * time.Minute)
	d.press("enter")
	if _, err := d.book.Append(action.Action{ID: "press-read", At: d.ck.Read().Wall, By: "KT", Body: action.Caution{Hazard: "press"}}); err != nil {
		t.Fatal(err)
	}
	d.heard()
	return d
}

// TestUnusualAsksOnce packs a wet separator: a reason is asked, kept, and never
// asked again for the same thing.
func TestUnusualAsksOnce(t *testing.T) {
	d := packed(t)
	d.press("enter enter") // in, reached
	d.press("enter")       // opened at once
	d.sees("unusual", "held 1 s of 60 s")
	d.press("7 3")
	d.at(1, bench.Trimmed)
	d.press("enter enter enter") // the same again
	d.at(1, bench.Judging)
	d.sees("flash?")
	o := d.flask(1).Oddities
	if len(o) != 2 || o[0].What != "hold-short" || o[0].Why != "7" {
		t.Errorf("oddities are %+v", o)
	}
}

// TestFirstTrialWithoutFlash is answered with a short mould, never with READY.
func TestFirstTrialWithoutFlash(t *testing.T) {
	d := packed(t)
	d.closure(1)
	d.sees("mould may be underfilled")
	if strings.Contains(d.screen(), "READY") {
		t.Errorf("READY after a first trial without flash:\n%s", d.screen())
	}
}

// failing is a keeper whose next record meets a failing disk.
type failing struct {
	Keeper
	err   error
	after bool // the record is saved before the error
}

func (f *failing) Append(a action.Action) (logbook.Saved, error) {
	if f.err != nil {
		if f.after {
			if _, err := f.Keeper.Append(a); err != nil {
				return logbook.Saved{}, err
			}
		}
		return logbook.Saved{}, f.err
	}
	return f.Keeper.Append(a)
}

// TestNothingTypedIsLost keeps the answers of a form when the disk fails, and says
// which of the three it is.
func TestNothingTypedIsLost(t *testing.T) {
	d := newDesk(t, 80, 24)
	k := &failing{Keeper: d.keeper, err: fmt.Errorf("%w: no space left on device", logbook.ErrNotSaved)}
	d.start(k)
	d.openFlask(1, "4417", 1, 2)
	d.sees("NOT SAVED", "4417")
	k.err = nil
	d.press("2") // the size again
	d.at(1, bench.Opened)
	k.err = fmt.Errorf("%w: input/output error", logbook.ErrUnknown)
	d.press("enter 1")
	d.sees("LOGBOOK OUT OF REACH", "UNKNOWN")
	k.err = nil
	d.press("enter")
	d.sees("can be reached again")
	k.err = errors.New("place 1 is taken by flask 1 (case 4417)")
	d.press("1")
	d.sees("! place 1 is taken")
}

// TestQuitWantsTwoKeys leaves only with a second, different key.
func TestQuitWantsTwoKeys(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("+ 9")
	if d.quit {
		t.Fatal("left with one choice")
	}
	d.press("0")
	if d.quit {
		t.Fatal("left by going back")
	}
	d.press("ctrl+c ctrl+c")
	if d.quit {
		t.Fatal("left by the same key twice")
	}
	d.press("1")
	if !d.quit {
		t.Fatal("did not leave when told twice")
	}
}

// TestAlarmRings sounds the bell once at the floor of a hold, and again on
// schedule while nobody answers.
func TestAlarmRings(t *testing.T) {
	d := packed(t)
	d.press(".") // whatever stands is heard
	for range 5 {
		d.press(".")
	}
	d.press("enter enter")
	d.raw = nil
	d.wait(61 * time.Second)
	if len(d.raw) != 1 || !strings.HasPrefix(d.raw[0], "\a") || !strings.Contains(d.raw[0], "HOLD TIME IS UP") {
		t.Fatalf("sent to the terminal: %q", d.raw)
	}
	d.sees("HOLD TIME IS UP · place 1", ". got it")
	d.wait(20 * time.Second)
	if len(d.raw) != 1 {
		t.Errorf("rang again after 20 s: %q", d.raw)
	}
	d.wait(80 * time.Second)
	if len(d.raw) != 2 {
		t.Errorf("did not ring again on schedule: %q", d.raw)
	}
	d.press(".")
	d.wait(200 * time.Second)
	if len(d.raw) != 2 {
		t.Errorf("rang after it was heard: %q", d.raw)
	}
}

// cleanShift takes one flask from separator to outcome, and leaves the bench, with pad
// keys alone; a word that is a length of time is waited.
const cleanShift = `1 enter 4 4 1 7 enter 1 2 enter 1 11m enter 1 enter enter enter enter enter 9m enter
	enter 1 enter 62s enter 3 20s enter enter 62s enter 2 - 1 1 . 5 enter
	enter enter 1 enter 31m enter 1 1 1 9h . / 1 enter 1 31m enter 16m enter 1 1 enter . 4 enter enter 1
	+ 3 1 3 1 - 0 * * 0 . / / 0`

// TestStormOfKeys: whatever keys are held down or doubled within a fifth of a second,
// and whichever are reported as repeats, the records are those of the clean sequence,
// through final closure, bath and outcome.
func TestStormOfKeys(t *testing.T) {
	run := func(t *testing.T, storm func() (times int, gap time.Duration, repeat bool)) string {
		d := newDesk(t, 80, 24)
		for _, k := range strings.Fields(cleanShift) {
			if by, err := time.ParseDuration(k); err == nil {
				d.wait(by)
				continue
			}
			d.ck.Run(time.Second)
			typed := d.m.over() != nil && d.m.over().into() != nil && k != "enter"
			d.feed(keyMsg(k))
			times, gap, repeat := storm()
			for range times {
				if typed && !repeat {
					break // in a field the same key twice is two characters
				}
				d.ck.Run(gap)
				msg := keyMsg(k)
				msg.IsRepeat = repeat
				d.feed(msg)
			}
		}
		if d.book.State().Bench.Places[1] != 0 {
			t.Fatalf("the flask did not leave the bench:\n%s", d.screen())
		}
		var out []string
		for _, it := range d.book.State().Bench.Items {
			out = append(out, fmt.Sprintf("%T%+v", it.Body, it.Body))
		}
		return strings.Join(out, "\n")
	}
	want := run(t, func() (int, time.Duration, bool) { return 0, 0, false })
	for _, kind := range []string{"SheetOut", "MetalToMetal", "BathLoad", "BathUnload", "Outcome", "TimerStart"} {
		if !strings.Contains(want, kind) {
			t.Fatalf("the clean sequence makes no %s:\n%s", kind, want)
		}
	}
	for seed := range uint64(8) {
		rnd := rand.New(rand.NewPCG(seed, 26))
		got := run(t, func() (int, time.Duration, bool) {
			return rnd.IntN(5), time.Duration(1+rnd.IntN(199)) * time.Millisecond, rnd.IntN(2) == 0
		})
		if got != want {
			t.Fatalf("seed %d: records differ:\n%s\nwant\n%s", seed, got, want)
		}
	}
}

// TestLeaningOnAKey: a key held down for seconds on a terminal that reports no repeats is
// one press, on the bench, at a question and in a field; pressed twice by a hand it is two.
func TestLeaningOnAKey(t *testing.T) {
	lean := func(d *desk, key string, delay, every time.Duration) {
		d.ck.Run(time.Second)
		d.feed(keyMsg(key))
		d.ck.Run(delay)
		for range 40 {
			_, cmd := d.m.Update(keyMsg(key)) // the moment of doubt passes beside it
			_ = cmd
			d.ck.Run(every)
		}
		d.feed(doubtMsg{d.m.doubts})
	}
	for _, delay := range []time.Duration{250 * time.Millisecond, 500 * time.Millisecond, 660 * time.Millisecond} {
		d := packed(t)
		lean(d, "enter", delay, 33*time.Millisecond)
		d.at(1, bench.InPress)
		lean(d, "enter", delay, 40*time.Millisecond)
		d.at(1, bench.Holding)
		d.press("+")
		lean(d, "5", delay, 33*time.Millisecond) // opens a field for digits
		if f := d.m.form(); f == nil || f.fields[f.at].typed != "" {
			t.Errorf("the key that opened the field went into it:\n%s", d.screen())
		}
		lean(d, "7", delay, 33*time.Millisecond)
		if f := d.m.form(); f.fields[f.at].typed != "7" {
			t.Errorf("held down, the field has %q", f.fields[f.at].typed)
		}
		// By hand, a third of a second apart.
		d.ck.Run(time.Second)
		d.feed(keyMsg("4"))
		d.ck.Run(300 * time.Millisecond)
		_, _ = d.m.Update(keyMsg("4"))
		d.ck.Run(300 * time.Millisecond)
		_, _ = d.m.Update(keyMsg("3"))
		if f := d.m.form(); f.fields[f.at].typed != "7443" {
			t.Errorf("typed by hand, the field has %q, want 7443", f.fields[f.at].typed)
		}
	}
	// Where the terminal reports repeats nothing waits.
	d := packed(t)
	d.feed(tea.KeyboardEnhancementsMsg{Flags: 2}) // report event types (keyboard protocol, progressive enhancement)
	d.feed(keyMsg("+"))
	d.ck.Run(300 * time.Millisecond)
	d.feed(keyMsg("+"))
	if d.m.doubt != nil {
		t.Error("a key waits although the terminal reports repeats")
	}
}

// TestBackLosesNothing: 0 goes back from every question to the bench, no record is made,
// and what was typed stands there again; once it is on the disk it does so no more.
func TestBackLosesNothing(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("1 enter 4 4 1 7 enter 2 0 0")
	d.sees("4417")
	d.press("esc")
	if d.m.form() != nil || len(d.book.State().Bench.Items) != 0 {
		t.Fatalf("not back on the bench:\n%s", d.screen())
	}
	d.sees("what you typed is kept")
	d.press("enter")
	d.sees("4417", "typed before is still here")
	d.press("8 enter 1 2")
	if f := d.flask(1); f.Case != "44178" {
		t.Errorf("the case number is %q, want 44178", f.Case)
	}
	d.press("2 enter")
	if strings.Contains(d.screen(), "4417▏") || strings.Contains(d.screen(), "still here") {
		t.Errorf("what is on the disk is offered again:\n%s", d.screen())
	}
	// The last of what was typed rubbed out, nothing is kept.
	d.press("5 * * enter")
	if f := d.m.form(); f == nil || f.fields[0].typed != "" {
		t.Errorf("what was rubbed out is back:\n%s", d.screen())
	}
}

// TestNumLockOff: with NumLock off the pad sends other keys; that is said wherever
// digits are due, and nothing is recorded for it.
func TestNumLockOff(t *testing.T) {
	const says = "NumLock seems to be off"
	d := newDesk(t, 80, 24)
	off := []rune{tea.KeyHome, tea.KeyPgUp, tea.KeyEnd, tea.KeyPgDown, tea.KeyLeft, tea.KeyRight, tea.KeyInsert, tea.KeyDelete, tea.KeyBegin, tea.KeyKpHome, tea.KeyKpUp, tea.KeyKpDown, tea.KeyKpBegin}
	try := func(where string) {
		t.Helper()
		for _, c := range off {
			d.wait(9 * time.Second)
			d.feed(tea.KeyPressMsg{Code: c})
			d.sees(says)
			if t.Failed() {
				t.Fatalf("%s, key %d", where, c)
			}
		}
	}
	try("on the bench")
	d.press("+")
	try("at a choice")
	d.press("5")
	try("at a number")
	if n := len(d.book.State().Bench.Items); n != 0 {
		t.Errorf("%d records were made", n)
	}
}
