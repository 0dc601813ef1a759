package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/cases"
	"flaskside/timers/each"
)

// A scanner types a tag faster than any hand and ends it with Enter. But in a field of text, which
// takes it as typed, a printable key is therefore held back for a moment: when others follow at
// once it is a scan, when none does it is a key. On the bench, on the page of cases and at the
// question which case it selects the flask or the case; elsewhere it is refused whole, for its
// digits and its ENTER would answer a question that is about another flask.

// glance is how the screen is drawn while a key is held back that would select a place: as
// if it had, for the eye waits for no scanner. Nothing but the picture knows of it.
func (m *Model) glance() (back func()) {
	if len(m.burst) != 1 || m.saving || m.over() != nil || !m.atHome() {
		return func() {}
	}
	key := padKey(m.burst[0].k)
	if len(key) != 1 || !selects(key) {
		return func() {}
	}
	sel, off := m.sel, m.off
	m.sel, m.off = int(key[0]-'0'), 0
	return func() { m.sel, m.off = sel, off }
}

// scanLeast is the fewest characters of a tag or case number that is scanned.
const scanLeast = 3

type heldKey struct {
	k  tea.KeyPressMsg
	at time.Duration
}

// burstMsg ends the holding back that was begun with it.
type burstMsg struct{ gen int }

// hold takes a key that may be the beginning of a scan; ok tells that it did.
func (m *Model) hold(k tea.KeyPressMsg) (cmd tea.Cmd, ok bool) {
	into := m.scansInto()
	if m.cfg.ScanHold <= 0 || into == nil {
		return m.release(), false
	}
	now := m.cfg.Hands.Read().Mono
	if padKey(k) == "enter" && len(m.burst) >= scanLeast && now-m.burst[len(m.burst)-1].at < m.cfg.ScanHold {
		var tag strings.Builder
		for _, h := range m.burst {
			tag.WriteString(h.k.Text)
		}
		m.burst = nil
		return into(tag.String()), true
	}
	if k.Text == "" || k.IsRepeat || len(m.burst) == 0 && m.over() != nil && strings.ContainsAny(k.Text, "*-+/.") {
		return m.release(), false // no label begins with a key of the pad that rubs out when it is held down
	}
	if len(m.burst) >= maxTyped { // a key leaned on, not a scan
		return m.release(), true
	}
	m.burst = append(m.burst, heldKey{k, now})
	m.burstGen++
	gen := m.burstGen
	return tea.Tick(m.cfg.ScanHold, func(time.Time) tea.Msg { return burstMsg{gen} }), true
}

// scansInto is what takes a scan now; nil where every key is a key, or goes into a field of text.
func (m *Model) scansInto() func(tag string) tea.Cmd {
	if m.over() != nil {
		f := m.form()
		switch {
		case m.saving || f != nil && (f.sent || f.fields[f.at].kind == lineText):
			return nil
		case f != nil && f.fields[f.at].scan != nil:
			return func(tag string) tea.Cmd { return f.fields[f.at].scan(f, tag) }
		}
		if f != nil && f.fields[f.at].kind == number {
			return m.notScanned("this question takes no scan: type a number, or - goes back")
		}
		return m.notScanned("this question takes no scan: answer it with a key, or 0 goes back")
	}
	if m.atHome() {
		return func(tag string) tea.Cmd { m.scanned(tag); return nil }
	}
	if _, cases := m.page.(*casesPage); cases {
		return func(tag string) tea.Cmd { m.scannedCase(tag); return nil }
	}
	return m.notScanned("0 goes back to the bench; scan it there")
}

// notScanned refuses a scan, and says what would be right.
func (m *Model) notScanned(instead string) func(tag string) tea.Cmd {
	return func(tag string) tea.Cmd {
		said := fmt.Sprintf("scanned %s: %s", fit(tag, 24), instead)
		if f := m.form(); f != nil {
			f.note = said
		} else {
			m.say(warn, said)
		}
		return nil
	}
}

// scannedCase chooses the case on the list whose number, or label, was read.
func (m *Model) scannedCase(tag string) {
	number, base := cases.FromLabel(tag)
	for _, k := range m.bench().Cases() {
		if strings.EqualFold(k.Case, number) && (base == "" || k.Base == base) {
			m.caseSel = k.Name()
			m.say(good, fmt.Sprintf("scanned %s: next: %s", fit(tag, 24), m.caseStepWords(k)))
			return
		}
	}
	m.say(warn, fmt.Sprintf("scanned %s: no such case is on the list; + to take it in", fit(tag, 24)))
}

// caseFields ask for a case number and its base. A label that is scanned says both, and then the
// base is not asked.
func caseFields() []*field {
	labelled := false
	number := line("case", "case number", "", false).upTo(24)
	number.read = func(f *form) {
		n, base := cases.FromLabel(f.text("case"))
		if labelled = base != ""; labelled {
			f.get("case").typed, f.get("base").choice = n, slices.Index(action.Bases, base)+1
		}
	}
	return []*field{number, choose("base", "base", action.Bases...).only(func(*form) bool { return !labelled })}
}

// scannable has a scanned label answer the question which of some cases; one that is not among them
// goes into the fields for another number.
func scannable(which *field, names []string) *field {
	which.scan = func(f *form, tag string) tea.Cmd {
		number, base := cases.FromLabel(tag)
		hit, hits := 0, 0
		for i, name := range names {
			if n, b := cases.FromLabel(name); strings.EqualFold(n, number) && (base == "" || b == base) {
				hit, hits = i+1, hits+1
			}
		}
		if hits > 1 {
			f.note = "case " + fit(number, 24) + " is there with more than one base: choose by digit"
			return nil
		}
		if hits == 1 {
			f.turnTo(which, hit)
			return f.accept(which)
		}
		f.turnTo(which, len(which.options))
		f.get("case").typed = tag
		return tea.Batch(f.accept(which), f.accept(f.get("case")))
	}
	return which
}

// release lets the keys held back count.
func (m *Model) release() tea.Cmd {
	held := m.burst
	m.burst = nil
	cmds := each.Of(held, func(h heldKey) tea.Cmd { return m.onKey(h.k, h.at) })
	return tea.Batch(cmds...)
}

// scanned selects the flask whose tag or case number was read.
func (m *Model) scanned(tag string) {
	for fl := range m.bench().AtWork() {
		if strings.EqualFold(fl.Tag, tag) || strings.EqualFold(fl.Case, tag) || strings.EqualFold(fl.Case+" "+fl.Base, tag) {
			m.pick(fl)
			m.say(good, fmt.Sprintf("scanned %s: %s", fit(tag, 24), m.bench().WhereWords(fl)))
			return
		}
	}
	m.say(warn, fmt.Sprintf("scanned %s: no flask on the bench has this tag or case number", fit(tag, 24)))
}
