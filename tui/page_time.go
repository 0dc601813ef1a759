package tui

import tea "charm.land/bubbletea/v2"

// timePage is the day on a page of its own: what runs and until when, beneath it what
// comes due.
type timePage struct{ leaf }

func (p *timePage) draw(f *frame, a area) { // the whole width is the day's
	p.parts = p.sheet(a).draw(f, a, p.scroll)
}

func (p *timePage) key(key string) (cmd tea.Cmd, taken bool) {
	switch key {
	case "/", "p":
		return p.m.keyFar(key), true
	}
	return p.leaf.key(key)
}

func (p *timePage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	s.add(strong, "the day · "+m.now.Wall.Format("Mon 02 Jan"))
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

func (p *timePage) keys() []hint { return append(p.leaf.keys(), hint{key: "/", words: "far view"}) }
