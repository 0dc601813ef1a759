package tui

import tea "charm.land/bubbletea/v2"

// page is one screenful of the program. All that it shows and all that its keys do stands
// in its own file, page_*.go; the frame around it, the line at the top and the foot, know
// no more of it than this.
//
//sumtype:decl
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
	room       int // columns that the words take at least, so that the others do not move
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

// beside is from what width on a page has two columns: what was asked for, and beside it
// what one looks at next.
const beside = 140

// show draws the part of a sheet that one has got to; on a wide screen the press order, the
// baths and the day stand beside it.
func (l *leaf) show(f *frame, a area, sheet func(area) *sheet) {
	l.showBeside(f, a, sheet, "press order", l.m.pressShort)
}

// showBeside draws a sheet with another beside it where there is room for both, and the day
// beneath that.
func (l *leaf) showBeside(f *frame, a area, sheet func(area) *sheet, title string, next func(area) *sheet) {
	if a.w < beside {
		l.parts = sheet(a).draw(f, a, l.scroll)
		return
	}
	left := area{a.x, a.y, a.w * 11 / 20, a.h}
	right := area{left.w + 1, a.y, a.w - left.w - 1, a.h}
	l.parts = sheet(left).draw(f, left, l.scroll)
	m := l.m
	f.rule(0, a.y-1, f.w)
	m.titled(f, left.w+1, a.y-1, right.w, title)
	f.text(left.w, a.y-1, dim, "┬")
	for y := a.y; y < a.y+a.h; y++ {
		f.text(left.w, y, dim, "│")
	}
	if day := min(m.timeLineH(), a.h/2); day > 2 {
		at := a.y + a.h - day
		f.text(left.w, at-1, dim, "├")
		m.titled(f, right.x, at-1, right.w, "the day")
		m.drawTimeLine(f, area{right.x + 1, at, right.w - 2, day}, true)
		right.h -= day + 1
	}
	next(right).draw(f, right, 0)
}

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
		if selects(key) { // another flask is read from its beginning
			l.scroll = 0
		}
		return nil, false
	}
	return nil, true
}
