package logbook

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/check"
	"flaskside/timers"
	"flaskside/timers/longrun"
)

func pieces(b *bench.Bench) [2][]bench.KnownPiece {
	held, out := b.Pieces()
	return [2][]bench.KnownPiece{held, out}
}

func celsius(v float64) *float64 { return &v }

// A register of equipment with corrections, takings back, records typed late and openings
// anew: the book's is that of all its records, its first record raises the format, and what
// it keeps alive has a bound.
func TestEquipmentOfABook(t *testing.T) {
	h := newHands(t)
	m := model{head: h.b.State().Head.Hash}
	rnd := rand.New(rand.NewPCG(5, 1))
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	if got := formatOf(t, h.b); got != "1" {
		t.Errorf("without a register the format is %q", got)
	}
	var ids []string
	for i := range 380 {
		name := fmt.Sprint("T", rnd.IntN(20))
		var body action.Body = action.EquipIn{Item: "thermometer", Name: name, On: "bath 1"}
		ago := time.Duration(0)
		switch n := rnd.IntN(14); {
		case n < 4:
			body = action.EquipOut{Item: "thermometer", Name: name, Reason: action.EquipmentOut[rnd.IntN(6)]}
		case n < 8:
			body, ago = action.EquipCheck{Item: "thermometer", Name: name, IceC: celsius(float64(rnd.IntN(4)))}, time.Duration(rnd.IntN(3))*time.Hour
		case n < 10 && len(ids) > 0:
			body = action.TakeBack{Of: ids[rnd.IntN(len(ids))]}
		case n == 10 && len(ids) > 0:
			body = action.Correct{Of: ids[rnd.IntN(len(ids))], Set: []byte(`{"ice_c":0.5}`)}
		case n == 11:
			body = action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}
		}
		h.ck.Run(time.Minute)
		saved, err := h.b.Append(action.Action{ID: fmt.Sprint("x", i), At: h.ck.Read().Wall.Add(-ago), By: "KT", Body: body, Why: "1"})
		var bad *bench.NeedsReason
		if errors.As(err, &bad) || errors.Is(err, ErrNotSaved) {
			t.Fatal(err)
		}
		if err != nil {
			continue // what is refused is not tried again
		}
		ids = append(ids, saved.Action.ID)
		if i%longrun.Times(6, 1) == 0 || i > 370 {
			if m.recs = records(t, h.b); !reflect.DeepEqual(pieces(h.b.State().Bench), pieces(m.bench())) {
				now := timers.Now{Reading: h.ck.Read()}
				t.Fatalf("after record %d the register of the book is not that of its records:\n%s", len(m.recs), benchtest.Difference(benchtest.Dump(h.b.State().Bench, now), benchtest.Dump(m.bench(), now)))
			}
		}
		if rnd.IntN(20) == 0 {
			if err := h.b.Close(); err != nil {
				t.Fatal(err)
			}
			if h.b, err = Open(h.b.Path(), h.ck); err != nil {
				t.Fatal(err)
			}
		}
	}
	if got := formatOf(t, h.b); got != "3" {
		t.Errorf("with a register the format is %q", got)
	}
	held, out := h.b.State().Bench.Pieces()
	t.Logf("%d records, %d alive; %d in use, %d out", len(m.recs), len(h.b.State().Bench.Items), len(held), len(out))
	if len(m.recs) < 120 || len(held) < 5 || len(out) < 4 {
		t.Errorf("%d records, %d in use, %d out: too little was tried", len(m.recs), len(held), len(out))
	}
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	if rep := verified(t, h.b.Path(), check.Verifying{}); len(rep.Faults) > 0 {
		t.Errorf("%s", lines(rep.Faults))
	}
}

// Years of checks leave a few of each alive; a clamp in a record raises the format by itself.
func TestChecksDoNotGrow(t *testing.T) {
	h := newHands(t)
	h.do(0, action.EquipIn{Item: "thermometer", Name: "T1", On: "bath 1"})
	for i := range 400 {
		h.do(24*time.Hour, action.EquipCheck{Item: "thermometer", Name: "T1", IceC: celsius(float64(i%3) / 2)})
	}
	if n := len(h.b.State().Bench.Living()); n > 40 {
		t.Errorf("after 400 checks %d records are alive", n)
	}
	o := newHands(t)
	o.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	o.do(0, action.Clamp{Flask: 1, Clamp: "12"}, "8")
	if got := formatOf(t, o.b); got != "3" {
		t.Errorf("with a clamp named the format is %q", got)
	}
}

// What is gathered for a day brings along the equipment that its steps name, what is fitted
// to it and the checks of that, and nothing else; a check typed later does not change what
// the step of that day says.
func TestWholeBringsEquipment(t *testing.T) {
	h := newHands(t)
	ck := h.ck
	for _, in := range []action.EquipIn{{Item: "bath", Name: "1"}, {Item: "thermometer", Name: "T1", On: "bath 1"}, {Item: "thermometer", Name: "T9", On: "oven 1"}, {Item: "clamp", Name: "C1"}, {Item: "clamp", Name: "C2"}} {
		h.do(0, in)
	}
	h.do(0, action.EquipCheck{Item: "thermometer", Name: "T1", IceC: celsius(0)})
	from := ck.Read().Wall.Add(40 * 24 * time.Hour)
	ck.Run(40*24*time.Hour + time.Hour)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	h.do(0, action.Clamp{Flask: 1, Clamp: "C1"}, "8")
	h.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "8")
	ck.Run(48 * time.Hour)
	late := action.Action{ID: "late", At: from.Add(time.Minute), By: "KT", Body: action.EquipCheck{Item: "thermometer", Name: "T1", IceC: celsius(0)}}
	if _, err := h.b.Append(late); err != nil {
		t.Fatal(err)
	}
	whole, err := h.b.Whole(from, from.Add(24*time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	held, _ := whole.Pieces()
	for _, k := range held {
		names = append(names, fmt.Sprintf("%s %d", k.Piece(), len(k.Checks)))
	}
	if want := []string{"bath 1 0", "clamp C1 0", "thermometer T1 2"}; !reflect.DeepEqual(names, want) {
		t.Errorf("the day knows %q, want %q", names, want)
	}
	ds := whole.Loads[1].Doubts
	if len(ds) != 1 || ds[0].What != action.Overdue {
		t.Errorf("with a check typed later the load says %+v", ds)
	}
}
