package tui

import (
	"fmt"
	"strings"

	"flaskside/logbook/action"
)

// helpPage is made from the one key table.
type helpPage struct{ leaf }

func (p *helpPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *helpPage) sheet(a area) *sheet {
	s := newSheet(a)
	s.head(strong, "keys")
	for _, b := range Bindings() {
		for i, l := range wrap(b.Words, a.w-30) {
			if i == 0 {
				l = fmt.Sprintf("%-10s %-16s %s", b.Pad, b.Also, l)
			} else {
				l = strings.Repeat(" ", 28) + l
			}
			s.add(plain, l)
		}
	}
	s.gap()
	s.wrapped(plain, "The same key twice within a fifth of a second, or held down, is one press: a glove leans on keys. Click on a key named on the screen to press it. What cannot be redone at the bench needs two different keys.", a.w-4)
	s.wrapped(plain, "Every figure marked estimate is one; the person at the bench decides, and the maker's instructions and local rules come first.", a.w-4)
	s.gap()
	s.head(strong, "cautions")
	for _, h := range action.Hazards {
		s.wrapped(plain, cautions[h][0], a.w-4)
	}
	return s
}

// drawFirst is what a first start shows: the three things to know.
func (m *sight) drawFirst(f *frame, a area) {
	for i, s := range []string{
		"Three things to know:",
		"1  ENTER does what the bright line below says, for the place that is selected.",
		"2  Most questions take one digit. 0 goes back; from a field, - does.",
		"3  + begins something new. What the screen shows as saved is saved.",
	} {
		if i < a.h {
			f.put(a.x+1, a.y+i, a.w-2, plain, s)
		}
	}
}
