package dayplan

import (
	"reflect"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/route"
	"flaskside/timers/plan"
)

// What a mould wants before its separator is what the table of its route says: hands and time of each step still ahead, and
// what runs now. Steps that are switched off or done want nothing; a case on no route wants none.
func TestWhatAMouldWantsBeforeItsSeparator(t *testing.T) {
	h := newTold(morning)
	in := func(number, way string) bench.Case {
		h.must(t, 0, action.CaseIn{Case: number, Base: "upper", Size: "medium", Due: morning.Add(30 * time.Hour).Format(time.RFC3339), Route: way})
		k, _ := h.b.CaseOnList(number, "upper")
		return k
	}
	if from, work := mouldOf(h.b, in("4401", ""), h.now()); !from.IsZero() || work != nil {
		t.Errorf("on no route: %v, %v", from, work)
	}
	in("4402", route.Packed)
	all := []plan.Prep{{HandsMin: 5, ThenMin: 15}, {HandsMin: 7, ThenMin: 15}, {HandsMin: 5, ThenMin: 60}, {HandsMin: 2, ThenMin: 5}, {HandsMin: 5, ThenMin: 0}, {HandsMin: 1, ThenMin: 10}}
	of := func() (time.Time, []plan.Prep) {
		k, _ := h.b.CaseOnList("4402", "upper")
		return mouldOf(h.b, k, h.now())
	}
	if from, work := of(); !from.IsZero() || !reflect.DeepEqual(work, all) {
		t.Errorf("nothing done: %v, %v", from, work)
	}
	h.must(t, 0, action.CaseStep{Case: "4402", Base: "upper", Step: "layer-1"})
	h.must(t, 15*time.Minute, action.CaseStep{Case: "4402", Base: "upper", Step: "layer-2"})
	h.ck.Run(5 * time.Minute)
	if from, work := of(); !from.Equal(h.now().Wall.Add(10*time.Minute)) || !reflect.DeepEqual(work, all[2:]) {
		t.Errorf("5 min after the second layer: %v at %v, %v", from, h.now().Wall, work)
	}
}
