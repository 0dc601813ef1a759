package tui

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/cases"
	"flaskside/logbook/layout"
	"flaskside/logbook/words"
)

// casesPage is the list of what is to be made, by when it is due.
type casesPage struct{ leaf }

func (p *casesPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *casesPage) keys() []hint {
	return append(p.leaf.keys(), hint{key: "+", words: "take in"}, hint{key: "-", words: "deliver, take off"}, hint{key: "/", words: "plan the day"})
}

func (p *casesPage) key(key string) (tea.Cmd, bool) {
	switch key {
	case "+":
		p.m.takeInCase()
		return nil, true
	case "-":
		return p.m.caseGoes(), true
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
	s.add(strong, fmt.Sprintf("cases: %d wait, %d at work", len(m.bench().CasesWaiting()), len(all)-len(m.bench().CasesWaiting())))
	s.gap()
	s.add(dim, fmt.Sprintf("%-16s %-12s %-8s %-7s %s", "due", "case", "base", "size", "where"))
	for _, k := range all {
		r := plain
		if k.DueAt().Before(m.now.Wall) {
			r = alarm
		} else if k.Rush {
			r = warn
		}
		more := []string{cases.State(k, m.bench())}
		if k.Rush {
			more = append(more, "RUSH")
		}
		for _, t := range []string{k.Shade, k.Resin, k.Remark} {
			if t != "" {
				more = append(more, t)
			}
		}
		if k.RemakeOf != "" {
			more = append(more, "remake of "+k.RemakeOf)
		}
		s.add(r, fmt.Sprintf("%-16s %-12s %-8s %-7s %s", cases.Due(k, m.now.Wall), fit(k.Case, 12), k.Base, k.Size, strings.Join(more, ", ")))
	}
	return s
}

// caseWords names a case in a list of choices.
func (m *sight) caseWords(k bench.Case) string {
	s := fmt.Sprintf("%s %s %s, due %s", k.Case, k.Base, words.SizeLetter(k.Size), cases.Due(k, m.now.Wall))
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
		line("hour", "at what hour, as 17 or 1730", "17", false).upTo(5).refusing(func(s string) error { _, err := cases.ParseHour(s); return err }),
		choose("rush", "rush?", "no rush", "rush"),
	}
	return fields, func(f *form) (time.Time, error) {
		hour, err := cases.ParseHour(f.text("hour"))
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

// takeInCase asks for a case: digits and choices.
func (m *Model) takeInCase() {
	h := m.house()
	resins := make([]string, len(h.Resins))
	for i, r := range h.Resins {
		resins[i] = r.Name
	}
	fields, due := m.dueFields()
	f := &form{title: "take a case in", fields: append([]*field{
		line("case", "case number", "", false).upTo(24),
		choose("base", "base", action.Bases...),
		choose("size", "size", action.Sizes...),
	}, fields...)}
	if len(resins) > 1 {
		f.fields = append(f.fields, choose("resin", "resin", resins...))
	}
	f.done = func(f *form) tea.Cmd {
		at, err := due(f)
		if err != nil {
			f.note = err.Error()
			return nil
		}
		in := action.CaseIn{Case: strings.TrimSpace(f.text("case")), Base: action.Bases[f.choice("base")-1], Size: action.Sizes[f.choice("size")-1],
			Due: at.Format(time.RFC3339), Rush: f.choice("rush") == 2}
		if c := f.choice("resin"); c > 1 {
			in.Resin = resins[c-1]
		}
		return m.answer(f, in, "", func(logbook.Saved) tea.Cmd { return m.keyCases("") })
	}
	m.open(f)
}

// keyCases shows the list of cases.
func (m *Model) keyCases(string) tea.Cmd { m.page = &casesPage{leaf{m: m}}; return nil }

// caseGoes asks whether a case is delivered or taken off the list.
func (m *Model) caseGoes() tea.Cmd {
	return m.menu("what becomes of a case", nil, []string{"it is delivered", "its due time changes", "it is taken off the list"}, func(i int) tea.Cmd {
		[]func(){m.deliverCase, m.caseDue, m.takeOffCase}[i]()
		return nil
	})
}

// listed gives the cases on the list and their names; it says so where there is none.
func (m *Model) listed() (all []bench.Case, names []string) {
	all = m.bench().Cases()
	if len(all) == 0 {
		m.say(dim, "no case is on the list")
	}
	for _, k := range all {
		names = append(names, m.caseWords(k))
	}
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
		if err != nil {
			f.note = err.Error()
			return nil
		}
		set, err := json.Marshal(map[string]any{"due": at.Format(time.RFC3339), "rush": f.choice("rush") == 2})
		if err != nil {
			f.note = err.Error()
			return nil
		}
		return m.answer(f, action.Correct{Of: all[f.choice("which")-1].ID, Set: set}, "another due time", func(logbook.Saved) tea.Cmd { return m.keyCases("") })
	}
	m.open(f)
}

func (m *Model) takeOffCase() {
	all, names := m.listed()
	if len(all) == 0 {
		return
	}
	reasons := []string{"withdrawn by the practice", "taken in by mistake", "made elsewhere", "other"}
	f := &form{title: "take a case off the list", fields: []*field{choose("which", "which?", names...), choose("reason", "why?", reasons...)}}
	f.done = func(f *form) tea.Cmd {
		k := all[f.choice("which")-1]
		return m.answer(f, action.CaseOff{Case: k.Case, Base: k.Base, Reason: reasons[f.choice("reason")-1]}, "", func(logbook.Saved) tea.Cmd { return m.keyCases("") })
	}
	m.open(f)
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
	f := &form{title: "a base is delivered", lines: []string{"A record of what was done to it; no release and no statement of conformity."}, fields: []*field{
		choose("which", "which?", append(names, "type the number")...),
		line("case", "case number", "", false).upTo(24).only(isTyped),
		choose("base", "base", action.Bases...).only(isTyped),
		again,
		several("done", "what was done to it?", 0, action.Closing, nil),
		digits("wet", "hours in water; 0 for none", "h", "0", plainNumber(0, 1440)),
	}}
	f.done = func(f *form) tea.Cmd {
		p, why := which(f), ""
		d := action.CaseDelivered{Case: p.number, Base: p.base, WetH: f.num("wet")}
		if twice(f) != "" {
			why = fmt.Sprint(f.choice("again"))
		}
		for _, i := range f.picks("done") {
			d.Done = append(d.Done, action.Closing[i])
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
	at, ok := cases.Delivered(recs, number, base)
	if !ok {
		return ""
	}
	return fmt.Sprintf("case %s %s was delivered already, %s", number, base, m.instant(at))
}
