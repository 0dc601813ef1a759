package tui

import (
	"fmt"
	"math"
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/cases"
	"flaskside/logbook/layout"
	"flaskside/logbook/route"
	"flaskside/logbook/words"
)

// noRelease stands above the closing list.
const noRelease = "A record of what was done to it; no release and no statement of conformity."

// closingFields ask for the closing list and the hours in water; done and hours stand in them.
// All of the list is one digit.
func closingFields(done []string, wetH float64) []*field {
	isSome := func(f *form) bool { return f.choice("list") == second }
	preset := fmt.Sprintf("%g", wetH)
	return []*field{
		choose("list", "closing list: "+strings.Join(action.Closing, ", "), "all of it was done", "not all: choose"),
		several("done", "what was done to it?", 0, action.Closing, func(i int) bool { return slices.Contains(done, action.Closing[i]) }).only(isSome),
		digits("wet", "how long in water; 0 for none", "h", preset, plainNumber(0, 1440)),
	}
}

// closingOf gives the answer to [closingFields].
func closingOf(f *form) (done []string, wetH float64) {
	if f.choice("list") == 1 {
		return action.Closing, f.num("wet")
	}
	return picked(f, "done", action.Closing), f.num("wet")
}

// closingSteps are the entries of the closing list that a step of a route of that name stands
// for.
var closingSteps = map[string]string{"finish": "finished", "polish": "polished"}

// deliverOf asks for the closing list of a case on a route: what its steps tell is offered.
func (m *Model) deliverOf(k bench.Case) tea.Cmd {
	var done []string
	wet := 0.0
	for _, d := range k.Steps {
		if c := closingSteps[d.Step]; c != "" && !d.Again {
			done = append(done, c)
		}
	}
	if run := k.Running(); run != nil && run.Step == "storage" {
		wet = math.Floor(m.now.Since(run.At).For.Hours())
	}
	lines := []string{noRelease}
	if missing := m.missingWords(k); missing != "" {
		lines = append(lines, "No record of: "+missing+".")
	}
	f := &form{title: k.Name() + " · delivered", lines: lines, fields: closingFields(done, wet)}
	f.done = func(f *form) tea.Cmd {
		d := action.CaseDelivered{Case: k.Case, Base: k.Base}
		d.Done, d.WetH = closingOf(f)
		return m.answer(f, d, "", func(logbook.Saved) tea.Cmd { return m.keyCases("") })
	}
	m.open(f)
	return nil
}

// missingWords name the steps of its route that a case has no record of.
func (m *sight) missingWords(k bench.Case) string {
	r, _ := m.bench().RouteOf(k)
	var out []string
	for _, name := range m.bench().MissingOf(k) {
		if s, at := r.Step(name); at >= 0 && s.Kind != route.Flask {
			out = append(out, s.Brief())
		}
	}
	return strings.Join(out, ", ")
}

// deliverCase asks for a base that leaves the house, and for its closing list. What the
// bench finished of late is offered first.
func (m *Model) deliverCase() {
	type piece struct{ number, base string }
	var done []piece
	var names []string
	b := m.bench()
	numbers := bench.Sorted(b.Flasks)
	slices.Reverse(numbers)
	for _, no := range numbers {
		f := b.Flasks[no]
		p := piece{f.Case, f.Base}
		if f.Stage == bench.Finished && f.Base != "" && f.Outcome != "remake" && len(done) < dueDays && !slices.Contains(done, p) {
			done = append(done, p)
			names = append(names, p.number+" "+p.base)
		}
	}
	typed := len(names) + 1
	isTyped := func(f *form) bool { return f.choice("which") == typed }
	which := func(f *form) (p piece) {
		if i := f.choice("which"); i > 0 && i < typed {
			return done[i-1]
		}
		if i := f.choice("base"); i > 0 {
			p = piece{strings.TrimSpace(f.text("case")), action.Bases[i-1]}
		}
		return p
	}
	told := map[piece]string{} // what the book says of each, asked once
	twice := func(f *form) string {
		p := which(f)
		if _, asked := told[p]; !asked && p.number != "" {
			told[p] = m.deliveredWords(p.number, p.base)
		}
		return told[p]
	}
	again := choose("again", "record it once more? your reason is recorded", words.Reasons[1:]...).only(func(f *form) bool { return twice(f) != "" }).reached(func(f *form) tea.Cmd {
		f.get("again").above = []string{"· " + twice(f)}
		return nil
	})
	of := caseFields()
	f := &form{title: "a base is delivered", lines: []string{noRelease}, fields: append([]*field{
		scannable(choose("which", "which?", append(slices.Clone(names), "type the number")...), names),
		of[0].and(isTyped), of[1].and(isTyped),
		again,
	}, closingFields(nil, 0)...)}
	f.done = func(f *form) tea.Cmd {
		p, why := which(f), ""
		d := action.CaseDelivered{Case: p.number, Base: p.base}
		d.Done, d.WetH = closingOf(f)
		if twice(f) != "" {
			why = fmt.Sprint(f.choice("again"))
		}
		return m.answer(f, d, why, func(logbook.Saved) tea.Cmd { return m.keyCases("") })
	}
	m.open(f)
}

// deliveredWords say when a base was delivered already, "" where it was not.
func (m *Model) deliveredWords(number, base string) string {
	recs, err := m.cfg.Keeper.Of(layout.SubjectCase(number))
	if err != nil {
		return "" // a book that cannot be read says so when this is recorded
	}
	return cases.Twice(recs, number, base, m.now.Wall)
}
