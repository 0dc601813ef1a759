package bench_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Of every list that records are added to, two benches that were moved on from one bench hold
// each its own: the second record is not found where the first was put. Random histories
// seldom tell the same of one thing often enough.
func TestMovedOnTwice(t *testing.T) {
	number := func(i int) string { return fmt.Sprint(4417 + i) }
	lists := map[string]func(i int) action.Body{
		"notes of a flask": func(i int) action.Body { return action.Note{Flask: 1, Text: number(i)} },
		"notes of a mix":   func(i int) action.Body { return action.Note{Mix: 1, Text: number(i)} },
		"notes of a load":  func(i int) action.Body { return action.Note{Load: 1, Text: number(i)} },
		"readings":         func(i int) action.Body { return action.BathReading{Bath: 1, TempC: float64(i)} },
		"alarms answered":  func(i int) action.Body { return action.AlarmHeard{Alarm: number(i)} },
		"alarms snoozed":   func(i int) action.Body { return action.AlarmShelve{Alarm: number(i), ForS: 60} },
		"closures":         func(int) action.Body { return action.PressIn{Flask: 1, Press: 1} },
		"coats":            func(int) action.Body { return action.Coat{Flask: 1, Half: action.Cast} },
		"cases": func(i int) action.Body {
			return action.CaseIn{Case: number(i), Base: "upper", Due: "2026-11-27T12:00:00+01:00"}
		},
		"cases of the plan": func(i int) action.Body { return action.CaseOff{Case: number(i), Base: "lower", Reason: "withdrawn"} },
		"lots again":        func(i int) action.Body { return action.LotIn{Material: action.Powder, Lot: number(i % 3)} },
		"cases off and on": func(i int) action.Body {
			if i%4 < 2 {
				return action.CaseOff{Case: number(i % 2), Base: "lower", Reason: "withdrawn"}
			}
			return action.CaseIn{Case: number(i % 2), Base: "lower"}
		},
		"screens":         func(int) action.Body { return action.Screen{What: action.Joined} },
		"steps of a case": func(int) action.Body { return action.CaseStep{Case: "4424", Base: "lower", Step: "boil-out"} },
		"pressure of a case": func(int) action.Body {
			return action.CaseStep{Case: "4424", Base: "lower", Step: "pot", Event: action.PressureLost}
		},
		"checks": func(i int) action.Body {
			c := float64(i)
			return action.EquipCheck{Item: "gauge", Name: "G1", ReadC: &c}
		},
		"equipment":      func(i int) action.Body { return action.EquipIn{Item: "clamp", Name: number(i)} },
		"equipment gone": func(i int) action.Body { return action.EquipOut{Item: "clamp", Name: number(i), Reason: "worn"} },
		"lots":           func(i int) action.Body { return action.LotIn{Material: action.Powder, Lot: number(i)} },
		"lots gone": func(i int) action.Body {
			return action.LotOut{Material: action.Powder, Lot: number(i), Reason: "recalled"}
		},
		"served again": func(i int) action.Body { return action.MixServe{Mix: 1, Flasks: []int{1 + i%2, 2}} },
		"timers":       func(i int) action.Body { return action.TimerStart{Timer: 1 + i, Label: number(i)} },
		"mixes": func(i int) action.Body {
			return action.MixMake{Mix: 2 + i, Flasks: []int{1, 2}, Resin: "standard", PowderG: 20, LiquidG: 10, RoomC: 21}
		},
		"flasks opened": func(i int) action.Body {
			return action.FlaskOpen{Flask: 3 + i, Place: 3 + i%6, Case: "4424", Base: "lower", Size: "medium"}
		},
		"flasks at rest": func(i int) action.Body { return action.Clamp{Flask: 1 + i%2, Clamp: number(i)} },
		"outcomes":       func(i int) action.Body { return action.Outcome{Flask: 1 + i%2, Outcome: "remake"} },
	}
	var plan action.DayPlan
	seq := uint64(0)
	as := func(by string, body action.Body) record.Record {
		seq++
		at := morning.Add(time.Duration(seq) * time.Second)
		return record.Record{Seq: seq, Stamp: timers.Stamp{At: at}, Action: action.Action{ID: fmt.Sprint("r", seq), At: at, By: by, Body: body}}
	}
	begin := []record.Record{
		as("KT", action.FlaskOpen{Flask: 1, Place: 1, Case: "4430", Base: "upper", Size: "medium"}),
		as("KT", action.FlaskOpen{Flask: 2, Place: 2, Case: "4431", Base: "upper", Size: "medium"}),
		as("KT", action.MixMake{Mix: 1, Flasks: []int{1, 2}, Resin: "standard", PowderG: 20, LiquidG: 10, RoomC: 21}),
		as("KT", action.EquipIn{Item: "gauge", Name: "G1"}),
		as("KT", action.BathLoad{Load: 1, Bath: 1, Flasks: []int{2}, Programme: "long, 9 h"}),
	}
	for i := range 8 {
		begin = append(begin, as("KT", action.CaseIn{Case: number(i), Base: "lower"}), as("KT", action.EquipIn{Item: "clamp", Name: number(i)}))
		plan.Cases = append(plan.Cases, action.PlanCase{Case: number(i) + " lower"})
	}
	begin = append(begin, as("KT", plan))
	for name, body := range lists {
		t.Run(name, func(t *testing.T) {
			recs := slices.Clone(begin)
			cur := bench.Fold(recs, bench.Counters{})
			var kept []*bench.Bench
			var of [][]record.Record
			for i := range 7 {
				for _, by := range []string{"ZZ", "KT"} {
					r := as(by, body(i))
					next := cur.MovedOn(r)
					kept, of = append(kept, next), append(of, append(slices.Clone(recs), r))
					if by == "KT" {
						cur, recs = next, append(recs, r)
					}
				}
			}
			for i, b := range kept {
				if !b.Same(bench.Fold(of[i], bench.Counters{})) {
					t.Fatalf("bench %d is another than the fold of its records", i)
				}
			}
		})
	}
}

// A foreign book may hold an id twice: the later record is then the one that is meant, also by
// a correction before it.
func TestMovedOnWithAnIDAgain(t *testing.T) {
	var recs []record.Record
	say := func(id string, body action.Body) record.Record {
		at := morning.Add(time.Duration(len(recs)+1) * time.Second)
		recs = append(recs, record.Record{Seq: uint64(len(recs) + 1), Stamp: timers.Stamp{At: at}, Action: action.Action{ID: id, At: at, By: "KT", Body: body}})
		return recs[len(recs)-1]
	}
	open := action.FlaskOpen{Flask: 1, Place: 1, Case: "4430", Base: "upper", Size: "medium"}
	b := bench.Fold(nil, bench.Counters{}).MovedOn(say("a", open)).MovedOn(say("b", correct("a", `{"case":"4431"}`)))
	if got := b.Flasks[1].Case; got != "4431" {
		t.Fatalf("corrected, the case is %s", got)
	}
	if b = b.MovedOn(say("a", open)); !b.Same(bench.Fold(recs, bench.Counters{})) {
		t.Errorf("the case is %s, not as in the fold", b.Flasks[1].Case)
	}
}

// A foreign book may tell of a flask before it opens it, or of one that it never opens.
func TestMovedOnWithAFlaskNotOpened(t *testing.T) {
	outcome := action.Outcome{Flask: 1, Outcome: "remake"}
	for name, bodies := range map[string][]action.Body{
		"opened at last": {action.Inspect{Flask: 1}, action.FlaskOpen{Flask: 1, Place: 1, Case: "4430", Base: "upper", Size: "medium"}},
		"moved":          {outcome, action.FlaskMove{Flask: 1, Place: 1}, outcome},
	} {
		t.Run(name, func(t *testing.T) {
			var recs []record.Record
			b := bench.Fold(nil, bench.Counters{})
			for i, body := range bodies {
				at := morning.Add(time.Duration(i) * time.Second)
				recs = append(recs, record.Record{Seq: uint64(i + 1), Stamp: timers.Stamp{At: at}, Action: action.Action{ID: fmt.Sprint("r", i), At: at, By: "KT", Body: body}})
				if b = b.MovedOn(recs[i]); !b.Same(bench.Fold(recs, bench.Counters{})) {
					t.Fatalf("after %d it is not as in the fold", i+1)
				}
			}
		})
	}
}
