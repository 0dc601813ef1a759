package tui

import tea "charm.land/bubbletea/v2"

// page is one screenful of the program. All that it shows and all that its keys do stands
// in its own file, page_*.go; the frame around it, the line at the top and the foot, know
// no more of it than this.
type page interface {
	draw(f *frame, a area)                    // between the top line and the foot
	step() string                             // the bright line of the foot; "" for a page without one
	keys() []hint                             // the keys that work here
	key(key string) (cmd tea.Cmd, taken bool) // what is not taken goes to the keys of the bench
}

// readOut is a page whose text is read out in plain mode.
type readOut interface {
	page
	at() int // which part is shown
}

// hint is a key in the row of keys with what it does there. One that is off keeps its
// place and is not shown, so that the others stand where the eye looks for them.
type hint struct {
	key, words string
	off        bool
}

// home goes to the bench.
func (m *Model) home() { m.page = &benchPage{m} }

// atHome tells whether the bench is shown.
func (m *Model) atHome() bool { _, ok := m.page.(*benchPage); return ok }

// pageMsg has what was worked out beside the screen put on its page. Whoever has left
// that page meanwhile sees nothing of it.
type pageMsg func()

// leaf is what pages of text have in common: one reads on a screenful at a time, and goes
// back to the bench.
type leaf struct {
	m      *Model
	scroll int
	parts  int // it has, as it was drawn last
}

// show draws the part of a sheet that one has got to.
func (l *leaf) show(f *frame, a area, s *sheet) { l.parts = s.draw(f, a, l.scroll) }

func (l *leaf) at() int { return l.scroll }

func (l *leaf) step() string { return "0  back to the bench" }

func (l *leaf) keys() []hint {
	out := []hint{{key: "0", words: "back to the bench"}}
	if l.parts > 1 {
		out = append(out, hint{key: "ENTER", words: "more"})
	}
	return out
}

func (l *leaf) key(key string) (tea.Cmd, bool) {
	switch key {
	case "enter", "space", "pgdown", "down":
		l.scroll++
	case "up", "pgup":
		l.scroll = max(0, l.scroll-1)
	case "0", "esc", "backspace":
		l.m.home()
	default:
		if binding(key) == 0 { // another flask is read from its beginning
			l.scroll = 0
		}
		return nil, false
	}
	return nil, true
}
