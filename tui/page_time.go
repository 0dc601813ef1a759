package tui

import tea "charm.land/bubbletea/v2"

// timePage is the day on a page of its own: what runs and until when, beneath it what
// comes due.
type timePage struct{ leaf }

func (p *timePage) draw(f *frame, a area) { p.show(f, a, p.sheet(a)) }

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
	m.addTimeLine(s, max(3, a.h-2), true)
	if key := timeKey(a.w - 2); key != "" {
		s.add(dim, key)
	}
	_, noon := m.untilMorning()
	m.dueSheet(s, m.coming(noon))
	return s
}

func (p *timePage) keys() []hint { return append(p.leaf.keys(), hint{key: "/", words: "far view"}) }
