package tui

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/cases"
	"flaskside/logbook/house"
	"flaskside/logbook/route"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// casesPage is the list of what is to be made, by when it is due.
type casesPage struct{ leaf }

func (p *casesPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *casesPage) step() string {
	if k, ok := p.m.chosenCase(); ok {
		return "ENTER  " + k.Name() + ": " + p.m.caseStepWords(k)
	}
	return "+  take a case in"
}

func (p *casesPage) keys() []hint {
	_, any := p.m.chosenCase()
	n, more := p.m.casesShown()
	out := []hint{{key: "0", words: "back to the bench"}}
	if any {
		out = append(out, hint{key: digitsTo(n), words: "choose"})
	}
	if more {
		out = append(out, hint{key: "9", words: "more"})
	}
	return append(out, hint{key: "+", words: "take in"}, hint{key: "-", words: "other steps"}, hint{key: "/", words: "plan the day"})
}

func (p *casesPage) key(key string) (tea.Cmd, bool) {
	switch key {
	case "1", "2", "3", "4", "5", "6", "7", "8", "9":
		p.m.chooseCase(int(key[0] - '0'))
		return nil, true
	case "up", "down":
		p.m.moveCase(map[string]int{"up": -1, "down": 1}[key])
		return nil, true
	case "enter", "space":
		return p.m.caseEnter(), true
	case "+":
		p.m.takeInCase()
		return nil, true
	case "-":
		return p.m.caseOther(), true
	case "/":
		return p.m.keyPlan(key), true
	}
	return p.leaf.key(key)
}

func (p *casesPage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	all := m.bench().Cases()
	if len(all) == 0 {
		s.add(strong, "cases")
		s.add(plain, "no case waits: + to take one in")
		s.gap()
		s.wrapped(dim, "A new flask then offers the cases that wait by a digit, in the order they are due. A case leaves the list when its flask has an outcome.", a.w-2)
		return s
	}
	wait, work := 0, 0
	for _, k := range all {
		if k.Flask > 0 {
			work++
		} else {
			wait++
		}
	}
	s.add(strong, fmt.Sprintf("cases: %d still to be made or finished, %d in a flask", wait, work))
	s.gap()
	s.add(dim, fmt.Sprintf("    %-11s %-8s %-9s %s", "due", "case", "base", "where"))
	chosen, _ := m.chosenCase()
	page, at := m.casePage()
	for i, k := range page {
		p.row(s, k, i+1, k.Name() == chosen.Name(), a.w)
	}
	if rest := len(all) - at - len(page); rest > 0 || at > 0 {
		s.add(dim, fmt.Sprintf("    %d to %d of %d; 9 turns the page", at+1, at+len(page), len(all)))
	}
	s.gap()
	m.caseSheet(s, chosen, a.w-2)
	return s
}

// row is a case in the list, with the time of what runs for it.
func (p *casesPage) row(s *sheet, k bench.Case, n int, on bool, w int) {
	m := p.m
	r := plain
	if k.DueAt().Before(m.now.Wall) {
		r = alarm
	} else if k.Rush {
		r = warn
	}
	mark := "  "
	if on {
		mark = "▸ "
	}
	where := cases.State(k, m.bench())
	if run := k.Running(); run != nil {
		where = run.Called()
	}
	if k.Rush {
		where += ", RUSH"
	}
	left := ""
	if st, ok := m.caseStanding(k); ok {
		left = words.Brief(st.Left)
		if st.Phase == timers.Over {
			left = "OVER " + left
		}
	}
	if k.LostSince() != nil {
		left = "PRESSURE LOST"
	}
	base := k.Base
	if r, ok := m.bench().RouteOf(k); !ok || r.At(route.Flask) >= 0 {
		base = fmt.Sprintf("%-7s %s", k.Base, words.SizeLetter(k.Size))
	}
	head := fmt.Sprintf("%d %s%-11s %-8s %-9s ", n, mark, cases.Due(k, m.now.Wall), fit(k.Case, 8), base)
	room := w - 4 - ansi.StringWidth(head) - ansi.StringWidth(left)
	s.add(r, head+pad(fit(where, room), room)+" "+left)
}

// caseWords names a case in a list of choices.
func (m *sight) caseWords(k bench.Case) string {
	s := fmt.Sprintf("%s, due %s", strings.TrimSpace(k.Name()+" "+words.SizeLetter(k.Size)), cases.Due(k, m.now.Wall))
	if k.Rush {
		s += ", RUSH"
	}
	return s
}

// dueDays are the days a case is due on that can be chosen by a digit.
const dueDays = 7

// dueFields ask when a case is due, by the day and the hour; at puts the answers together.
func (m *Model) dueFields() (fields []*field, at func(f *form) (time.Time, error)) {
	today := m.now.Wall
	days := []string{"today", "tomorrow"}
	for n := 2; n < dueDays; n++ {
		days = append(days, today.AddDate(0, 0, n).Format("Mon 2 Jan"))
	}
	days = append(days, "later")
	later := func(f *form) bool { return f.choice("day") == len(days) }
	fields = []*field{
		choose("day", "due", days...),
		digits("days", "in how many days", "", "", wholeNumber(1, 365)).only(later),
		line("hour", "at what hour, as 17 or 1730", "17", false).upTo(5).refusing(func(s string) error { _, err := m.dueHour(s); return err }),
		choose("rush", "rush?", "no rush", "rush"),
	}
	fields[2].as = func(typed string) string {
		hour, _ := m.dueHour(typed) // it was taken
		return words.HourOf(int(hour / time.Minute))
	}
	return fields, func(f *form) (time.Time, error) {
		hour, err := m.dueHour(f.text("hour"))
		if err != nil {
			return time.Time{}, err
		}
		n := f.choice("day") - 1
		if later(f) {
			n = int(f.num("days"))
		}
		return cases.At(today.AddDate(0, 0, n), hour)
	}
}

// dueHour reads the hour of the day at which a case is due. What was understood stands behind the question once it is
// taken, so that 3 is seen to be 15:00 before anything is recorded.
func (m *Model) dueHour(s string) (time.Duration, error) {
	p := m.house().Plan.Filled()
	hour := func(s string) time.Duration { min, _ := house.MinuteOf(s); return time.Duration(min) * time.Minute }
	return cases.WorkingHour(s, hour(p.Opens), hour(p.Overtime))
}

// resinField gives the resins of the house, and the field that asks which where there are several.
func (m *Model) resinField() (resins []string, ask []*field) {
	for _, r := range m.house().Resins {
		resins = append(resins, r.Name)
	}
	if len(resins) > 1 {
		ask = []*field{choose("resin", "resin", resins...)}
	}
	return resins, ask
}

// takeInCase asks for a case: digits and choices.
func (m *Model) takeInCase() {
	resins, resin := m.resinField()
	fields, due := m.dueFields()
	way := m.routeField()
	inFlask := func(f *form) bool {
		r, ok := m.routeChosen(f)
		return !ok || r.At(route.Flask) >= 0
	}
	head := caseFields()
	if way != nil {
		head = append(head, way)
	}
	f := &form{title: "take a case in", fields: slices.Concat(head, []*field{choose("size", "size", action.Sizes...).only(inFlask)}, fields, resin)}
	f.done = func(f *form) tea.Cmd {
		at, err := due(f)
		if err != nil {
			f.note = err.Error()
			return nil
		}
		in := action.CaseIn{Case: strings.TrimSpace(f.text("case")), Base: action.Bases[f.choice("base")-1],
			Due: at.Format(time.RFC3339), Rush: f.choice("rush") == second}
		if inFlask(f) {
			in.Size = action.Sizes[f.choice("size")-1]
		}
		if r, ok := m.routeChosen(f); ok {
			in.Route = r.Name
		}
		if c := f.choice("resin"); c > 1 {
			in.Resin = resins[c-1]
		}
		return m.answer(f, in, "", func(logbook.Saved) tea.Cmd { m.caseSel = in.Case + " " + in.Base; return m.keyCases("") })
	}
	m.open(f)
}

// keyCases shows the list of cases.
func (m *Model) keyCases(string) tea.Cmd { m.page = &casesPage{leaf{m: m}}; return nil }

// listed gives the cases on the list and their names; it says so where there is none.
func (m *Model) listed() (all []bench.Case, names []string) {
	all = m.bench().Cases()
	if len(all) == 0 {
		m.say(dim, "no case is on the list")
	}
	names = append(names, each.Of(all, m.caseWords)...)
	return all, names
}

// caseDue sets the due time of a case anew; the old one stays in the book.
func (m *Model) caseDue() {
	all, names := m.listed()
	if len(all) == 0 {
		return
	}
	fields, due := m.dueFields()
	f := &form{title: "another due time", fields: append([]*field{choose("which", "which?", names...)}, fields...)}
	f.done = func(f *form) tea.Cmd {
		at, err := due(f)
		if err == nil && at.Before(m.now.Wall) {
			err = fmt.Errorf("%s is over: 0 goes back to the hour and the day", m.instant(at))
		}
		if err != nil {
			f.note = err.Error()
			return nil
		}
		set, err := json.Marshal(map[string]any{"due": at.Format(time.RFC3339), "rush": f.choice("rush") == second})
		if err != nil {
			f.note = err.Error()
			return nil
		}
		return m.answer(f, action.Correct{Of: all[f.choice("which")-1].ID, Set: set}, words.AnotherDue, func(logbook.Saved) tea.Cmd { return m.keyCases("") })
	}
	m.open(f)
}

func (m *Model) takeOffCase() {
	all, names := m.listed()
	if len(all) == 0 {
		return
	}
	reasons := action.CaseOffReasons
	f := &form{title: "take a case off the list", fields: []*field{choose("which", "which?", names...), choose("reason", "why?", reasons...)}}
	f.done = func(f *form) tea.Cmd {
		k := all[f.choice("which")-1]
		return m.answer(f, action.CaseOff{Case: k.Case, Base: k.Base, Reason: reasons[f.choice("reason")-1]}, "", func(logbook.Saved) tea.Cmd { return m.keyCases("") })
	}
	m.open(f)
}
