package day_test

import (
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/day"
)

// A step entered more than five minutes after it was done says on every form of the sheet
// when it was entered; the table of closures says who worked on each; a correction that
// turns a final closure unusual is told as such; all tables tell the same of a flask.
func TestLateAndTurned(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	s.do(time.Minute, action.Coat{Flask: 1, Half: "both"})
	s.do(15*time.Minute, action.MixMake{Flasks: []int{1}, PowderG: 21, LiquidG: 10})
	s.do(10*time.Minute, action.PressIn{Flask: 1})
	s.do(time.Minute, action.PressAt{Flask: 1})
	s.do(time.Minute, action.PressOpen{Flask: 1})
	last := s.do(time.Minute, action.Flash{Flask: 1, Grade: "slight"})
	s.do(time.Minute, action.SheetOut{Flask: 1}, "1")
	// The pressure was low, and it is entered seven minutes later.
	at := s.clock.Read().Wall.Add(time.Minute)
	s.clock.Run(8 * time.Minute)
	if _, err := s.book.Append(action.Action{ID: "late", At: at, By: "MB", Body: action.MetalToMetal{Flask: 1, PressurePSI: 2000}, Why: "5"}); err != nil {
		t.Fatal(err)
	}
	s.fix(last, `{"grade":"heavy"}`, "7")
	sheet := s.sheet("2026-11-25")
	for name, form := range map[string]string{
		"text": strings.Join(strings.Fields(string(written(t, sheet.Text))), " "),
		"html": selfContained(t, written(t, sheet.HTML)),
	} {
		if !strings.Contains(form, "(entered 08:38)") {
			t.Errorf("%s: it is not told when the late step was entered:\n%s", name, form)
		}
		if !strings.Contains(form, "corrected after the final closure, which counts as not ready") {
			t.Errorf("%s: the correction of the last trial is not told as one that turns its final closure:\n%s", name, form)
		}
	}
	if got := strings.Join(cells(t, sheet, day.Closures, "by"), "|"); got != "KT|KT, MB" {
		t.Errorf("the closures were made by %s", got)
	}
	if got := cells(t, sheet, day.Flasks, "unusual"); !strings.Contains(got[0], "pressure-low") || !strings.Contains(got[0], "not-ready") {
		t.Errorf("unusual on the flask: %s", got)
	}
}

// Whatever was done is told with when it was entered where that was late: into the bath, readings, out of it, into the
// water, out of the flask; readings on paper, where the plot stands for their list, by how many.
func TestALateEveningIsToldStepByStep(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	// All of it is typed at the end, each step a minute after the one before, in order.
	at := s.clock.Read().Wall
	s.clock.Run(11 * time.Hour)
	late := func(after time.Duration, body action.Body) {
		t.Helper()
		s.clock.Run(time.Minute)
		if _, err := s.book.Append(action.Action{ID: "late-" + after.String(), At: at.Add(after), By: "MB", Body: body, Why: "5"}); err != nil {
			t.Fatal(err)
		}
	}
	late(time.Hour, action.BathLoad{Flasks: []int{1}, Programme: "long and boil", BathC: 74}) // 19:01
	late(2*time.Hour, action.BathReading{Bath: 1, TempC: 74, Source: "typed"})                // 19:02
	late(3*time.Hour, action.BathReading{Bath: 1, TempC: 74, Source: "typed"})                // 19:03
	late(9*time.Hour+30*time.Minute, action.BathUnload{Flasks: []int{1}})                     // 19:04
	late(10*time.Hour, action.CoolWater{Flasks: []int{1}})                                    // 19:05
	late(10*time.Hour+30*time.Minute, action.Deflask{Flasks: []int{1}})                       // 19:06
	sheet := s.sheet("2026-11-25")
	text := strings.Join(strings.Fields(string(written(t, sheet.Text))), " ")
	html := selfContained(t, written(t, sheet.HTML))
	for _, want := range []string{"(entered 19:01)", "(entered 19:04)", "(entered 19:05)", "(entered 19:06)", "2 of them were entered late"} {
		for name, form := range map[string]string{"text": text, "html": html} {
			if !strings.Contains(form, want) {
				t.Errorf("%s: no %q:\n%s", name, want, form)
			}
		}
	}
	if !strings.Contains(text, "typed (entered 19:02)") || !strings.Contains(text, "typed (entered 19:03)") {
		t.Errorf("the readings do not say when they were entered:\n%s", text)
	}
}
