package tui

import (
	"fmt"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// lotsPage is the register: what is in the house, of each material, and what
// was withdrawn.
type lotsPage struct{ leaf }

func (p *lotsPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *lotsPage) keys() []hint {
	return append(p.leaf.keys(), hint{key: "+", words: "book in"}, hint{key: "-", words: "take out of use"})
}

func (p *lotsPage) key(key string) (tea.Cmd, bool) {
	switch key {
	case "+":
		p.m.takeInLot()
		return nil, true
	case "-":
		p.m.withdrawLot()
		return nil, true
	}
	return p.leaf.key(key)
}

func (p *lotsPage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	s.head(strong, "lots in the house")
	n := 0
	for _, material := range action.Materials {
		held, withdrawn := m.bench().Lots(material)
		if len(held)+len(withdrawn) == 0 {
			continue
		}
		n++
		s.gap()
		s.head(dim, string(material))
		for _, k := range held {
			words, r := "", plain
			if !k.Expiry.IsZero() {
				words = "use until " + k.Expiry.String()
			}
			if k.Expired(m.now.Wall) {
				words, r = "EXPIRED "+k.Expiry.String(), alarm
			}
			s.add(r, strings.TrimRight(fmt.Sprintf("%-20s %-22s in %s %-4s %s", fit(k.Name(), 20), words, m.dayOf(k.In), k.InBy, k.Product), " "))
		}
		for _, k := range withdrawn {
			s.add(warn, fmt.Sprintf("%-20s OUT OF USE %s %s: %s", fit(k.Name(), 20), m.dayOf(k.Out), k.OutBy, k.Reason))
		}
	}
	if n == 0 {
		s.add(plain, "no lots booked in yet: + to add one")
		s.gap()
		s.wrapped(dim, "Once a material has lots on this list, you will be asked about a lot that is not on it, is out of use or has expired.", a.w-2)
	}
	return s
}

// dayOf writes the day of a stamp.
func (m *sight) dayOf(s *timers.Stamp) string {
	if s == nil {
		return "-"
	}
	return s.At.In(m.now.Wall.Location()).Format(time.DateOnly)
}

// lotPage are the flasks that had a lot, or a piece of equipment.
type lotPage struct {
	leaf
	text    string
	command string // that writes it as a table
}

func (p *lotPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *lotPage) sheet(a area) *sheet {
	s := newSheet(a)
	for _, l := range strings.Split(strings.TrimRight(p.text, "\n"), "\n") {
		s.add(plain, l)
	}
	s.gap()
	s.add(dim, "as a recall list: "+p.command)
	return s
}
