package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/route"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// Steps of the cases: which case is chosen, what ENTER does to it, what is asked. All of it
// follows from the tables of the routes.

// casesOnPage are as many cases as digits choose, the ninth turns the page where there are
// more.
const casesOnPage = 8

// casePage gives the cases that digits choose now, and how many come before them.
func (m *sight) casePage() (page []bench.Case, at int) {
	all := m.bench().Cases()
	if len(all) <= 9 {
		return all, 0
	}
	i := max(0, slices.IndexFunc(all, func(k bench.Case) bool { return k.Name() == m.caseSel }))
	at = i / casesOnPage * casesOnPage
	return all[at:min(len(all), at+casesOnPage)], at
}

// casesShown is how many digits choose a case, and whether there are more on other pages.
func (m *sight) casesShown() (n int, more bool) {
	page, _ := m.casePage()
	return len(page), len(page) < len(m.bench().Cases())
}

// chosenCase is the case that ENTER is about: the one chosen last, or the first of all.
func (m *sight) chosenCase() (bench.Case, bool) {
	all := m.bench().Cases()
	if i := slices.IndexFunc(all, func(k bench.Case) bool { return k.Name() == m.caseSel }); i >= 0 {
		return all[i], true
	}
	if len(all) == 0 {
		return bench.Case{}, false
	}
	return all[0], true
}

// chooseCase chooses by a digit, or turns the page.
func (m *Model) chooseCase(n int) {
	page, at := m.casePage()
	all := m.bench().Cases()
	switch _, more := m.casesShown(); {
	case n <= len(page):
		m.caseSel = page[n-1].Name()
	case n == 9 && more:
		next := at + casesOnPage
		if next >= len(all) {
			next = 0
		}
		m.caseSel = all[next].Name()
	default:
		m.say(dim, fmt.Sprintf("there is no case %d on this page", n))
	}
}

// moveCase chooses the case above or beneath.
func (m *Model) moveCase(by int) {
	all := m.bench().Cases()
	k, ok := m.chosenCase()
	if !ok {
		return
	}
	i := slices.IndexFunc(all, func(o bench.Case) bool { return o.Name() == k.Name() })
	m.caseSel = all[(i+by+len(all))%len(all)].Name()
}

// caseStanding is the timer that runs for a case.
func (m *sight) caseStanding(k bench.Case) (timers.Standing, bool) {
	if run := k.Running(); run != nil {
		for _, st := range m.standings {
			if st.Key == run.Key {
				return st, true
			}
		}
	}
	return timers.Standing{}, false
}

// caseStepWords say what ENTER does for a case.
func (m *sight) caseStepWords(k bench.Case) string {
	if f := m.bench().Flasks[k.Flask]; f != nil {
		return "go to its flask, " + m.bench().WhereWords(f)
	}
	s, ok := m.bench().NextOfCase(k)
	switch {
	case ok && s.Kind == route.Flask:
		return "open a flask on place " + fmt.Sprint(m.bench().FreePlace())
	case ok:
		if st, runs := m.caseStanding(k); runs && st.Next != nil && st.Next.End == timers.Floor {
			return s.Called() + ", from " + m.instant(m.now.Wall.Add(st.Left))
		}
		return s.Called()
	case m.bench().WantsFlask(k):
		return "open a flask on place " + fmt.Sprint(m.bench().FreePlace())
	}
	return "deliver it"
}

// caseSheet shows the chosen case: what was done, what runs, what comes next.
func (m *sight) caseSheet(s *sheet, k bench.Case, width int) {
	head := k.Name()
	if r, ok := m.bench().RouteOf(k); ok {
		head += " · " + r.Called()
	}
	for _, t := range []string{k.Shade, k.Resin, k.Remark} {
		if t != "" {
			head += " · " + t
		}
	}
	if k.RemakeOf != "" {
		head += " · remake of " + k.RemakeOf
	}
	s.head(accent, head)
	if !k.In.At.IsZero() {
		s.add(plain, m.instant(k.In.At)+"  taken in by "+k.InBy)
	}
	for _, d := range k.Steps[max(0, len(k.Steps)-stepsShown):] {
		line := m.instant(d.At.At) + "  " + d.Called()
		if d.Event != "" {
			line = m.instant(d.At.At) + "  " + d.Event
		}
		if d.Judged != "" {
			line = strings.TrimSuffix(line, "?") + ": " + d.Judged
		}
		for _, v := range d.Values {
			line += ", " + action.Teller{Units: m.house().Units}.Value(v)
		}
		r := plain
		if len(d.Unusual) > 0 {
			line, r = line+"  "+strings.Join(each.Of(d.Unusual, words.Unusual), ", "), warn
		}
		s.add(r, line)
	}
	if st, ok := m.caseStanding(k); ok {
		w, _ := m.windowByKey(st.Key)
		s.add(strong, lengthLeft(max(st.Left, -st.Left))+" "+leftOrOver(st)+"  "+m.endsWords(w))
	}
	if next, ok := m.bench().NextOfCase(k); ok && next.Say != "" && k.Flask == 0 {
		s.wrapped(dim, next.Say, width)
	}
}

// stepsShown is how many of the last steps of a case stand on the page.
const stepsShown = 4

func leftOrOver(st timers.Standing) string {
	if st.Next == nil {
		return "ago"
	}
	return "left"
}

// endsWords list the ends of a timer with their hours.
func (m *sight) endsWords(w bench.Window) string {
	var out []string
	for _, mk := range w.Marks {
		name := map[timers.End]string{timers.Floor: "earliest", timers.Aim: "aim", timers.Limit: "latest"}[mk.End]
		if name != "" {
			out = append(out, name+" "+m.instant(m.now.WallOf(w.Start, mk.After)))
		}
	}
	return strings.Join(out, " · ")
}

// caseEnter takes the next step of the chosen case.
func (m *Model) caseEnter() tea.Cmd {
	k, ok := m.chosenCase()
	if !ok {
		m.takeInCase()
		return nil
	}
	m.caseSel = k.Name() // it stays chosen, whatever its due time becomes
	if f := m.bench().Flasks[k.Flask]; f != nil {
		m.goTo(f)
		return nil
	}
	switch s, more := m.bench().NextOfCase(k); {
	case more && s.Kind == route.Flask, !more && m.bench().WantsFlask(k):
		return m.openFor(k)
	case more && s.Kind == route.Deliver, !more:
		return m.deliverOf(k)
	default:
		return m.caseStep(k, s)
	}
}

// goTo goes to the bench with a flask selected.
func (m *Model) goTo(f *bench.Flask) {
	m.home()
	m.off = 0
	if p := m.bench().SpotOf(f).Place; p > 0 {
		m.sel = p
		return
	}
	m.off = f.No
}

// openFor opens a flask for a case that waits for one, on a free place.
func (m *Model) openFor(k bench.Case) tea.Cmd {
	place := m.bench().FreePlace()
	if place == 0 {
		m.say(warn, "all nine places are taken")
		return nil
	}
	return m.append(action.FlaskOpen{Place: place, Case: k.Case, Base: k.Base, Size: k.Size}, "", func(logbook.Saved) tea.Cmd {
		m.home()
		m.sel, m.off = place, 0
		return nil
	})
}

// caseStep takes a step of a case: at once where nothing need be asked.
func (m *Model) caseStep(k bench.Case, s route.Step) tea.Cmd {
	return m.warned(s.Caution, func() tea.Cmd { return m.caseStepWarned(k, s) })
}

func (m *Model) caseStepWarned(k bench.Case, s route.Step) tea.Cmd {
	a := action.CaseStep{Case: k.Case, Base: k.Base, Step: s.Name}
	judged := slices.Concat(s.Good, s.Bad)
	fields, values := m.stepFields(s)
	if len(judged) > 0 {
		fields = append(fields, choose("judged", "", judged...))
	}
	if s.Keys == 2 && len(fields) == 0 {
		fields = append(fields, choose("sure", "", "yes"))
	}
	if len(fields) == 0 {
		return m.append(a, "", m.stepSaid(k))
	}
	f := &form{title: k.Name() + " · " + s.Called(), fields: fields}
	if s.Say != "" {
		f.lines = []string{s.Say}
	}
	f.done = func(f *form) tea.Cmd {
		if len(judged) > 0 {
			a.Judged = judged[f.choice("judged")-1]
		}
		a.Values = values(f)
		return m.answer(f, a, "", m.stepSaid(k))
	}
	m.open(f)
	return nil
}

// stepSaid says after a step of a case what comes next.
func (m *Model) stepSaid(k bench.Case) func(logbook.Saved) tea.Cmd {
	return func(logbook.Saved) tea.Cmd {
		if now, ok := m.bench().CaseOnList(k.Case, k.Base); ok {
			m.say(good, "saved: "+k.Name()+" · next: "+m.caseStepWords(now))
		}
		return nil
	}
}

// stepFields are the values that a step asks for. Where the table has them all, they are one
// digit.
func (m *sight) stepFields(s route.Step) (fields []*field, values func(f *form) []action.StepValue) {
	u := m.house().Units
	const others = 2
	all, usual := len(s.Fields) > 0, []string{}
	for _, fd := range s.Fields {
		v, ok := fd.Usual()
		all = all && ok
		usual = append(usual, fd.Called()+" "+fd.Show(v, u.Pressure, u.Temperature))
	}
	typed := func(f *form) bool { return !all || f.choice("set") == others }
	if all {
		fields = append(fields, choose("set", "", strings.Join(usual, ", "), "other: type it"))
	}
	for _, fd := range s.Fields {
		ask := fd.Called()
		if r := fd.Range(u.Pressure, u.Temperature); r != "" {
			ask += ", usually " + r
		}
		name := "value " + fd.Name
		var x *field
		if of, lot := route.LotOf(fd.Of); lot {
			x = line(name, ask+", scanned or typed", m.lastStepLot(fd.Of, action.Material(of)), fd.May)
		} else if fd.Of == route.Text {
			x = line(name, ask, fd.Preset, fd.May).upTo(40)
		} else {
			x = digits(name, ask, typedIn(fd, u.Pressure, u.Temperature), "", func(text string) (float64, error) { return fd.Read(text, u.Pressure, u.Temperature) })
			if fd.May {
				x = x.optional()
			}
		}
		fields = append(fields, x.only(typed))
	}
	return fields, func(f *form) []action.StepValue {
		if !typed(f) {
			return nil // as the table has them
		}
		var out []action.StepValue
		for _, fd := range s.Fields {
			v := action.StepValue{Name: fd.Name}
			x := f.get("value " + fd.Name)
			switch {
			case x.typed == "" && fd.May:
				continue
			case route.Worded(fd.Of):
				v.Text = strings.TrimSpace(x.typed)
			default:
				v.Value = x.number
			}
			out = append(out, v)
		}
		return out
	}
}

// lastStepLot is the lot that a step of a case named last, where it can be used still.
func (m *sight) lastStepLot(of string, material action.Material) string {
	var last string
	var at time.Time
	for _, k := range m.bench().Cases() {
		for _, d := range k.Steps {
			for _, v := range d.Values {
				if v.Of == of && v.Text != "" && d.At.At.After(at) && m.bench().LotUsable(material, v.Text, m.now.Wall) {
					last, at = v.Text, d.At.At
				}
			}
		}
	}
	return last
}

// typedIn is the unit in which a field is typed.
func typedIn(fd route.Field, p units.PressureUnit, t units.TempUnit) string {
	switch fd.Of {
	case route.Temperature:
		return "°" + string(t)
	case route.Pressure:
		return string(p)
	case route.Grams:
		return "g"
	case route.MM:
		return "mm"
	}
	return ""
}

// caseOther is the menu of other steps for the chosen case.
func (m *Model) caseOther() tea.Cmd {
	var os []doing
	add := func(name string, do func() tea.Cmd) { os = append(os, doing{name, do}) }
	k, any := m.chosenCase()
	if run := k.Running(); any && run != nil && run.Pressure {
		event, is := action.PressureLost, "lost"
		if k.LostSince() != nil {
			event, is = action.PressureBack, "back"
		}
		add("the pressure is "+is, func() tea.Cmd {
			return m.append(action.CaseStep{Case: k.Case, Base: k.Base, Step: run.Step, Event: event}, "", nil)
		})
	}
	add("a base is delivered", plainly(m.deliverCase))
	add("its due time changes", plainly(m.caseDue))
	add("a case is taken off the list", plainly(m.takeOffCase))
	if r, ok := m.bench().RouteOf(k); any && ok && k.Flask == 0 {
		next, _ := m.bench().NextOfCase(k)
		for _, s := range r.Tracked() {
			if s.Name != next.Name && s.Kind != route.Flask && s.Kind != route.Deliver {
				add("out of order: "+s.Called(), func() tea.Cmd { return m.caseStep(k, s) })
			}
		}
	}
	title := "what becomes of a case"
	if any {
		title = k.Name() + " · other steps"
	}
	return m.offer(title, os...)
}

// routeField asks how a case is made; nil where the house has no route on.
func (m *sight) routeField() *field {
	on := m.house().RoutesOn()
	if len(on) == 0 {
		return nil
	}
	names := each.Of(on, route.Route.Called)
	return choose("route", "how is it made?", append(names, "no steps but those in the flask")...)
}

// routeChosen is the answer to [sight.routeField]; ok is false for none.
func (m *sight) routeChosen(f *form) (r route.Route, ok bool) {
	on := m.house().RoutesOn()
	if i := f.choice("route"); i >= 1 && i <= len(on) {
		return on[i-1], true
	}
	return r, false
}
