package tui

import (
	"cmp"
	"fmt"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/bench"
	"flaskside/logbook/dayplan"
	"flaskside/tui/chart"
)

// planPage is the plan of the day: which cases in which mixes, when, in which bath, and how
// likely each is late. All of it is foretold; the person takes it or leaves it.
type planPage struct {
	leaf
	anew bool // the new plan is shown, beside one that was taken
}

// keyPlan shows the plan of the day.
func (m *Model) keyPlan(string) tea.Cmd {
	m.page = &planPage{leaf: leaf{m: m}}
	if m.plans.busy {
		return nil
	}
	return m.planAnew()
}

func (p *planPage) draw(f *frame, a area) {
	p.showBeside(f, a, p.sheet, "the day as planned", p.besideSheet)
}

func (p *planPage) keys() []hint {
	d := &p.m.plans
	out := p.leaf.keys()
	out[0].words = "back"
	change := hint{key: "-", words: "change, what if"}
	switch {
	case d.instead != nil:
		return append(out, change)
	case d.offer == nil:
		return append(out, hint{key: "+", words: "take this plan", off: !p.takable()}, change)
	}
	see := hint{key: "*", words: "see the new"}
	if p.anew {
		see.words = "see the old"
	}
	return append(out, see, hint{key: "+", words: "take the new"}, hint{key: "-", words: "change"})
}

// takable tells whether there is a plan to take: whole, of a case at least, and not taken yet.
func (p *planPage) takable() bool {
	d := &p.m.plans
	return !d.busy && d.err == nil && d.instead == nil && (d.offer != nil || d.day != nil && d.whole && d.of == "" && len(d.day.Entries) > 0)
}

func (p *planPage) step() string {
	d := &p.m.plans
	switch {
	case d.instead != nil:
		return "0  back to the plan"
	case d.offer != nil:
		return "+  take the new plan; else the one that was taken holds"
	case p.takable():
		return "+  take this plan: every screen then shows it, and nothing is done by it"
	}
	return p.leaf.step()
}

func (p *planPage) key(key string) (tea.Cmd, bool) {
	m := p.m
	d := &m.plans
	switch key {
	case "+":
		return p.take(), true
	case "-":
		return m.planMenu(), true
	case "*":
		if d.offer != nil {
			p.anew, p.scroll = !p.anew, 0
			return nil, true
		}
	case "0", "esc", "backspace":
		if d.instead != nil || len(d.whatIf) > 0 {
			d.instead, d.whatIf, p.scroll = nil, nil, 0
			return m.planAnew(), true
		}
	}
	return p.leaf.key(key)
}

// shown is the plan on the page.
func (p *planPage) shown() *dayplan.Day {
	if d := &p.m.plans; p.anew && d.offer != nil {
		return d.offer.New
	}
	return p.m.plans.day
}

// take records the plan that is shown as the one that is followed.
func (p *planPage) take() tea.Cmd {
	m := p.m
	d := &m.plans
	if !p.takable() {
		switch {
		case d.busy:
			m.say(warn, "the plan is still being worked out: a moment")
		case d.of != "" && d.offer == nil:
			m.say(dim, "this plan was taken already; - changes the day, or asks for another")
		default:
			m.say(dim, "there is no plan to take")
		}
		return nil
	}
	day, reason := d.day, ""
	if d.offer != nil {
		day, reason = d.offer.New, d.offer.Reason
	}
	return m.append(day.Record(reason), "", func(logbook.Saved) tea.Cmd {
		d.asked, d.stay, d.offer, d.choice, d.typed = "", "", nil, nil, planDay{}
		return m.keyPlan("")
	})
}

// sheet is the plan as a table.
func (p *planPage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	d := &m.plans
	p.head(s)
	switch {
	case d.instead != nil:
		p.whatIfLines(s)
		return s
	case d.err != nil:
		s.add(warn, d.err.Error())
		return s
	case p.shown() == nil:
		return s
	}
	day := p.shown()
	shown := day.Show()
	if len(shown.Cases) == 0 {
		s.add(plain, "no cases: nothing to plan")
		s.gap()
		s.wrapped(dim, "Take cases in on the page of the cases (+ 8 6), or open a flask: then the plan says what to mix when.", a.w-2)
		return s
	}
	p.mixLines(s, day, shown)
	p.loadLines(s, day, shown)
	if x := shown.Ask; x != nil {
		s.gap()
		s.add(warn, fmt.Sprintf("ask for later: %s (%s), due %s, to %s", x.Case, x.Size, m.instant(x.Due), m.instant(x.To)))
		for i, b := range x.Buys {
			if i == mostBought && len(x.Buys) > i+1 {
				s.add(plain, fmt.Sprintf("  and %d more are late less often", len(x.Buys)-i))
				break
			}
			s.add(plain, "  "+b)
		}
	}
	if a.w == m.w { // else they stand beside it
		p.caseLines(s, day, shown)
	}
	s.gap()
	s.wrapped(dim, fmt.Sprintf("%s (%s).", shown.Sum(), bench.YouDecide), a.w-2)
	for _, n := range shown.Notes {
		s.wrapped(dim, "note: "+n, a.w-2)
	}
	s.wrapped(dim, dayplan.Leaflets, a.w-2)
	return s
}

// mostBought is of how many cases it is told what asking for a later time buys.
const mostBought = 3

// head says whose plan it is, for which day, and what is to be known of it first.
func (p *planPage) head(s *sheet) {
	m := p.m
	d := &m.plans
	title := "the day planned"
	if day := p.shown(); day != nil {
		title += " · " + day.Basis()
	}
	s.add(strong, title)
	if b := m.planBusy(); b != "" {
		s.add(dim, b)
	} else if held := m.planHolds(); held != nil && d.of == held.ID && d.instead == nil && (d.offer == nil || !p.anew) {
		s.add(good, fmt.Sprintf("taken %s by %s; foretold anew from now", m.instant(held.At.At), held.By))
	}
	if day := p.shown(); day != nil && day.Question.Left > 0 && d.instead == nil {
		s.add(warn, fmt.Sprintf("%d more wait and are in no plan: it has room for %d, those due first", day.Question.Left, len(day.Entries)))
	}
	if d.offer != nil && d.instead == nil {
		if p.anew {
			s.add(accent, "the new plan; it is not taken yet")
		}
		s.add(warn, d.offer.Words()+" (estimate)")
	}
}

func (p *planPage) mixLines(s *sheet, d *dayplan.Day, x dayplan.Shown) {
	if len(x.Mixes) == 0 {
		return
	}
	s.gap()
	s.head(strong, fmt.Sprintf("%-3s %-10s %-10s %-10s %-7s %s", "mix", "at about", "latest", "paint from", "in time", "cases"))
	later := false
	for _, k := range x.Mixes {
		if !k.Today && !later {
			later = true
			s.head(dim, "put off, or not reached today")
		}
		latest, all := d.LatestWords(k), "-"
		latest = cmp.Or(latest, "-")
		paint := "-" // of another day it is for the plan of that day
		if k.Today {
			all, paint = strings.TrimPrefix(k.AllIn, "about "), d.Clock(k.CoatFrom)
		}
		s.add(plain, fmt.Sprintf("%-3d %-10s %-10s %-10s %-7s %s", k.No, d.Clock(k.MixAt), latest, paint, all, strings.Join(k.Cases, " + ")))
	}
}

func (p *planPage) loadLines(s *sheet, d *dayplan.Day, x dayplan.Shown) {
	if len(x.Loads) == 0 {
		return
	}
	s.gap()
	s.head(strong, fmt.Sprintf("%-10s %-18s %-10s %-10s %s", "bath", "programme", "in about", "latest", "out about"))
	for _, k := range x.Loads {
		latest := "-"
		if k.Latest != nil {
			latest = d.By(*k.Latest)
		}
		s.head(plain, fmt.Sprintf("%-10s %-18s %-10s %-10s %s", fit(k.Bath, 10), fit(k.Programme, 18), d.Clock(k.In), latest, d.Clock(k.Out)))
		s.add(dim, "    "+strings.Join(k.Cases, ", "))
	}
}

func (p *planPage) caseLines(s *sheet, d *dayplan.Day, x dayplan.Shown) {
	if len(x.Work) > 0 {
		s.gap()
		s.head(strong, "at work, and left as it is")
		for _, w := range x.Work {
			s.add(plain, fmt.Sprintf("%-16s %s", w.Case, d.WorkWords(w)))
		}
	}
	s.gap()
	row := func(name, size, due, end, late string) string {
		if s.w < 88 {
			return fmt.Sprintf("%-16s %-15s %-10s %s", name, due, end, late)
		}
		return fmt.Sprintf("%-16s %-7s %-15s %-11s %s", name, size, due, end, late)
	}
	s.head(strong, row("case", "size", "due", "finished", "late"))
	for _, c := range x.Cases {
		due := d.DueWords(c.Due)
		if c.Rush {
			due += " rush"
		}
		r := plain
		if c.Due != nil && c.LateStep >= .25 {
			r = warn
		}
		s.add(r, row(c.Case, c.Size, due, d.Clock(c.Finished), c.Late))
	}
}

// besideSheet is the plan as a time line, with the cases beneath it.
func (p *planPage) besideSheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	d := &m.plans
	day := p.shown()
	if day == nil || d.instead != nil || d.err != nil || len(day.Entries) == 0 {
		return s
	}
	p.timeLine(s, day, a.w-2)
	p.caseLines(s, day, day.Show())
	return s
}

// timeLine draws the plan as bars.
func (p *planPage) timeLine(s *sheet, d *dayplan.Day, w int) {
	l, labels := d.Line()
	for _, row := range chart.TimeLine(l, labels, w, len(l.Rows)+2, false) {
		s.lines = append(s.lines, func(f *frame, x, y, _ int) { p.m.drawCells(f, x, y, row) })
	}
	s.add(dim, dayplan.LineKey)
}

// whatIfLines are the two plans side by side.
func (p *planPage) whatIfLines(s *sheet) {
	var b strings.Builder
	if err := p.m.plans.instead.Text(&b); err != nil {
		s.add(warn, err.Error())
		return
	}
	for _, l := range strings.Split(strings.TrimRight(b.String(), "\n"), "\n") {
		s.add(plain, l)
	}
}
