package bench_test

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/house"
	"flaskside/timers"
)

// Each unusual code: the story that leads to it, the words said, and the same story
// a moment later or otherwise, where it is not.
func TestUnusualCodes(t *testing.T) {
	packed := func(p *paper) { // two flasks coated, dried, with dough
		p.do(0, open(1))
		p.do(0, open(2))
		p.do(0, action.Coat{Flask: 1, Half: "both"})
		p.do(0, action.Coat{Flask: 2, Half: "both"})
		p.do(0, action.MixMake{Flasks: []int{1, 2}})
		p.do(10*minute, action.MixDough{Mix: 1})
	}
	at := func(s bench.FlaskStage) func(p *paper) {
		return func(p *paper) { *p = *upTo(p.t, s) }
	}
	settle := func(change func(h *house.House)) func(p *paper) {
		return func(p *paper) {
			h := house.Default()
			change(&h)
			p.do(0, action.Settings{House: h})
		}
	}
	for _, c := range []struct {
		name  string
		story []func(p *paper)
		after time.Duration
		body  action.Body
		codes string // in the order recorded, "" for nothing unusual
		words string
	}{
		{"a step out of order", []func(p *paper){func(p *paper) { p.do(0, open(1)) }}, 0, action.Deflask{Flasks: []int{1}}, "out-of-order", `deflasked while the flask is at "separator to paint"`},
		{"a mix for a flask in the bath", []func(p *paper){at(bench.InBath)}, 0, action.MixMake{Flasks: []int{1}}, "out-of-order", `a mix for a flask at "in the bath"`},
		{"press taken", []func(p *paper){packed, func(p *paper) { p.do(0, action.PressIn{Flask: 2}) }}, 0, action.PressIn{Flask: 1}, "press-taken", "case 4402 is in press 1"},
		{"press taken, at pressure", []func(p *paper){packed, func(p *paper) { p.do(0, action.PressIn{Flask: 2}); p.do(0, action.PressAt{Flask: 2}) }}, 0, action.PressIn{Flask: 1}, "press-taken", "case 4402 is in press 1"},
		{"the press opened again", []func(p *paper){packed, func(p *paper) {
			p.do(0, action.PressIn{Flask: 2})
			p.do(0, action.PressAt{Flask: 2})
			p.do(minute, action.PressOpen{Flask: 2})
		}}, 0, action.PressIn{Flask: 1}, "", ""},
		{"in the press twice, by itself", []func(p *paper){packed, func(p *paper) { p.do(0, action.PressIn{Flask: 1}) }}, 0, action.PressIn{Flask: 1}, "out-of-order", `trial closure while the flask is at "in the press"`},
		{"the other press", []func(p *paper){packed, func(p *paper) {
			h := p.b.House
			h.Press.Presses = 2
			p.do(0, action.Settings{House: h})
			p.do(0, action.PressIn{Flask: 2})
		}}, 0, action.PressIn{Flask: 1, Press: 2}, "", ""},
		{"no separator", []func(p *paper){func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.MixMake{Flasks: []int{1}})
			p.do(10*minute, action.MixDough{Mix: 1})
		}}, 0, action.PressIn{Flask: 1}, "out-of-order no-separator", "no separator recorded on the cast half"},
		{"no separator on one half", []func(p *paper){func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.Coat{Flask: 1, Half: "cast"})
			p.do(0, action.MixMake{Flasks: []int{1}})
			p.do(10*minute, action.MixDough{Mix: 1})
		}}, 0, action.PressIn{Flask: 1}, "no-separator", "no separator recorded on the teeth half"},
		{"separator a second too wet", []func(p *paper){packed, func(p *paper) { p.do(0, action.Coat{Flask: 1, Half: "teeth"}) }}, 10*minute - second, action.PressIn{Flask: 1}, "separator-wet", "separator on the teeth half has dried 9 min 59 s of 10 min"},
		{"separator just dry", []func(p *paper){packed, func(p *paper) { p.do(0, action.Coat{Flask: 1, Half: "teeth"}) }}, 10 * minute, action.PressIn{Flask: 1}, "", ""},
		{"separator too old", []func(p *paper){settle(func(h *house.House) { h.Separator.DryMaxS = 1200 }), packed}, 10*minute + second, action.PressIn{Flask: 1}, "separator-old", "separator on the cast half was painted 20 min 1 s ago, limit 20 min"},
		{"separator at its limit", []func(p *paper){settle(func(h *house.House) { h.Separator.DryMaxS = 1200 }), packed}, 10 * minute, action.PressIn{Flask: 1}, "", ""},
		{"separator asked about at the first closure only", []func(p *paper){at(bench.Trimmed), func(p *paper) { p.do(0, action.Coat{Flask: 1, Half: "teeth"}, "1") }}, 0, action.PressIn{Flask: 1}, "", ""},
		{"no mix", []func(p *paper){func(p *paper) { p.do(0, open(1)); p.do(0, action.Coat{Flask: 1, Half: "both"}) }}, 10 * minute, action.PressIn{Flask: 1}, "no-mix", "no mix recorded for this flask"},
		{"not dough yet", []func(p *paper){func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.Coat{Flask: 1, Half: "both"})
			p.do(10*minute, action.MixMake{Flasks: []int{1}, DoughS: 600, WorkS: 2700})
		}}, 590 * second, action.PressIn{Flask: 1}, "not-dough", "mix A is not expected to be dough yet"},
		{"dough by the clock, unmarked", []func(p *paper){func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.Coat{Flask: 1, Half: "both"})
			p.do(10*minute, action.MixMake{Flasks: []int{1}, DoughS: 600, WorkS: 2700})
		}}, 610 * second, action.PressIn{Flask: 1}, "", ""},
		{"dough late", []func(p *paper){packed}, 3 * hour, action.PressIn{Flask: 1}, "dough-late", "past its working time (estimate)"},
		{"dough late at the final closure", []func(p *paper){at(bench.Sheetout)}, 3 * hour, action.MetalToMetal{Flask: 1}, "dough-late", "past its working time (estimate)"},
		{"a mix marked stiff", []func(p *paper){packed, func(p *paper) { p.do(0, action.MixStiff{Mix: 1}) }}, 0, action.PressIn{Flask: 1}, "stiff-mix", "mix A was marked too stiff"},
		{"a stiff mix served", []func(p *paper){packed, func(p *paper) { p.do(0, open(3)); p.do(0, action.MixStiff{Mix: 1}) }}, 0, action.MixServe{Mix: 1, Flasks: []int{3}}, "stiff-mix", "mix A was marked too stiff"},
		{"held short", []func(p *paper){at(bench.Holding)}, 59 * second, action.PressOpen{Flask: 1}, "hold-short", "held 59 s of 60 s"},
		{"held long enough", []func(p *paper){at(bench.Holding)}, 60 * second, action.PressOpen{Flask: 1}, "", ""},
		{"held as agreed, not as the house says", []func(p *paper){at(bench.InPress), func(p *paper) { p.do(0, action.PressAt{Flask: 1, HoldS: 120}) }}, 119 * second, action.PressOpen{Flask: 1}, "hold-short", "held 119 s of 120 s"},
		{"not ready", []func(p *paper){packed, func(p *paper) {
			p.do(0, action.PressIn{Flask: 1})
			p.do(0, action.PressAt{Flask: 1})
			p.do(minute, action.PressOpen{Flask: 1})
			p.do(0, action.Flash{Flask: 1, Grade: "heavy"})
		}}, 0, action.SheetOut{Flask: 1}, "not-ready", "not ready for final closure: "},
		{"set short", []func(p *paper){at(bench.Set)}, 30*minute - second, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "set-short", "bench set 29 min 59 s of 30 min"},
		{"cure short", []func(p *paper){at(bench.InBath)}, 9*hour - second, action.BathUnload{Flasks: []int{1}}, "cure-short", "in the bath 8 h 59 min of 9 h"},
		{"cured long enough", []func(p *paper){at(bench.InBath)}, 9 * hour, action.BathUnload{Flasks: []int{1}}, "", ""},
		{"cooled short on the bench", []func(p *paper){at(bench.Cooling)}, 30*minute - second, action.CoolWater{Flasks: []int{1}}, "cool-short", "cooled 29 min 59 s of 30 min"},
		{"cooled short in water", []func(p *paper){at(bench.InWater)}, 15*minute - second, action.Deflask{Flasks: []int{1}}, "cool-short", "cooled 14 min 59 s of 15 min"},
		{"water left out, and too soon", []func(p *paper){at(bench.Cooling)}, minute, action.Deflask{Flasks: []int{1}}, "out-of-order cool-short", `deflasked while the flask is at "cooling on the bench"`},
		{"water left out after the bench cooling", []func(p *paper){at(bench.Cooling)}, 30 * minute, action.Deflask{Flasks: []int{1}}, "out-of-order", `deflasked while the flask is at "cooling on the bench"`},
		{"released without a check", []func(p *paper){at(bench.Open)}, 0, action.Outcome{Flask: 1, Outcome: "finished here"}, "out-of-order", `finished here while the flask is at "deflasked"`},
		{"a remake at any stage", []func(p *paper){at(bench.Holding)}, 0, action.Outcome{Flask: 1, Outcome: "remake"}, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := newPaper(t)
			for _, s := range c.story {
				s(p)
			}
			p.ck.Run(c.after)
			_, err := p.tryAt(0, c.body, "")
			if c.codes == "" {
				if err != nil {
					t.Fatalf("asks: %v", err)
				}
				if got := p.recs[len(p.recs)-1].Action.Unusual; len(got) != 0 {
					t.Errorf("recorded as %v", got)
				}
				return
			}
			var ask *bench.NeedsReason
			if !errors.As(err, &ask) {
				t.Fatalf("%v, want it to ask for a reason", err)
			}
			if !strings.HasPrefix(err.Error(), "unusual: ") || !strings.HasSuffix(err.Error(), `: give a reason in "why" (a digit 1 to 9, or words)`) || !strings.Contains(err.Error(), c.words) || strings.Contains(err.Error(), "\n") {
				t.Errorf("it says %q, want %q", err, c.words)
			}
			if p.n != len(p.recs) {
				t.Error("a record was made of what was refused")
			}
			if got := p.unusual(0, c.body, "3"); strings.Join(got, " ") != c.codes {
				t.Errorf("recorded as %v, want %s", got, c.codes)
			}
			if got := p.recs[len(p.recs)-1].Action.Why; got != "3" {
				t.Errorf("the reason recorded is %q", got)
			}
		})
	}
}

// Each refusal, with the story that leads to it. What is refused is impossible, not
// merely out of order: a reason does not help.
func TestRefusals(t *testing.T) {
	none := func(*paper) {}
	one := func(p *paper) { p.do(0, open(1)) }
	at := func(s bench.FlaskStage) func(p *paper) { return func(p *paper) { *p = *upTo(p.t, s) } }
	set := func(s string) json.RawMessage { return json.RawMessage(s) }
	for _, c := range []struct {
		name  string
		story func(p *paper)
		ago   time.Duration
		body  action.Body
		want  string
	}{
		{"the future", one, -3 * second, action.Inspect{Flask: 1}, "2026-11-25 08:00:03 +01:00 lies in the future (now is 2026-11-25 08:00:00 +01:00): check the time"},
		{"a bad value", one, 0, action.FlaskMove{Flask: 1, Place: 10}, "place must be 1 to 9, not 10"},
		{"an empty bench", none, 0, action.Inspect{Flask: 1}, "there is no flask 1 on the bench: the bench is empty"},
		{"another flask", one, 0, action.Inspect{Flask: 7}, "there is no flask 7 on the bench: at work are 1"},
		{"a flask that is done", at(bench.Finished), 0, action.Inspect{Flask: 1}, "there is no flask 1 on the bench: the bench is empty"},
		{"one of several", one, 0, action.Deflask{Flasks: []int{1, 2}}, "there is no flask 2 on the bench"},
		{"before the last record of the flask", one, 5 * second, action.Inspect{Flask: 1}, "2026-11-25 07:59:55 +01:00 is before the last record of flask 1 (2026-11-25 08:00:00 +01:00): check the time"},
		{"a place taken", one, 0, open(1), "place 1 is taken by flask 1 (case 4401)"},
		{"a move to a place taken", func(p *paper) { p.do(0, open(1)); p.do(0, open(2)) }, 0, action.FlaskMove{Flask: 2, Place: 1}, "place 1 is taken by flask 1 (case 4401)"},
		{"a move to where it is", one, 0, action.FlaskMove{Flask: 1, Place: 1}, "flask 1 stands on place 1 already"},
		{"a flask number used before", at(bench.Finished), 0, action.FlaskOpen{Flask: 1, Place: 2, Case: "x", Base: "upper", Size: "small"}, "flask 1 was used before: numbers go up, the next is 2"},
		{"a mix number used before", at(bench.InPress), 0, action.MixMake{Mix: 1, Flasks: []int{1}}, "mix 1 was used before: numbers go up, the next is 2"},
		{"a load number used before", at(bench.InBath), 0, action.BathLoad{Load: 1, Flasks: []int{1}, Programme: "long, 9 h"}, "load 1 was used before: numbers go up, the next is 2"},
		{"a timer number used before", func(p *paper) { p.do(0, action.TimerStart{Label: "x", Count: "up"}) }, 0, action.TimerStart{Timer: 1, Label: "y", Count: "up"}, "timer 1 was used before: numbers go up, the next is 2"},
		{"no such mix", one, 0, action.MixDough{Mix: 4}, "there is no mix 4 at work"},
		{"a mix served before it was made", at(bench.InPress), hour, action.MixServe{Mix: 1, Flasks: []int{1}}, "is before mix 1 was made (2026-11-25 08:07:00 +01:00): check the time"},
		{"dough before the mix was made", at(bench.InPress), hour, action.MixDough{Mix: 1}, "is before mix 1 was made"},
		{"a mix for a flask that is not there", one, 0, action.MixMake{Flasks: []int{1, 5}}, "there is no flask 5 on the bench"},
		{"a resin the house does not know", one, 0, action.MixMake{Flasks: []int{1}, Resin: "mystery"}, `the settings have no resin "mystery": give powder_g, liquid_g, dough_s and work_s, or one of heat-cured, general`},
		{"nothing judged to add to", at(bench.Judging), 0, action.FlashMore{Flask: 2, Grams: 1}, "there is no flask 2 on the bench"},
		{"nothing judged yet", one, 0, action.FlashMore{Flask: 1, Grams: 1}, "flask 1 has no judged closure to add to"},
		{"a bath the house does not have", at(bench.Set), 0, action.BathLoad{Bath: 2, Flasks: []int{1}, Programme: "long, 9 h"}, "there is no bath 2: the settings have 1"},
		{"a programme the house does not know", at(bench.Set), 0, action.BathLoad{Flasks: []int{1}, Programme: "mystery"}, `the settings have no programme "mystery": give stages, or one of long, 9 h, long and boil`},
		{"a reading of no bath", none, 0, action.BathReading{Bath: 2, TempC: 70}, "there is no bath 2: the settings have 1"},
		{"a reading before the last", func(p *paper) { p.do(0, action.BathReading{Bath: 1, TempC: 70}) }, minute, action.BathReading{Bath: 1, TempC: 71}, "is before the last reading of bath 1"},
		{"a note about no load", one, 0, action.Note{Load: 3, Text: "x"}, "there is no load 3 at work"},
		{"a note about no mix", one, 0, action.Note{Mix: 3, Text: "x"}, "there is no mix 3 at work"},
		{"a timer that does not run", none, 0, action.TimerStop{Timer: 1}, "there is no timer 1 running"},
		{"a timer stopped twice", func(p *paper) {
			p.do(0, action.TimerStart{Label: "x", Count: "up"})
			p.do(0, action.TimerStop{Timer: 1})
		}, 0, action.TimerStop{Timer: 1}, "there is no timer 1 running"},
		{"a timer stopped before it was started", func(p *paper) { p.do(0, action.TimerStart{Label: "x", Count: "up"}) }, minute, action.TimerStop{Timer: 1}, "is before timer 1 was started"},
		{"an alarm that does not stand", one, 0, action.AlarmHeard{Alarm: "flask/1/dry/cast/1#not before"}, `there is no alarm "flask/1/dry/cast/1#not before"`},
		{"a shelf for an alarm that does not stand", at(bench.Holding), 0, action.AlarmShelve{Alarm: "flask/1/hold/2#not before", ForS: 60}, `there is no alarm "flask/1/hold/2#not before"`},
		{"no record to correct", one, 0, action.Correct{Of: "zz", Set: set(`{"case":"1"}`)}, `there is no record with the id "zz"`},
		{"a correction corrected", func(p *paper) { p.do(0, open(1)); p.do(0, action.Correct{Of: "a1", Set: set(`{"case":"2"}`)}) }, 0, action.Correct{Of: "a2", Set: set(`{"of":"a1"}`)}, `an entry of the kind "correct" cannot be corrected: undo it, or enter it again`},
		{"settings corrected", func(p *paper) { p.do(0, action.Settings{House: house.Default()}) }, 0, action.Correct{Of: "a1", Set: set(`{"from":"x"}`)}, `an entry of the kind "settings" cannot be corrected`},
		{"what was taken back corrected", func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.Inspect{Flask: 1}, "1")
			p.do(0, action.TakeBack{Of: "a2"}, "6")
		}, 0, action.Correct{Of: "a2", Set: set(`{"at":"2026-11-25T08:00:00+01:00"}`)}, "that entry was undone: enter it again"},
		{"a correction with a field that is not there", one, 0, action.Correct{Of: "a1", Set: set(`{"colour":"red"}`)}, `unknown field "colour"`},
		{"a correction to a bad value", one, 0, action.Correct{Of: "a1", Set: set(`{"base":"middle"}`)}, "base must be one of upper, lower, partial, reline"},
		{"a correction into the future", one, 0, action.Correct{Of: "a1", Set: set(`{"at":"2026-11-25T09:00:00+01:00"}`)}, "lies in the future: check the time"},
		{"a correction to no time", one, 0, action.Correct{Of: "a1", Set: set(`{"at":"noon"}`)}, "at is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)"},
		{"a correction to another flask", func(p *paper) { p.do(0, open(1)); p.do(0, open(2)); p.do(0, action.Inspect{Flask: 1}, "1") }, 0, action.Correct{Of: "a3", Set: set(`{"flask":2}`)}, "a correction cannot move a record to another flask: undo it and record it again"},
		{"a correction to more flasks", func(p *paper) { p.do(0, open(1)); p.do(0, open(2)); p.do(0, action.MixMake{Flasks: []int{1}}) }, 0, action.Correct{Of: "a3", Set: set(`{"flasks":[1,2]}`)}, "a correction cannot move a record to other flasks"},
		{"a flask corrected to another place", one, 0, action.Correct{Of: "a1", Set: set(`{"place":2}`)}, "a flask is moved, not corrected, to another place"},
		{"no record to take back", one, 0, action.TakeBack{Of: "zz"}, `there is no record with the id "zz"`},
		{"taken back twice", func(p *paper) { p.do(0, open(1)); p.do(0, action.TakeBack{Of: "a1"}) }, 0, action.TakeBack{Of: "a1"}, "that entry is undone already"},
		{"a flask taken back with records on it", func(p *paper) {
			p.do(0, open(1))
			p.do(0, action.Coat{Flask: 1, Half: "cast"})
			p.do(0, action.Coat{Flask: 1, Half: "teeth"})
		}, 0, action.TakeBack{Of: "a1"}, "2 later entries depend on it; undo those first"},
		{"a mix taken back with records on it", at(bench.InPress), 0, action.TakeBack{Of: "a4"}, "later entries depend on it; undo those first"},
		{"a load taken back with records on it", at(bench.Cooling), 0, action.TakeBack{Of: "a17"}, "1 later entries depend on it; undo those first"},
		{"who is at the bench taken back", func(p *paper) { p.do(0, action.Crew{Initials: "KT"}) }, 0, action.TakeBack{Of: "a1"}, `an entry of the kind "crew" cannot be undone`},
		{"a clock event taken back", func(p *paper) { p.do(0, action.ClockEvent{What: "slept", ByS: 3}) }, 0, action.TakeBack{Of: "a1"}, `an entry of the kind "clock" cannot be undone`},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := newPaper(t)
			c.story(p)
			before := benchtest.Dump(p.b, p.now())
			_, err := p.tryAt(c.ago, c.body, "1")
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("%v, want %q", err, c.want)
			}
			var ask *bench.NeedsReason
			if errors.As(err, &ask) || strings.ContainsAny(err.Error(), "\n\x1b") {
				t.Errorf("%q is not a plain refusal", err)
			}
			if d := benchtest.Difference(benchtest.Dump(p.b, p.now()), before); d != "" {
				t.Errorf("the bench changed: %s", d)
			}
		})
	}
}

// The last two seconds before now and the two after it are a clock's jitter.
func TestJitterIsNoFuture(t *testing.T) {
	p := newPaper(t)
	if _, err := p.tryAt(-bench.Ahead, open(1), ""); err != nil {
		t.Error(err)
	}
	if _, err := p.tryAt(-bench.Ahead-1, open(2), ""); err == nil {
		t.Error("2.000000001 s ahead is taken")
	}
}

// A time before the thing it happened to is told from a stepped wall clock: within
// one boot the boot clock decides.
func TestWorkGoesOnUnderAMovedClock(t *testing.T) {
	for _, by := range []time.Duration{-hour, hour} {
		p := upTo(t, bench.InPress)
		p.ck.Step(by)
		p.do(40*second, action.PressAt{Flask: 1})
		p.ck.Step(-by)
		p.do(60*second, action.PressOpen{Flask: 1})
		if got := p.b.Flasks[1].Trials[1].HeldS; got != 60 {
			t.Errorf("clock moved by %v: held %d s, want 60", by, got)
		}
	}
}

// Initials are those at the bench where the action gives none.
func TestInitialsFilledIn(t *testing.T) {
	p := newPaper(t)
	p.do(0, action.Crew{Initials: "AB"})
	now := p.now()
	got, err := p.b.Check(action.Action{ID: "x", At: now.Wall, Body: open(1)}, timers.StampAt(now.Wall, now.Reading), now)
	if err != nil || got.By != "AB" {
		t.Errorf("by %q, %v", got.By, err)
	}
}

// What another said was unusual does not count: the bench fills it in itself.
func TestUnusualIsFilledInByTheBench(t *testing.T) {
	p := newPaper(t)
	now := p.now()
	got, err := p.b.Check(action.Action{ID: "x", At: now.Wall, Body: open(1), Unusual: []string{"made up"}}, timers.StampAt(now.Wall, now.Reading), now)
	if err != nil || len(got.Unusual) != 0 {
		t.Errorf("unusual %v, %v", got.Unusual, err)
	}
}

// A thing done a while ago is judged as of then: the dough was good and the hold was
// short when it was done, whatever is now.
func TestJudgedAsOfTheAct(t *testing.T) {
	p := upTo(t, bench.Drying) // dough marked at 08:16
	p.ck.Run(3 * hour)
	if _, err := p.tryAt(3*hour-minute, action.PressIn{Flask: 1}, ""); err != nil {
		t.Errorf("pressed in the dough's time, entered later: %v", err)
	}
	if _, err := p.tryAt(3*hour-2*minute, action.PressAt{Flask: 1}, ""); err != nil {
		t.Errorf("pressure reached, entered later: %v", err)
	}
	_, err := p.tryAt(3*hour-2*minute-30*second, action.PressOpen{Flask: 1}, "")
	var ask *bench.NeedsReason
	if !errors.As(err, &ask) || ask.Odd[0].Code != "hold-short" || !strings.Contains(err.Error(), "held 30 s of 60 s") {
		t.Errorf("held 30 s, entered hours later: %v", err)
	}
}

// After a restart of the machine work goes on by the wall clock.
func TestWorkGoesOnAfterARestart(t *testing.T) {
	p := upTo(t, bench.InBath)
	p.ck.Run(hour)
	p.ck.Reboot(8*hour-second, "boot-2")
	_, err := p.tryAt(0, action.BathUnload{Flasks: []int{1}}, "")
	var ask *bench.NeedsReason
	if !errors.As(err, &ask) || ask.Odd[0].Code != "cure-short" {
		t.Errorf("a second before nine hours: %v", err)
	}
	p.ck.Run(second)
	if _, err := p.tryAt(0, action.BathUnload{Flasks: []int{1}}, ""); err != nil {
		t.Errorf("after nine hours: %v", err)
	}
}
