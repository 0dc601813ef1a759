package bench_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
	"flaskside/timers"
)

func correct(of, set string) action.Correct {
	return action.Correct{Of: of, Set: json.RawMessage(set)}
}

// A corrected value counts, is marked as corrected, and the old record stays.
func TestCorrections(t *testing.T) {
	const grade, pressure, opened = "a9", "a7", "a8" // of the route's first closure
	for _, c := range []struct {
		name string
		sets []action.Correct
		look func(p *paper) error
	}{
		{"the grade", []action.Correct{correct(grade, `{"grade":"slight"}`)}, func(p *paper) error {
			if tr := p.b.Flasks[1].Trials[0]; tr.Grade != "slight" || !tr.Corrected {
				return fmt.Errorf("trial %+v", tr)
			}
			return nil
		}},
		{"the grade twice: the last counts", []action.Correct{correct(grade, `{"grade":"slight"}`), correct(grade, `{"grade":"none","grams":0.5}`)}, func(p *paper) error {
			it, _ := p.b.Item(grade)
			if tr := p.b.Flasks[1].Trials[0]; tr.Grade != "none" || tr.Grams != 0.5 || len(it.Corrections) != 2 {
				return fmt.Errorf("trial %+v, %d corrections", tr, len(it.Corrections))
			}
			return nil
		}},
		{"the pressure, and what was not named stays", []action.Correct{correct(pressure, `{"pressure_psi":2500}`)}, func(p *paper) error {
			if tr := p.b.Flasks[1].Trials[0]; tr.PSI != 2500 || tr.HoldAimS != 60 || !tr.Corrected || tr.HeldS != 60 {
				return fmt.Errorf("trial %+v", tr)
			}
			return nil
		}},
		{"when it was opened", []action.Correct{correct(opened, `{"at":"2026-11-25T08:18:45+01:00"}`)}, func(p *paper) error {
			tr := p.b.Flasks[1].Trials[0]
			if want := time.Date(2026, 11, 25, 8, 18, 45, 0, morning.Location()); tr.HeldS != 65 || !tr.Out.At.Equal(want) || tr.Out.BootID != "boot-1" {
				return fmt.Errorf("held %d s, out %+v", tr.HeldS, tr.Out)
			}
			return nil
		}},
		{"when, and the values too", []action.Correct{correct(pressure, `{"at":"2026-11-25T08:17:10+01:00","hold_s":90}`)}, func(p *paper) error {
			if tr := p.b.Flasks[1].Trials[0]; tr.HeldS != 90 || tr.HoldAimS != 90 {
				return fmt.Errorf("trial %+v", tr)
			}
			return nil
		}},
		{"the case number", []action.Correct{correct("a1", `{"case":"4711","tag":"red 3"}`)}, func(p *paper) error {
			if f := p.b.Flasks[1]; f.Case != "4711" || f.Tag != "red 3" || f.Place != 1 {
				return fmt.Errorf("flask %+v", f)
			}
			return nil
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := newPaper(t)
			for _, s := range route[:9] {
				p.do(s.after, s.body)
			}
			p.ck.Run(5 * minute)
			for _, s := range c.sets {
				p.do(second, s, "7")
			}
			if err := c.look(p); err != nil {
				t.Error(err)
			}
			it, ok := p.b.Item(c.sets[0].Of)
			if !ok || !it.Corrected() || it.Corrections[0].Action.Why != "7" || it.TakenBack != nil {
				t.Errorf("the item is %+v", it)
			}
			if was := it.Record.Action.Body; was != nil && fmt.Sprint(was) == fmt.Sprint(it.Body) && it.Record.Stamp.At.Equal(it.Stamp.At) {
				t.Errorf("the record itself was changed: %+v", was)
			}
		})
	}
}

// What is taken back counts for nothing; what is taken back of that counts again.
func TestTakingBack(t *testing.T) {
	p := newPaper(t)
	for _, s := range route[:9] {
		p.do(s.after, s.body)
	}
	look := func(what, grade string, stage bench.FlaskStage, trials int) {
		t.Helper()
		f := p.b.Flasks[1]
		got := ""
		if tr := f.Trial(); tr != nil {
			got = string(tr.Grade)
		}
		if got != grade || f.Stage != stage || len(f.Trials) != trials {
			t.Errorf("%s: grade %q at %q after %d closures, want %q at %q after %d", what, got, f.Stage, len(f.Trials), grade, stage, trials)
		}
	}
	look("judged", "heavy", bench.Trimmed, 1)
	fix := p.do(second, correct("a9", `{"grade":"none"}`), "7")
	look("corrected", "none", bench.Trimmed, 1)
	back := p.do(second, action.TakeBack{Of: fix}, "6")
	look("the correction taken back", "heavy", bench.Trimmed, 1)
	if it, _ := p.b.Item("a9"); it.Corrected() {
		t.Error("it still counts as corrected")
	}
	again := p.do(second, action.TakeBack{Of: back}, "6")
	look("that taken back: the correction counts again", "none", bench.Trimmed, 1)
	p.do(second, action.TakeBack{Of: again}, "6")
	look("and that: the judgement of old", "heavy", bench.Trimmed, 1)
	p.do(second, action.TakeBack{Of: "a9"}, "6")
	look("the judgement taken back", "", bench.Judging, 1)
	p.do(second, action.TakeBack{Of: "a8"}, "6")
	look("the opening of the press taken back", "", bench.Holding, 1)
	if got := len(p.b.Windows()); got != 2 {
		t.Errorf("%d windows, want the hold and the dough", got)
	}
	p.do(second, action.TakeBack{Of: "a7"}, "6")
	look("the pressure taken back", "", bench.InPress, 1)
	p.do(second, action.TakeBack{Of: "a6"}, "6")
	look("the press taken back", "", bench.Drying, 0)
	p.do(second, action.TakeBack{Of: "a5"}, "6")
	p.do(second, action.TakeBack{Of: "a4"}, "6")
	if len(p.b.Mixes) != 0 || p.b.Flasks[1].Mix != 0 {
		t.Errorf("the mix taken back is there: %+v", p.b.Mixes)
	}
	p.do(second, action.TakeBack{Of: "a3"}, "6")
	p.do(second, action.TakeBack{Of: "a2"}, "6")
	look("both coats taken back", "", bench.Opened, 0)
	p.do(second, action.TakeBack{Of: "a1"}, "6")
	if p.b.Places != [10]int{} {
		t.Errorf("places %v after the flask was taken back", p.b.Places)
	}
	for _, it := range p.b.Items[:9] {
		if it.TakenBack == nil || it.TakenBack.Action.Why != "6" {
			t.Errorf("record %d is not marked as taken back", it.Seq)
		}
	}
}

// An outcome taken back puts the flask where it was.
func TestOutcomeTakenBack(t *testing.T) {
	p := upTo(t, bench.Checked)
	p.do(0, action.FlaskMove{Flask: 1, Place: 7})
	before := benchtest.Dump(p.b, p.now())
	id := p.do(0, action.Outcome{Flask: 1, Outcome: "remake", Defects: []string{"porosity"}})
	if p.b.Places[7] != 0 || p.b.Flasks[1].Stage != bench.Finished {
		t.Fatalf("places %v after the outcome", p.b.Places)
	}
	p.do(0, action.TakeBack{Of: id}, "6")
	p.b.Top.Seq -= 2
	if d := benchtest.Difference(benchtest.Dump(p.b, p.now()), before); d != "" {
		t.Error(d)
	}
	f := p.b.Flasks[1]
	if f.Outcome != "" || f.Ended != nil || f.Defects != nil {
		t.Errorf("the outcome is still there: %+v", f)
	}
}

// Each flask's values are those it was worked under: settings changed since touch
// only what comes after.
func TestFlaskKeepsItsValues(t *testing.T) {
	p := upTo(t, bench.Holding)
	h := p.b.House
	h.Press.HoldS, h.Press.PressurePSI, h.Separator.DryMinS = 100, 2000, 300
	p.do(0, action.Settings{House: h})
	if tr := p.b.Flasks[1].Trial(); tr.HoldAimS != 60 || tr.PSI != 3000 {
		t.Errorf("trial %+v", tr)
	}
	if p.b.Flasks[1].Halves["cast"].MinS != 600 {
		t.Errorf("halves %+v", p.b.Flasks[1].Halves)
	}
	p.do(minute, action.PressOpen{Flask: 1})
	p.do(0, action.Flash{Flask: 1, Grade: "slight"})
	p.do(0, action.PressIn{Flask: 1})
	p.do(0, action.PressAt{Flask: 1})
	if tr := p.b.Flasks[1].Trial(); tr.HoldAimS != 100 || tr.PSI != 2000 {
		t.Errorf("the next closure is %+v", tr)
	}
}

// A longer bench set than the house allows at most has no limit of the house's.
func TestBenchSetLongerThanTheHouse(t *testing.T) {
	p := upTo(t, bench.Metal)
	p.do(0, action.Clamp{Flask: 1, BenchMinS: 7200})
	if f := p.b.Flasks[1]; f.BenchMinS != 7200 || f.BenchMaxS != 0 {
		t.Errorf("bench set of %d to %d s", f.BenchMinS, f.BenchMaxS)
	}
}

// A flask has one mix at a time, the latest; the earlier no longer serves it.
func TestOneMixAFlask(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, open(2))
	p.do(0, action.MixMake{Flasks: []int{1, 2}})
	p.do(minute, action.MixMake{Flasks: []int{2}})
	if a, b := p.b.Mixes[1], p.b.Mixes[2]; fmt.Sprint(a.Flasks, b.Flasks) != "[1] [2]" || p.b.MixOf(p.b.Flasks[2]) != b {
		t.Errorf("mix A serves %v, mix B %v", a.Flasks, b.Flasks)
	}
	p.do(minute, action.MixServe{Mix: 2, Flasks: []int{1}})
	if a, b := p.b.Mixes[1], p.b.Mixes[2]; fmt.Sprint(a.Flasks, b.Flasks) != "[] [2 1]" {
		t.Errorf("mix A serves %v, mix B %v", a.Flasks, b.Flasks)
	}
	if got := words.MixLetter(1) + words.MixLetter(26) + words.MixLetter(27) + words.MixLetter(0); got != "AZA?" {
		t.Errorf("letters %s", got)
	}
}

// Dough added belongs to the next closure, once.
func TestDoughAddedOnce(t *testing.T) {
	p := upTo(t, bench.Trimmed)
	p.do(0, action.DoughAdd{Flask: 1})
	if !p.b.Flasks[1].AddedSince {
		t.Error("dough added is not seen")
	}
	for _, grade := range []string{"slight", "none"} {
		p.do(minute, action.PressIn{Flask: 1})
		p.do(minute, action.PressAt{Flask: 1})
		p.do(minute, action.PressOpen{Flask: 1})
		p.do(minute, action.Flash{Flask: 1, Grade: action.Grade(grade)})
	}
	f := p.b.Flasks[1]
	var added []bool
	for _, tr := range f.Trials {
		added = append(added, tr.Added)
	}
	if fmt.Sprint(added) != "[false false true false]" || f.AddedSince {
		t.Errorf("added before closures %v, since %v", added, f.AddedSince)
	}
}

// What undoes an undoing is found by what it is about in the end only so far; what could not be found any more is
// refused, and the entry itself can still be undone.
func TestUndoneOverAndOver(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	note := p.do(time.Minute, action.Note{Flask: 1, Text: "dull"})
	last, n := note, 0
	var err error
	for ; n < 100 && err == nil; n++ {
		if _, err = p.tryAt(0, action.TakeBack{Of: last}, ""); err == nil {
			last = p.recs[len(p.recs)-1].Action.ID
		}
	}
	if n != 16 || err == nil || err.Error() != "that was undone and taken up again too often: undo the entry itself, or enter it again" {
		t.Fatalf("after %d times: %v", n, err)
	}
	if it, _ := p.b.Item(note); it.TakenBack == nil {
		t.Fatal("undone fifteen times, the note counts not as undone")
	}
}

// A foreign book may undo a record by itself, in a ring: nothing that is asked about it goes round for ever.
func TestUndoneInARing(t *testing.T) {
	var recs []record.Record
	for i, of := range []string{"a", "c", "b"} {
		at := morning.Add(time.Duration(i) * time.Second)
		recs = append(recs, record.Record{Seq: uint64(i + 1), Stamp: timers.Stamp{At: at}, Action: action.Action{ID: string(rune('a' + i)), At: at, By: "KT", Body: action.TakeBack{Of: of}}})
	}
	b, now := bench.Fold(recs, bench.Counters{}), timers.Now{Reading: timers.Reading{Wall: morning.Add(time.Minute)}}
	for _, of := range []string{"a", "b", "c"} {
		a := action.Action{ID: "new", At: now.Wall, By: "KT", Body: action.TakeBack{Of: of}}
		if _, err := b.Check(a, timers.Stamp{At: now.Wall}, now); err == nil {
			t.Errorf("%s, undone in a ring, is undone", of)
		}
	}
}
