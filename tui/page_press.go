package tui

import (
	"strings"

	tea "charm.land/bubbletea/v2"
)

// pressPage is the press order and the baths.
type pressPage struct{ leaf }

func (p *pressPage) draw(f *frame, a area) {
	if a.w < beside {
		p.show(f, a, p.sheet)
		return
	}
	p.showBeside(f, a, p.bathsAlone, "press order", func(a area) *sheet {
		s := newSheet(a)
		p.m.pressSheet(s, a.w-2)
		return s
	})
}

// bathsAlone are the baths and the plan, where the press order stands beside them.
func (p *pressPage) bathsAlone(a area) *sheet {
	s := newSheet(a)
	p.m.bathSheet(s, a.w-2, a.h)
	return s
}

func (p *pressPage) step() string {
	switch ds := p.m.digits(); len(ds) {
	case 0:
		return p.leaf.step()
	case 1:
		return p.leaf.step() + " · " + ds[0] + " selects the load"
	default:
		return p.leaf.step() + " · " + strings.Join(ds, " ") + " select a load"
	}
}

func (p *pressPage) keys() []hint {
	return append(p.leaf.keys(), hint{key: "-", words: "plan"}, hint{key: "*", words: "the day"}, hint{key: "/", words: "far view"})
}

func (p *pressPage) key(key string) (tea.Cmd, bool) {
	if cmd, ok := p.m.pickLoad(key); ok {
		return cmd, true
	}
	switch key {
	case "-", "o":
		return p.m.bathMenu(), true
	case "*", "f":
		return p.m.keyDay(key), true
	case "/", "p":
		return p.m.keyFar(key), true
	}
	return p.leaf.key(key)
}

func (p *pressPage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	order := func() {
		s.head(strong, "press order")
		m.pressSheet(s, a.w-2)
	}
	if len(m.loadsIn()) > 0 && (m.advice == nil || len(m.advice.Flasks) == 0) {
		m.bathSheet(s, a.w-2, a.h) // nothing waits for the press: what is in the baths is why one looks
		s.keep(2, a.h)
		order()
		return s
	}
	order()
	m.bathSheet(s, a.w-2, a.h)
	return s
}

// pressShort is the press order and the baths in short, beneath a wide bench.
func (m *sight) pressShort(a area) *sheet {
	s := newSheet(a)
	m.pressSheet(s, a.w-2)
	m.bathShort(s, a.w-2, a.h)
	return s
}
