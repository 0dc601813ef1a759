package tui

import (
	"fmt"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/civil"
)

// timePage is the day on a page of its own: what runs and until when, beneath it what
// comes due.
type timePage struct{ leaf }

func (p *timePage) draw(f *frame, a area) { // the whole width is the day's
	p.parts = p.sheet(a).draw(f, a, p.scroll)
}

func (p *timePage) key(key string) (cmd tea.Cmd, taken bool) {
	switch key {
	case "+":
		p.m.signOff()
		return nil, true
	case "/", "p":
		return p.m.keyFar(key), true
	}
	return p.leaf.key(key)
}

func (p *timePage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	s.add(strong, "the day · "+m.now.Wall.Format("Mon 02 Jan"))
	if words, since := m.signedWords(); words != "" {
		r := good
		if since > 0 {
			r = warn
		}
		s.add(r, words)
	}
	if !m.aloud { // bars say nothing read out: what is coming up tells it in words
		m.addTimeLine(s, max(3, a.h-2), true)
		s.add(dim, timeKey(a.w-2))
	}
	_, noon := m.untilMorning()
	m.dueSheet(s, m.coming(noon))
	if a.w >= beside {
		m.bathShort(s, a.w-2, a.h-1)
	}
	return s
}

func (p *timePage) keys() []hint {
	return append(p.leaf.keys(), hint{key: "+", words: "sign off"}, hint{key: "/", words: "far view"})
}

// signOff asks who signs off the day as it is recorded by now.
func (m *Model) signOff() {
	if m.barred("sign-off") {
		return
	}
	from, until := civil.OfInstant(m.now.Wall, m.now.Wall.Location())
	f := &form{title: "who signs off the sheet of " + from.Format("Mon 2 Jan") + ", as recorded by now?", fields: m.askInitials()}
	f.done = func(f *form) tea.Cmd {
		f.sent = true
		a := action.Action{ID: m.cfg.NewID(), At: m.cfg.Keeper.Now().Wall, By: initialsOf(f), Body: action.SignOffOf(from, until)}
		return m.send(a, func(logbook.Saved) tea.Cmd { return m.keyDay("") })
	}
	m.open(f)
}

// signedWords say who signed off the day that is shown, and how many records were made
// since: a sign-off is never shown without that. The sheet tells which of them are about it.
func (m *sight) signedWords() (words string, since uint64) {
	b := m.bench()
	from, _ := civil.OfInstant(m.now.Wall, m.now.Wall.Location())
	if b.Signed == nil {
		return "", 0
	}
	if f, _ := b.Signed.Bounds(); !f.Equal(from) {
		return "", 0
	}
	words = fmt.Sprintf("sheet signed off by %s, %s", b.Signed.By, m.instant(b.Signed.At.At))
	switch since = b.Top.Seq - min(b.Top.Seq, b.Signed.Seq); since {
	case 0:
		return words + "; nothing recorded since", 0
	case 1:
		return words + "; 1 record since", 1
	}
	return fmt.Sprintf("%s; %d records since", words, since), since
}
