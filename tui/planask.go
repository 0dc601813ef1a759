package tui

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/dayplan"
	"flaskside/logbook/words"
	"flaskside/timers/plan"
)

// planMenu is what can be changed about the plan, and asked of it.
func (m *Model) planMenu() tea.Cmd {
	d := &m.plans
	q := m.planAsk().question()
	list := []doing{
		{"people, hours and baths of today", plainly(m.askPlanDay)},
		{"what if: a case more, a press more, a bath down", m.whatIfMenu},
		{"a case first", m.planFirst},
		{"cases that share a mix", m.planTogether},
	}
	if len(q.Choice.First)+len(q.Choice.Together) > 0 {
		list = append(list, doing{"drop what was chosen by hand", func() tea.Cmd { return m.planChoose(dayplan.Choice{}, "nothing is chosen by hand any more") }})
	}
	if m.planHolds() != nil {
		list = append(list, doing{"plan anew from now", func() tea.Cmd { d.asked = "asked for"; return m.planAnew() }})
		if d.offer != nil {
			list = append(list, doing{"stay with the plan that was taken", func() tea.Cmd {
				d.stay, d.asked, d.offer, d.choice, d.typed = d.offer.Reason, "", nil, nil, planDay{}
				return m.planAnew()
			}})
		}
	}
	if m.bench().Planned != nil {
		list = append(list, doing{"put the plan away", func() tea.Cmd {
			return m.append(action.DayPlan{Day: m.bench().Planned.Day, Away: true}, "", func(logbook.Saved) tea.Cmd { return m.keyPlan("") })
		}})
	}
	return m.offer("the day plan", list...)
}

// askPlanDay asks for what differs from day to day: people, hours, baths that are free.
func (m *Model) askPlanDay() {
	q := m.planAsk().question()
	h := m.house()
	set := h.Plan.Filled()
	people, from, to := cmp.Or(q.People, h.Press.Hands), q.Hours[0], q.Hours[1]
	if from == "" {
		from, to = set.Opens, set.Closes
	}
	baths := m.bathNames()
	f := &form{title: "today", fields: []*field{
		digits("people", "pairs of hands", "", fmt.Sprint(people), wholeNumber(1, plan.MaxHands)),
		digits("from", "work begins at, as 8 or 0730", "", from, parseHour),
		digits("to", "work ends at, as 17 or 1730", "", to, parseHour),
		several("baths", "which baths can be used?", 1, baths, func(i int) bool { return !slices.Contains(q.Down, baths[i]) }),
	}}
	f.done = func(f *form) tea.Cmd {
		hour := func(name string) string { return words.HourOf(int(f.num(name))) }
		t := planDay{date: m.now.Wall.Format(time.DateOnly), people: int(f.num("people")), hours: [2]string{hour("from"), hour("to")}}
		if f.num("to") < f.num("from")+30 {
			f.note = "work ends less than half an hour after it begins"
			return nil
		}
		if t.hours == [2]string{set.Opens, set.Closes} && q.Hours == [2]string{} {
			t.hours = [2]string{}
		}
		for i, name := range baths {
			if !slices.Contains(f.picks("baths"), i) {
				t.down = append(t.down, name)
			}
		}
		m.shut()
		if m.plans.typed = t; m.planHolds() != nil {
			m.plans.asked = "the day is another: " + t.words()
		}
		return m.planAnew()
	}
	m.open(f)
}

// words tell a day as it was typed.
func (t planDay) words() string {
	s := "1 pair of hands"
	if t.people != 1 {
		s = fmt.Sprintf("%d pairs of hands", t.people)
	}
	if t.hours[0] != "" {
		s += ", " + t.hours[0] + " to " + t.hours[1]
	}
	if len(t.down) > 0 {
		s += ", without " + strings.Join(t.down, ", ")
	}
	return s
}

// unmixed are the cases that can still be chosen for, by name; it says so where there is none.
func (m *Model) unmixed() (names []string) {
	q := m.planAsk().question()
	for _, e := range q.Entries {
		if e.Work == nil || e.Work.Waits || e.Work.Step < plan.Packed {
			names = append(names, e.Case)
		}
	}
	if len(names) == 0 {
		m.say(dim, "no case waits for a mix")
	}
	return names
}

// planChoose plans by what a person chose; a plan that was taken holds until the new one is.
func (m *Model) planChoose(c dayplan.Choice, said string) tea.Cmd {
	m.plans.choice = &c
	if m.planHolds() != nil {
		m.plans.asked = said
	}
	return m.planAnew()
}

// chosen is what a person chose so far, without what speaks of one of some cases.
func (m *sight) chosen(without ...string) dayplan.Choice {
	q := m.planAsk().question()
	c := dayplan.Choice{First: slices.DeleteFunc(slices.Clone(q.Choice.First), func(s string) bool { return slices.Contains(without, s) })}
	for _, g := range q.Choice.Together {
		if !slices.ContainsFunc(g, func(s string) bool { return slices.Contains(without, s) }) {
			c.Together = append(c.Together, g)
		}
	}
	return c
}

// planFirst asks which case is mixed for first.
func (m *Model) planFirst() tea.Cmd {
	names := m.unmixed()
	if len(names) == 0 {
		return nil
	}
	return m.menu("mixed for first, the rest is planned around it", nil, names, func(i int) tea.Cmd {
		c := m.chosen()
		c.First = append([]string{names[i]}, slices.DeleteFunc(c.First, func(s string) bool { return s == names[i] })...)
		return m.planChoose(c, names[i]+" goes first")
	})
}

// planTogether asks which cases share a mix.
func (m *Model) planTogether() tea.Cmd {
	names := m.unmixed()
	if len(names) == 0 {
		return nil
	}
	f := &form{title: "one mix for them, and no other in it", fields: []*field{several("which", "which cases? One alone has a mix of its own", 1, names, nil)}}
	f.done = func(f *form) tea.Cmd {
		list := picked(f, "which", names)
		q := m.planAsk().question()
		if wrong := q.Mixable(list); wrong != "" {
			f.note = wrong
			return nil
		}
		m.shut()
		c := m.chosen(list...)
		c.First = m.chosen().First // what goes first still does
		c.Together = append(c.Together, list)
		return m.planChoose(c, strings.Join(list, " + ")+" share a mix")
	}
	m.open(f)
	return nil
}

// whatIfMenu asks what would be otherwise.
func (m *Model) whatIfMenu() tea.Cmd {
	q := m.planAsk().question()
	h := m.house()
	presses, people := cmp.Or(q.Presses, h.Press.Presses), cmp.Or(q.People, h.Press.Hands)
	list := []doing{{"a case more", plainly(m.whatIfCase)}}
	add := func(name, change string) {
		list = append(list, doing{name, func() tea.Cmd { return m.ifSo(change, name) }})
	}
	if presses < plan.MaxHands {
		add(fmt.Sprintf("with %d presses", presses+1), fmt.Sprintf("%d presses", presses+1))
	}
	if presses > 1 {
		add("a press down", fmt.Sprintf("%d presses", presses-1))
	}
	if people < plan.MaxHands {
		add(fmt.Sprintf("with %d people", people+1), fmt.Sprintf("%d people", people+1))
	}
	if people > 1 {
		add("a person less", fmt.Sprintf("%d people", people-1))
	}
	for _, b := range h.Baths {
		if !slices.Contains(q.Down, b.Name) && len(h.Baths)-len(q.Down) > 1 {
			add("without "+b.Name, "without "+b.Name)
		}
	}
	for _, e := range q.Entries {
		if e.Work == nil || e.Work.Waits {
			add("without case "+e.Case, "without case "+e.Case)
		}
	}
	return m.offer("what if", list...)
}

// ifSo works out what would be otherwise.
func (m *Model) ifSo(change, words string) tea.Cmd {
	m.plans.whatIf, m.plans.ifWords = []string{change}, words
	if p, ok := m.page.(*planPage); ok {
		p.scroll = 0
	}
	return m.planAnew()
}

// moreCase is what a case is called that is only asked about.
const moreCase = "more"

// whatIfCase asks what a further case would be like.
func (m *Model) whatIfCase() {
	fields, due := m.dueFields()
	resins, resinAsked := m.resinField()
	f := &form{title: "a case more", fields: slices.Concat([]*field{choose("size", "size", action.Sizes...)}, fields, resinAsked)}
	f.done = func(f *form) tea.Cmd {
		at, err := due(f)
		if err != nil {
			f.note = err.Error()
			return nil
		}
		resin := resins[0]
		if c := f.choice("resin"); c > 0 {
			resin = resins[c-1]
		}
		change := fmt.Sprintf("case %s %s %s due %s", moreCase, action.Sizes[f.choice("size")-1], resin, at.Format(time.RFC3339))
		words := fmt.Sprintf("a case more, %s, due %s", action.Sizes[f.choice("size")-1], m.instant(at))
		if f.choice("rush") == second {
			change, words = change+" rush", words+", rush"
		}
		m.shut()
		return m.ifSo(change, words)
	}
	m.open(f)
}
