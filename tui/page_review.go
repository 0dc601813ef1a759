package tui

import (
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/civil"
	"flaskside/logbook/review"
)

// askReview asks which month is reviewed.
func (m *Model) askReview() tea.Cmd {
	y, mo, _ := m.now.Wall.Date()
	first := func(back int) time.Time {
		from, _ := civil.Bounds(y, mo-time.Month(back), 1, m.now.Wall.Location())
		return from
	}
	var names []string
	for back := range 8 { // as many as digits choose
		names = append(names, first(back).Format("January 2006"))
	}
	return m.menu("review which month?", nil, names, func(i int) tea.Cmd {
		from, until := first(i), first(i-1)
		head := m.cfg.Keeper.State().Head.String()
		p, book := &reviewPage{leaf: leaf{m: m}, text: "looking …"}, m.cfg.Keeper
		m.page = p
		return func() tea.Msg { // beside the screen: a month is read
			var text strings.Builder
			r, err := review.In(book, head, from, until)
			if err == nil {
				err = r.Text(&text)
			}
			return pageMsg(func() {
				if p.text = text.String(); err != nil {
					p.text = err.Error()
				}
			})
		}
	})
}

// reviewPage is a month in figures: what the text of a review says.
type reviewPage struct {
	leaf
	text string
}

func (p *reviewPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *reviewPage) sheet(a area) *sheet {
	s := newSheet(a)
	for l := range strings.Lines(strings.TrimRight(p.text, "\n")) {
		l = strings.TrimRight(l, "\n")
		if l != "" && !strings.HasPrefix(l, " ") {
			s.head(strong, l)
			continue
		}
		s.add(plain, strings.TrimPrefix(l, "  "))
	}
	s.gap()
	s.add(dim, "to print: flaskside review --format html --out FILE")
	return s
}
