package tui

import (
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// TestEdgesOfEightyColumns: what is told in the narrow columns of 80x24 is told whole.
func TestEdgesOfEightyColumns(t *testing.T) {
	d := newDesk(t, 80, 24)
	for p := 1; p <= 2; p++ {
		d.do(action.FlaskOpen{Place: p, Case: "441" + string(rune('0'+p)), Base: "upper", Size: "medium"})
		d.do(action.Coat{Flask: p, Half: "both"})
	}
	d.wait(11 * time.Minute)
	d.sees("(2) DRYING TIME IS UP · place 1")
	d.press(". .")
	d.do(action.MixMake{Flasks: []int{1}})
	d.sees("drying time up", "dry time up, mix A")
	d.wait(8*time.Minute + 2*time.Second)
	d.do(action.MixDough{Mix: 1})
	d.sees("dry time up, mix A   37 min")
}

// TestRefusalsInWordsOfTheBench: a refusal on the screen has no name of a field of a record in it.
func TestRefusalsInWordsOfTheBench(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4411", 1, 2)
	d.press("+ 2 1 enter enter enter enter 99 enter")
	d.sees("! room must be 5 to 45 °C, not 99", "room at 99 °C: must be 5 to 45 °C")
}

// TestOneCaseIsChosenByOneDigit: keys that are named are there.
func TestOneCaseIsChosenByOneDigit(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.do(action.CaseIn{Case: "4411", Base: "upper", Size: "medium", Due: d.ck.Read().Wall.Add(time.Hour).Format(time.RFC3339)})
	d.press("-")
	d.sees("  1 choose")
	d.do(action.CaseIn{Case: "4412", Base: "upper", Size: "medium", Due: d.ck.Read().Wall.Add(time.Hour).Format(time.RFC3339)})
	d.sees("  1-2 choose")
	s := newSheet(area{0, 0, 60, 6})
	d.m.waitingLines(s, 1) // room for one line: nothing stands before it
	f := newFrame(60, 1)
	s.lines[0](f, 0, 0, 60)
	if got := strings.TrimSpace(f.plainText()); got != "2 cases wait (- lists them)" {
		t.Errorf("where one line has room: %q", got)
	}
}

// TestPressOrderIsToldWholeOrNot: of what is told beneath the timers no line stands without the others.
func TestPressOrderIsToldWholeOrNot(t *testing.T) {
	d := crowded(t, 80, 24)
	const w = 26
	d.do(action.DayPlan{Day: "2026-11-25", Mixes: []action.PlanMix{{Cases: []string{"4450 upper"}, At: "2026-11-25T08:50:00+01:00"}}, Cases: []action.PlanCase{{Case: "4450 upper", LatePercent: 5}}})
	d.m.planSaid = []string{"mix the next at about 08:50: 14 min still on the press"}
	all := d.m.pressSaid(w)
	for _, said := range all {
		if l := strings.TrimSuffix(said[0], ","); strings.HasPrefix(l, "in time:") && !strings.HasSuffix(l, "%") {
			t.Errorf("a line ends within a flask: %q", l)
		}
	}
	if longest := slices.MaxFunc(all, func(a, b []string) int { return len(a) - len(b) }); len(longest) < 2 {
		t.Fatalf("nothing of it takes two lines: %q", all)
	}
	for h := range 1 + len(d.m.pressLines(w)) {
		f := newFrame(w, 12)
		d.m.drawPressSaid(f, area{0, 0, w, h})
		drawn, told := strings.Fields(f.plainText()), 0
		for _, said := range all {
			if words := strings.Fields(strings.Join(said, " ")); told+len(words) <= len(drawn) && slices.Equal(drawn[told:told+len(words)], words) {
				told += len(words)
			}
		}
		if told != len(drawn) {
			t.Errorf("in %d rows a part is told:\n%s", h, f.plainText())
		}
	}
}

// TestSmallWindowSaysWhyAKeyDoesNothing: where nothing can be done, a key says so.
func TestSmallWindowSaysWhyAKeyDoesNothing(t *testing.T) {
	d := newDesk(t, 40, 12)
	for p := range 9 {
		d.do(action.FlaskOpen{Place: p + 1, Case: "441" + string(rune('0'+p)), Base: "upper", Size: "medium"})
		d.do(action.Coat{Flask: p + 1, Half: "both"})
	}
	d.press("0")
	d.sees("window too small: 40x12; needs 80x24", "\n this window is too small to see what a\n key does: make it larger\n")
	d.wait(11 * time.Minute)
	d.press(".")
	d.sees("acknowledged: ")
}

// TestTimeLeftIsOneNumber: what is left of a dough is told nowhere as more than it is.
func TestTimeLeftIsOneNumber(t *testing.T) {
	d := newDesk(t, 80, 24)
	for p := 1; p <= 2; p++ {
		d.do(action.FlaskOpen{Place: p, Case: "441" + string(rune('0'+p)), Base: "upper", Size: "medium"})
		d.do(action.Coat{Flask: p, Half: "both"})
	}
	d.do(action.MixMake{Flasks: []int{1}})
	d.wait(9 * time.Minute)
	d.do(action.MixDough{Mix: 1})
	d.do(action.Caution{Hazard: "monomer"})
	d.wait(21 * time.Minute)
	for range 6 { // all over a minute
		d.wait(10 * time.Second)
		d.press("1")
		_, row, _ := strings.Cut(d.screen(), "mix A   ")
		left := row[:len("12 min")]
		d.sees(left+" of working time left (estimate)", "│ "+left)
		d.press("2 enter")
		d.sees("take mix A (" + left + " of working time left, estimate)")
		d.press("0")
	}
}

// TestAlarmsStandWhole: at 80 columns no alarm of one place is cut, though several wait.
func TestAlarmsStandWhole(t *testing.T) {
	d := newDesk(t, 80, 24)
	whole := func(what string, steps ...func()) {
		t.Helper()
		for _, do := range steps {
			do()
		}
		for range 12 {
			if top := strings.SplitN(d.screen(), "\n", 2)[0]; strings.Contains(top, "…") {
				t.Errorf("%s: an alarm is cut: %s", what, top)
			}
			if len(d.m.unanswered()) == 0 {
				return
			}
			d.press(".")
		}
	}
	d.do(action.TimerStart{Label: "stone", Count: "down", AimS: 60})
	for p, half := range []action.Half{"both", "cast", "teeth"} {
		d.do(action.FlaskOpen{Place: p + 1, Case: "441" + string(rune('0'+p)), Base: "upper", Size: "medium"})
		d.do(action.Coat{Flask: p + 1, Half: half})
	}
	wait := func(by time.Duration) func() { return func() { d.wait(by) } }
	do := func(body action.Body) func() { return func() { d.do(body) } }
	whole("drying", wait(11*time.Minute))
	whole("dough expected", do(action.MixMake{Flasks: []int{1}}), do(action.MixMake{Flasks: []int{2}}), wait(9*time.Minute))
	whole("dough soon over", do(action.MixDough{Mix: 1}), do(action.MixDough{Mix: 2}), wait(33*time.Minute))
	whole("dough over", wait(20*time.Minute))
	d.do(action.Clamp{Flask: 1})
	d.do(action.Clamp{Flask: 3})
	whole("bench set up", wait(31*time.Minute))
	whole("bench set soon past the limit", wait(25*time.Minute))
	whole("bench set past the limit", wait(10*time.Minute))
	d.do(action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h", BathC: 74})
	whole("curing", wait(9*time.Hour+2*time.Minute))
}

// TestLoadOnTheBenchAndInTheHandover: the name of a load in its rule, and how it stands, are whole.
func TestLoadOnTheBenchAndInTheHandover(t *testing.T) {
	d := bathDesk(t, 80, 24, 1)
	d.load("short and boil", 4, 1)
	d.press("/ 1")
	d.sees("· short and boil")
	d.wait(3*time.Hour + 40*time.Minute)
	d.press(". * *")
	d.sees("time to take out     2 h")
}

// TestDefectsSeenAreNamed: whoever says that defects were seen names one; a remake may have none.
func TestDefectsSeenAreNamed(t *testing.T) {
	d := bathDesk(t, 80, 24, 1)
	d.load("short and boil", 4, 1)
	d.wait(4 * time.Hour)
	for _, body := range []action.Body{action.BathUnload{Flasks: []int{1}}, action.Deflask{Flasks: []int{1}}, action.Remount{Flask: 1}} {
		d.do(body)
	}
	d.press("1 enter 2 enter") // none
	d.sees("which defects?", "choose at least 1, then ENTER")
	d.press("0 4")
	d.sees("defects seen (ENTER for none)")
	d.press("0 2 2 enter")
	if f := d.book.State().Bench.Flasks[1]; f == nil || f.Stage != bench.Finished || len(f.Defects) != 1 {
		t.Errorf("recorded: %+v", f)
	}
}
