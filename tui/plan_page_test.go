package tui

import (
	"fmt"
	"testing"
	"time"

	"flaskside/logbook/action"
)

// planDesk80 is a bench in the morning with cases on the list.
func planBench(t *testing.T, w, h, cases int) *desk {
	t.Helper()
	d := newDesk(t, w, h)
	d.m.cfg.PlanDays = 24
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
