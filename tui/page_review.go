package tui

import (
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/bench"
	"flaskside/logbook/day"
	"flaskside/logbook/review"
)

// reviewed is a logbook that can be looked back upon.
type reviewed interface {
	Whole(from, until time.Time) (*bench.Bench, error)
}

// reviewMsg is the review that was asked for.
type reviewMsg struct {
	from time.Time // the month's begin
	text string
	err  error
}

// askReview asks which month is reviewed.
func (m *Model) askReview() tea.Cmd {
	book, ok := m.cfg.Keeper.(reviewed)
	if !ok {
		m.say(warn, "this logbook cannot be looked through from here: flaskside review")
		return nil
	}
	y, mo, _ := m.now.Wall.Date()
	first := func(back int) time.Time {
		from, _ := day.Bounds(y, mo-time.Month(back), 1, m.now.Wall.Location())
		return from
	}
	var names []string
	for back := range 8 { // as many as digits choose
		names = append(names, first(back).Format("January 2006"))
	}
	return m.menu("review which month?", nil, names, func(i int) tea.Cmd {
		from, until := first(i), first(i-1)
		head := m.cfg.Keeper.State().Head.String()
		m.page, m.scroll, m.review, m.reviewOf = pageReview, 0, "looking …", from
		return func() tea.Msg { // beside the screen: a month is read
			b, err := book.Whole(from, until)
			if err != nil {
				return reviewMsg{from: from, err: err}
			}
			r := review.Of(b, from, until, review.Boiling(b, from, until))
			r.Head = head
			var text strings.Builder
			err = r.Text(&text)
			return reviewMsg{from, text.String(), err}
		}
	})
}

// reviewDone shows the review that was asked for last; one of a month asked for before it
// may come later.
func (m *Model) reviewDone(msg reviewMsg) {
	if !msg.from.Equal(m.reviewOf) {
		return
	}
	m.review = msg.text
	if msg.err != nil {
		m.review = msg.err.Error()
	}
}

// drawReview is the page of a review: what the text of it says.
func (m *Model) drawReview(f *frame, a area) {
	var s sheet
	for l := range strings.Lines(strings.TrimRight(m.review, "\n")) {
		l = strings.TrimRight(l, "\n")
		r := plain
		if l != "" && !strings.HasPrefix(l, " ") {
			r = strong
		}
		s.add(r, strings.TrimPrefix(l, "  "))
	}
	s.gap()
	s.add(dim, "to print: flaskside review --format html --out FILE")
	s.draw(f, a, m.scroll)
}
