package tui

import (
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
)

// lotMsg is the list of flasks that had a lot.
type lotMsg struct {
	text string
	err  error
}

// askLot asks for a lot, scanned or typed, and looks through the whole book for the
// flasks that had it, beside the screen.
func (m *Model) askLot() tea.Cmd {
	book, ok := m.cfg.Keeper.(recall.Book)
	if !ok {
		m.say(warn, "this logbook cannot be looked through from here: flaskside lot --which LOT")
		return nil
	}
	f := &form{title: "which flasks had a lot?", fields: []*field{line("lot", "lot, scanned or typed", "", false)}}
	f.done = func(f *form) tea.Cmd {
		year, loc := m.now.Wall.Year(), m.now.Wall.Location()
		asked, err := lot.Parse(strings.TrimSpace(f.text("lot")), year)
		if err != nil {
			f.note = err.Error()
			return nil
		}
		m.forms = m.forms[:len(m.forms)-1]
		m.page, m.scroll, m.lot = pageLot, 0, "looking …"
		return func() tea.Msg {
			list, err := recall.Find(book, asked, year, loc)
			var b strings.Builder
			if err == nil {
				err = list.Text(&b)
			}
			return lotMsg{b.String(), err}
		}
	}
	m.open(f)
	return nil
}

// drawLot is the page of a lot.
func (m *Model) drawLot(f *frame, a area) {
	var s sheet
	for _, l := range strings.Split(strings.TrimRight(m.lot, "\n"), "\n") {
		s.add(plain, l)
	}
	s.gap()
	s.add(dim, "as a recall list: flaskside lot --which LOT --csv")
	s.draw(f, a, m.scroll)
}
