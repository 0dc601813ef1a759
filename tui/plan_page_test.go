package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers/longrun"
)

// planDesk80 is a bench in the morning with cases on the list.
func planBench(t *testing.T, w, h, cases int) *desk {
	t.Helper()
	d := newDesk(t, w, h)
	d.m.cfg.PlanDays = 12
	d.advise, d.m.advising = true, false
	sizes := []action.Size{"medium", "small", "large"}
	for i := range cases {
		due := shiftStart.Add(9*time.Hour).AddDate(0, 0, i/2)
		c := action.CaseIn{Case: fmt.Sprint(4417 + 3*i), Base: "upper", Size: sizes[i%3], Due: due.Format(time.RFC3339), Rush: i == 0}
		if _, err := d.book.Append(action.Action{ID: fmt.Sprint("c", i), At: d.ck.Read().Wall, By: "KT", Body: c}); err != nil {
			t.Fatal(err)
		}
	}
	d.m.refresh(d.book.State())
	return d
}

// The plan of the morning at each size, taken, and what the bench then tells of it; a case
// that comes in is told once, in one line, and nothing changes until a person takes the new
// plan.
func TestDayPlanPage(t *testing.T) {
	for _, s := range []struct{ w, h int }{{80, 24}, {100, 30}, {160, 45}} {
		d := planBench(t, s.w, s.h, 6)
		d.press("+ 8 7").golden(fmt.Sprintf("dayplan-%dx%d", s.w, s.h))
		d.sees("the day planned", "+  take this plan", "1 pair of hands, 1 press, bath 1")
		d.press("+")
		if p := d.book.State().Bench.Planned; p == nil || len(p.Cases) != 6 || len(p.Mixes) < 3 || len(d.book.State().Bench.Flasks) != 0 {
			t.Fatalf("taken: %+v", p)
		}
		d.sees("taken 08:00 by KT; foretold anew from now")
		d.press("0").wait(11 * time.Second)
		d.golden(fmt.Sprintf("dayplan-bench-%dx%d", s.w, s.h))
	}
}

// A case that comes in after the plan was taken is told in one line, on the bench and on the
// page; the plan holds until a person takes the new one, which can be seen before.
func TestDayPlanIsReplacedByAPersonAlone(t *testing.T) {
	d := planBench(t, 80, 24, 4)
	d.press("m +")
	first := d.book.State().Bench.Planned.ID
	late := action.CaseIn{Case: "4460", Base: "lower", Size: "small", Due: shiftStart.Add(9 * time.Hour).Format(time.RFC3339), Rush: true}
	if _, err := d.book.Append(action.Action{ID: "late", At: d.ck.Read().Wall, By: "AB", Body: late}); err != nil {
		t.Fatal(err)
	}
	d.m.refresh(d.book.State())
	d.press("0").wait(11 * time.Second)
	d.sees("day plan: case 4460 lower", "came in")
	d.press("m").sees("case 4460 lower came in: ", "take the new plan", "taken 08:00 by KT")
	if got := d.book.State().Bench.Planned.ID; got != first {
		t.Errorf("the plan was replaced by %s unasked", got)
	}
	d.press("*").sees("the new plan; it is not taken yet", "4460 lower")
	d.golden("dayplan-again-80x24")
	d.press("*").sees("taken 08:00 by KT")
	d.press("- 6") // stay with it
	d.press("0").wait(11 * time.Second)
	if strings.Contains(d.screen(), "day plan:") {
		t.Errorf("told again after a person stayed with the plan:\n%s", d.screen())
	}
	d.press("m - 5").sees("asked for: ")
	d.press("+")
	if p := d.book.State().Bench.Planned; p.ID == first || p.Reason != "asked for" || len(p.Cases) != 5 {
		t.Errorf("taken anew: %+v", p)
	}
	d.press("- 3 2") // a person's own choice: another case first
	d.press("+")
	if p := d.book.State().Bench.Planned; len(p.First) != 1 || p.Mixes[0].Cases[0] != p.First[0] {
		t.Errorf("chosen first: %+v, mixes %+v", p.First, p.Mixes)
	}
	d.press("- 4 1 enter +")
	if p := d.book.State().Bench.Planned; len(p.First) != 1 || len(p.Together) != 1 || p.Mixes[0].Cases[0] != p.First[0] {
		t.Errorf("chosen: %+v, %+v, mixes %+v", p.First, p.Together, p.Mixes)
	}
	d.press("- 7") // put away
	if p := d.book.State().Bench.Planned; p != nil {
		t.Errorf("put away: %+v", p)
	}
	d.sees("+  take this plan")
}

// What a person asks what if of is told beside the plan as it is, and changes nothing.
func TestDayPlanWhatIf(t *testing.T) {
	d := planBench(t, 80, 24, 4)
	records := d.book.State().Head.Seq
	d.press("m - 2 2").sees("what if: with 2 presses (estimates; you decide)", "4417 upper", "0  back to the plan")
	d.golden("dayplan-whatif-80x24")
	d.press("0").sees("+  take this plan")
	d.press("- 2 1 1 2 17 enter 2").sees("what if: a case more, small, due Thu 17:00, rush", "more ")
	d.press("0 - 2 4").sees("what if: without case 4417 upper")
	d.press("0 - 1 2 enter 9 enter 1630 enter enter").sees("2 pairs of hands")
	d.press("- 1").sees("ENTER: 2")
	d.press("enter enter enter 1 enter").sees("choose at least 1")
	if got := d.book.State().Head.Seq; got != records {
		t.Errorf("%d records were made by asking", got-records)
	}
}

// Whatever happens to the day, the page stands: no case, all of them late, the clock set back a day
// and more, midnight, a bath and the press out of use, more cases than a plan has room for. A plan
// whose day is over is followed no more, and none is taken by itself.
func TestDayPlanStandsAHostileDay(t *testing.T) {
	longrun.Only(t, "a day on which everything happens, planned anew each time")
	d := planBench(t, 80, 24, 0)
	d.m.cfg.PlanDays = 4
	d.press("m + + enter").sees("no cases: nothing to plan", "there is no plan to take")
	d.press("- 3").sees("no case waits for a mix")
	n := 0
	tell := func(b action.Body) {
		t.Helper()
		n++
		if _, err := d.book.Append(action.Action{ID: fmt.Sprint("h", n), At: d.ck.Read().Wall, By: "AB", Body: b, Why: "4"}); err != nil {
			t.Fatal(err)
		}
		d.m.refresh(d.book.State())
	}
	in := func(number int, due time.Time, resin string) {
		tell(action.CaseIn{Case: fmt.Sprint(number), Base: "upper", Size: "small", Due: due.Format(time.RFC3339), Resin: resin})
	}
	in(4400, shiftStart.Add(-30*time.Hour), "")
	in(4401, shiftStart.Add(time.Hour), "nobody's resin")
	d.press("0 m").sees("already late", "cannot be ready by then")
	d.press("enter").sees("nobody's resin")
	d.press("+").sees("taken 08:00")
	taken := d.book.State().Bench.Planned.ID
	d.ck.Step(-30 * time.Hour) // the clock is set back
	d.press("0").wait(11 * time.Second)
	d.press("m").sees("the day planned")
	d.ck.Step(30 * time.Hour)
	d.wait(11 * time.Second)
	d.press("m").sees("taken ")
	tell(action.EquipIn{Item: action.Bath, Name: "1"})
	tell(action.EquipOut{Item: action.Bath, Name: "1", Reason: "under repair"})
	d.press("0 m").sees("no bath is left to plan with")
	d.press("+ enter - 2 2").sees("no bath is left to plan with")
	d.press("0 0").wait(11 * time.Second)
	d.sees("day plan: bath 1 is out")
	tell(action.EquipIn{Item: action.Bath, Name: "1"})
	tell(action.EquipIn{Item: action.Press, Name: "1"})
	tell(action.EquipOut{Item: action.Press, Name: "1", Reason: "broken"})
	d.press("m").sees("no press can be used: ")
	d.press("enter").sees("every press is out of use")
	tell(action.EquipIn{Item: action.Press, Name: "1"})
	for i := range 45 {
		in(4500+i, shiftStart.Add(30*time.Hour), "")
	}
	d.press("0 m").sees("more wait and are in no plan: it has room for 40")
	if got := d.book.State().Bench.Planned.ID; got != taken {
		t.Errorf("the plan was replaced by %s unasked", got)
	}
	d.ck.Run(17 * time.Hour) // past midnight
	d.wait(11 * time.Second)
	d.press("0").wait(11 * time.Second)
	if s := d.screen(); strings.Contains(s, "day plan:") || strings.Contains(s, "mix the next") {
		t.Errorf("the plan of yesterday is followed:\n%s", s)
	}
	d.press("m").sees("Thu 26 Nov", "take this plan")
}
