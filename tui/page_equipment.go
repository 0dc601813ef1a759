package tui

import (
	"fmt"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/equipment"
)

// equipmentPage is the register of equipment: what wants something now, then all of it.
type equipmentPage struct{ leaf }

func (p *equipmentPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *equipmentPage) keys() []hint {
	return append(p.leaf.keys(), hint{key: "+", words: "take in"}, hint{key: "-", words: "check, water, out of use"})
}

func (p *equipmentPage) key(key string) (tea.Cmd, bool) {
	switch key {
	case "+":
		p.m.takeInPiece()
		return nil, true
	case "-":
		return p.m.pieceGoesOn(), true
	}
	return p.leaf.key(key)
}

func (p *equipmentPage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	all := equipment.Lines(m.bench(), m.now.Wall)
	if len(all) == 0 {
		s.add(strong, "equipment")
		s.add(plain, "nothing in the register yet: + to take something in")
		s.gap()
		s.wrapped(dim, "When the check of a thermometer is overdue you are told once at the cure, and so with a gauge at the press. Both stand on the day sheet; neither is refused. A pressure above what press, flask or clamp is rated for is refused.", a.w-2)
		return s
	}
	if due := equipment.Due(all, m.now.Wall, 0); len(due) > 0 {
		s.head(strong, fmt.Sprintf("to be done: %d", len(due)))
		for _, l := range due {
			p.line(s, l)
		}
		s.gap()
	}
	s.head(strong, "equipment")
	item := ""
	for _, l := range all {
		if l.State == equipment.OutOfUse && item != "out" {
			item = "out"
			s.gap()
			s.head(dim, "out of use")
		} else if l.State != equipment.OutOfUse && l.Item != item {
			item = l.Item
			s.gap()
			s.head(dim, item)
		}
		p.line(s, l)
	}
	return s
}

func (p *equipmentPage) line(s *sheet, l equipment.Listed) {
	r := plain
	switch l.State {
	case equipment.Overdue, equipment.Off:
		r = alarm
	case equipment.Unchecked, equipment.OutOfUse:
		r = warn
	}
	text := fmt.Sprintf("%-18s %s", fit(l.Piece, 18), l.Says)
	if about := l.About(p.m.house().Units); about != "" {
		text += " · " + about
	}
	s.add(r, text)
}

// keyEquipment shows the register of equipment.
func (m *Model) keyEquipment(string) tea.Cmd { m.page = &equipmentPage{leaf{m: m}}; return nil }
