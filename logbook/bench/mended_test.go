package bench_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
)

// pruned folds what is alive, as the book does after each record.
func pruned(p *paper) *bench.Bench {
	live := bench.Fold(nil, bench.Counters{})
	for _, r := range p.recs {
		var items []record.Record
		for _, it := range live.Items {
			items = append(items, it.Record)
		}
		live = bench.Fold(append(items, r), live.Top)
		live = bench.Fold(live.Living(), live.Top)
	}
	return live
}

// chatter makes n records that soon die: more than are always kept at hand.
func chatter(p *paper, n int) {
	for range n {
		p.do(second, action.ClockEvent{What: "slept", ByS: 3})
	}
}

// A flask that is finished must not come back as a ghost because a record it shares
// with one still at work is alive: here flask 2 left the bath, was finished and its
// own records died; the load of both is alive with flask 1.
func TestNoGhostFlask(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, open(2))
	p.do(0, action.BathLoad{Flasks: []int{1, 2}, Programme: "long, 9 h"}, "1")
	p.do(9*hour, action.BathUnload{Flasks: []int{2}})
	p.do(30*minute, action.CoolWater{Flasks: []int{2}})
	p.do(15*minute, action.Deflask{Flasks: []int{2}})
	p.do(minute, action.Remount{Flask: 2})
	p.do(minute, action.Outcome{Flask: 2, Outcome: "finished here"})
	p.do(minute, action.BathUnload{Flasks: []int{1}})
	chatter(p, 40)
	live := pruned(p)
	if f := live.Flasks[2]; f != nil && f.Stage != bench.Finished {
		t.Errorf("flask 2 is finished and stands at %q, case %q", f.Stage, f.Case)
	}
	for _, w := range live.Windows() {
		if w.What == bench.Cure {
			t.Errorf("both flasks are out of the bath and a cure runs for %v", w.Flasks)
		}
	}
	for _, al := range live.Alarms(p.now()) {
		if strings.Contains(al.Key, "cure") {
			t.Errorf("and rings: %s", al.Key)
		}
	}
	// Nor can anything be done to it.
	a := action.Action{ID: "x", At: p.now().Wall, Body: action.Inspect{Flask: 2}, Why: "1"}
	if _, err := live.Check(a, live.Items[len(live.Items)-1].Stamp, p.now()); err == nil {
		t.Error("a step on the finished flask 2 is taken")
	}
	// It must not keep the shared records alive for ever.
	p.do(minute, action.Outcome{Flask: 1, Outcome: "remake"})
	chatter(p, 40)
	for _, it := range pruned(p).Items {
		if it.Seq <= 3 {
			t.Errorf("record %d (%s) is still alive with nothing at work", it.Seq, it.Action.Kind())
		}
	}
}

// The same with a mix.
func TestNoGhostFlaskOfAMix(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, open(2))
	p.do(0, action.MixMake{Flasks: []int{1, 2}})
	p.do(minute, action.Outcome{Flask: 2, Outcome: "remake"})
	chatter(p, 40)
	live := pruned(p)
	if f := live.Flasks[2]; f != nil && f.Stage != bench.Finished {
		t.Errorf("flask 2 is finished and stands at %q, case %q", f.Stage, f.Case)
	}
	p.do(minute, action.Outcome{Flask: 1, Outcome: "remake"})
	p.ck.Run(24 * hour)
	chatter(p, 40)
	for _, it := range pruned(p).Items {
		if it.Action.Kind() == "mix" {
			t.Error("the mix is alive a day later with nothing at work")
		}
	}
}

// Two flasks never stand on one place, whatever is corrected or taken back.
func TestOneFlaskAPlace(t *testing.T) {
	for _, c := range []struct {
		name  string
		story func(p *paper)
		last  action.Body
	}{
		{"a move corrected to a place taken", func(p *paper) {
			p.do(0, open(1))
			p.do(0, open(2))
			p.do(0, action.FlaskMove{Flask: 1, Place: 3})
		}, action.Correct{Of: "a3", Set: json.RawMessage(`{"place":2}`)}},
		{"a move taken back when its place is taken", func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.FlaskMove{Flask: 1, Place: 3})
			p.do(0, open(1))
		}, action.TakeBack{Of: "a2"}},
		{"the taking back of an opening taken back", func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.TakeBack{Of: "a1"}, "6")
			p.do(0, open(1))
		}, action.TakeBack{Of: "a2"}},
		{"a correction of a move taken back", func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.FlaskMove{Flask: 1, Place: 3})
			p.do(0, action.Correct{Of: "a2", Set: json.RawMessage(`{"place":4}`)})
			p.do(0, open(3))
		}, action.TakeBack{Of: "a3"}},
	} {
		p := newPaper(t)
		c.story(p)
		_, err := p.tryAt(0, c.last, "6")
		places := map[int][]int{}
		for _, f := range p.b.Flasks {
			if f.Place > 0 && f.Stage != bench.Finished {
				places[f.Place] = append(places[f.Place], f.No)
			}
		}
		for place, fs := range places {
			if len(fs) > 1 {
				t.Errorf("%s: flasks %v stand on place %d", c.name, fs, place)
			}
		}
		if err == nil {
			t.Errorf("%s is taken", c.name)
		}
	}
}

// A correction cannot put a thing before what it happened to.
func TestCorrectedTimesKeepTheirOrder(t *testing.T) {
	for _, c := range []struct {
		name, of, at string
		stage        bench.FlaskStage
	}{
		{"the press opened before the pressure was reached", "a8", "08:10:00", bench.Judging},
		{"a hold from before the press", "a7", "08:00:30", bench.Holding},
		{"dough before the mix was made", "a5", "08:01:00", bench.Drying},
		{"a coat before the flask was opened", "a2", "07:00:00", bench.Drying},
	} {
		p := upTo(t, c.stage)
		if c.stage == bench.Judging || c.stage == bench.Holding { // the first closure
			p = newPaper(t)
			for _, s := range route {
				p.do(s.after, s.body)
				if s.to == c.stage {
					break
				}
			}
		}
		set := json.RawMessage(fmt.Sprintf(`{"at":"2026-11-25T%s+01:00"}`, c.at))
		if _, err := p.tryAt(0, action.Correct{Of: c.of, Set: set}, "7"); err == nil {
			held := 0
			if tr := p.b.Flasks[1].Trial(); tr != nil {
				held = tr.HeldS
			}
			t.Errorf("%s is taken; held %d s", c.name, held)
		}
	}
}

// A correction is held against the house's limits as the record was: a flask cannot
// be corrected into a bath, and a load not onto one, that is not there.
func TestCorrectionChecked(t *testing.T) {
	p := upTo(t, bench.InBath)
	if _, err := p.tryAt(0, action.Correct{Of: "a17", Set: json.RawMessage(`{"bath":7}`)}, "7"); err == nil {
		t.Error("a load corrected to bath 7 of 1 is taken")
	}
	// Values of the house filled in do not vanish by a correction to nothing.
	p = upTo(t, bench.Holding)
	n := len(p.recs)
	if _, err := p.tryAt(0, action.Correct{Of: fmt.Sprintf("a%d", n), Set: json.RawMessage(`{"pressure_psi":0}`)}, "7"); err == nil && p.b.Flasks[1].Trial().PSI == 0 {
		t.Error("a closure corrected to no pressure at all counts with 0 psi")
	}
}

// The clock set back across a restart must not shut the bench: nothing is blocked for
// a clock that was wrong, only marked.
func TestClockBackAcrossARestartDoesNotBlock(t *testing.T) {
	p := upTo(t, bench.InPress)
	p.ck.Reboot(minute, "boot-2")
	p.ck.Step(-hour) // the clock was an hour ahead until it was restarted
	for _, body := range []action.Body{action.PressAt{Flask: 1}, action.Note{Flask: 1, Text: "x"}, action.MixDough{Mix: 1}} {
		if _, err := p.tryAt(0, body, "5"); err != nil {
			t.Errorf("%s is blocked: %v", body.Kind(), err)
		}
	}
}

// Of several flasks in one action each has its own oddities and is asked for its own
// reasons.
func TestOddityBelongsToItsFlask(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, open(2))
	p.do(0, action.MetalToMetal{Flask: 1}, "1")
	p.do(0, action.MetalToMetal{Flask: 2}, "1")
	p.do(0, action.Clamp{Flask: 1})
	p.do(20*minute, action.Clamp{Flask: 2})
	p.ck.Run(15 * minute) // flask 1 has set 35 min, flask 2 15 min
	p.do(0, action.BathLoad{Flasks: []int{1, 2}, Programme: "long, 9 h"}, "4")
	for _, o := range p.b.Flasks[1].Oddities {
		if o.What == "set-short" {
			t.Error("flask 1 is marked as set too short, which flask 2 was")
		}
	}
	// A reason given for one flask does not excuse another.
	p = newPaper(t)
	p.do(0, open(1))
	p.do(0, open(2))
	p.do(0, action.Remount{Flask: 1}, "1") // flask 1 has its reason for out-of-order
	_, err := p.tryAt(0, action.Deflask{Flasks: []int{1, 2}}, "")
	var ask *bench.NeedsReason
	if !errors.As(err, &ask) {
		t.Errorf("flask 2 was never asked about: %v", err)
	}
}

// A press the house does not have is refused, as a bath is.
func TestUnknownPress(t *testing.T) {
	p := upTo(t, bench.Drying)
	if _, err := p.tryAt(0, action.PressIn{Flask: 1, Press: 7}, ""); err == nil {
		t.Error("press 7 of 1 is taken")
	}
}

// One slip of the key in a number must not end the numbering of the book.
func TestNumberingSurvivesASlip(t *testing.T) {
	p := newPaper(t)
	a := open(1)
	a.Flask = 1e9
	if _, err := p.tryAt(0, a, ""); err != nil {
		return // refused: good
	}
	if _, err := p.tryAt(0, open(2), ""); err != nil {
		t.Errorf("no flask can be opened any more: %v", err)
	}
}

// The numbers used count even where their record was taken back, folded from all
// records or from the living.
func TestTopCountsWhatWasTakenBack(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, action.TakeBack{Of: "a1"}, "6")
	if got := p.b.Top.Flask; got != 1 {
		t.Errorf("the highest flask number is %d, want 1: the next must be 2", got)
	}
}

// A mix shared out again keeps its reason and oddity on the flask when the mix itself
// is forgotten.
func TestOddityOfAForgottenMix(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, action.MixMake{Flasks: []int{1}})
	p.do(0, action.MixStiff{Mix: 1})
	p.do(0, open(2))
	p.do(0, action.MixServe{Mix: 1, Flasks: []int{2}}, "1")
	p.do(0, action.MixMake{Flasks: []int{2}})
	p.do(0, action.Outcome{Flask: 1, Outcome: "remake"})
	p.ck.Run(24 * time.Hour)
	chatter(p, 40)
	live := pruned(p)
	if a, b := len(live.Flasks[2].Oddities), len(p.b.Flasks[2].Oddities); a != b {
		t.Errorf("flask 2 has %d oddities, with all records %d", a, b)
	}
}

// Working times that come out whole are whole: 8 and 45 min at the temperature they
// are given for, not a second less.
func TestWorkingTimesAreRounded(t *testing.T) {
	r := house.Default().Resins[0]
	if d, w := bench.WorkingTimes(r, r.RefTempC, nil); d != int(r.DoughFromMin*60) || w != int(r.WorkUntilMin*60) {
		t.Errorf("%d and %d s at the temperature they hold at, want %g and %g min", d, w, r.DoughFromMin, r.WorkUntilMin)
	}
}

// Parts at 0 °C are no parts at the room's temperature: in the times worked out, in the
// record and in the marks that teach.
func TestPartsAtZeroDegreesAreCold(t *testing.T) {
	r := house.Default().Resins[0]
	plain, _ := bench.WorkingTimes(r, 23, nil)
	zero, _ := bench.WorkingTimes(r, 23, new(0.0))
	one, _ := bench.WorkingTimes(r, 23, new(1.0))
	if !(zero > one && one > plain) {
		t.Errorf("dough from %d s at 0 °C, %d at 1 °C, %d at the room's", zero, one, plain)
	}
	var got action.MixMake
	if err := json.Unmarshal([]byte(`{"flasks":[1],"jar_c":0}`), &got); err != nil || got.JarC == nil || *got.JarC != 0 {
		t.Fatalf("%+v, %v", got, err)
	}
	raw, err := json.Marshal(got)
	if err != nil || !strings.Contains(string(raw), `"jar_c":0`) {
		t.Errorf("written as %s, %v", raw, err)
	}
	if raw, err = json.Marshal(action.MixMake{Flasks: []int{1}}); err != nil || strings.Contains(string(raw), "jar_c") {
		t.Errorf("without a jar it is %s, %v", raw, err)
	}
}
