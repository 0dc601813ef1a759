package tui

// drawPressPage is press order and baths, on a page of their own or, in short,
// beneath the bench.
func (m *Model) drawPressPage(f *frame, a area) {
	var s sheet
	order := func() {
		s.add(strong, "press order")
		m.pressSheet(&s, a.w-2)
	}
	idle := len(m.loadsIn()) > 0 && (m.advice == nil || len(m.advice.Flasks) == 0)
	switch {
	case m.page != pagePress:
		order()
		m.bathShort(&s, a.w-2, a.h)
		s.draw(f, a, 0)
		return
	case idle: // nothing waits for the press: what is in the baths is why one looks
		m.bathSheet(&s, a.w-2, a.h)
		s.keep(2, a.h)
		order()
	default:
		order()
		m.bathSheet(&s, a.w-2, a.h)
	}
	s.draw(f, a, m.scroll)
}
