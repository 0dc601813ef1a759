package tui

import (
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
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
