package tui

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/ansi"
)

// sheet gathers the lines of a page that may be longer than the screen. What is wider than
// the page is broken, never cut; without a width of its own it is cut where it is drawn.
type sheet struct {
	w     int
	lines []func(f *frame, x, y, w int)
	heads map[int]bool // lines that stand above what follows, and never last on a screenful
}

// newSheet is a sheet as wide as a part of the screen.
func newSheet(a area) *sheet { return &sheet{w: a.w - 2} }

func (s *sheet) add(r role, text string) {
	if s.w > 0 && ansi.StringWidth(text) > s.w {
		s.long(r, text)
		return
	}
	s.line(r, text)
}

// long adds a text in several lines, those after the first set in. The blanks that lay out
// its beginning stay.
func (s *sheet) long(r role, text string) {
	head := ansi.Truncate(text, s.w, "")
	if i := strings.LastIndexByte(head, ' '); i > s.w/3 {
		head = head[:i]
	}
	s.line(r, strings.TrimRight(head, " "))
	const in = "    "
	for _, l := range wrap(text[len(head):], s.w-len(in)) {
		s.line(r, in+l)
	}
}

func (s *sheet) line(r role, text string) {
	s.lines = append(s.lines, func(f *frame, x, y, w int) { f.put(x, y, w, r, fit(text, w)) })
}

// picture keeps so many lines for what is drawn over all of them.
func (s *sheet) picture(high int, draw func(f *frame, x, y, w int)) {
	s.lines = append(s.lines, draw)
	for range high - 1 {
		s.lines = append(s.lines, func(*frame, int, int, int) {})
	}
}

func (s *sheet) wrapped(r role, text string, w int) {
	for _, l := range wrap(text, w) {
		s.add(r, l)
	}
}

// head adds a line that what follows belongs to: the title or the header of a table.
func (s *sheet) head(r role, text string) {
	if s.heads == nil {
		s.heads = map[int]bool{}
	}
	from := len(s.lines)
	s.add(r, text)
	for i := from; i < len(s.lines); i++ {
		s.heads[i] = true
	}
}

// starts are the lines that the screenfuls begin with, per lines to each: fewer where a
// header would stand last.
func (s *sheet) starts(per int) []int {
	out := []int{0}
	for from := 0; from+per < len(s.lines); {
		to := from + per
		for to-1 > from && s.heads[to-1] {
			to--
		}
		if s.heads[to-1] { // nothing but headers
			to = from + per
		}
		from = to
		out = append(out, from)
	}
	return out
}

func (s *sheet) gap() { s.add(plain, "") }

// draw shows the part of the sheet that scroll brings up, a screenful at a time,
// round and round; it tells how many there are.
func (s *sheet) draw(f *frame, a area, scroll int) (parts int) {
	if len(s.lines) > a.h {
		per := max(1, a.h-1)
		starts := s.starts(per)
		pages := len(starts)
		from := starts[scroll%pages]
		to := len(s.lines)
		if n := scroll%pages + 1; n < pages {
			to = starts[n]
		}
		if a.y+a.h-1 < f.h {
			f.right(a.x+a.w-1, a.y+a.h-1, dim, fmt.Sprintf("part %d of %d", scroll%pages+1, pages))
		}
		for i := from; i < to; i++ {
			s.lines[i](f, a.x+1, a.y+i-from, a.w-2)
		}
		return pages
	}
	for i, l := range s.lines {
		l(f, a.x+1, a.y+i, a.w-2)
	}
	return 1
}

// left is how many rows of its screenful are free after a blank one.
func (s *sheet) left(page int) int {
	per := max(1, page-1)
	starts := s.starts(per)
	used := len(s.lines) - starts[len(starts)-1]
	if used > 0 {
		used++
	}
	return per - used
}

// keep begins a new screenful where rows of text would be torn apart.
func (s *sheet) keep(rows, page int) {
	per := max(1, page-1)
	if len(s.lines) > 0 {
		s.gap()
	}
	starts := s.starts(per)
	if used := len(s.lines) - starts[len(starts)-1]; used > 0 && used+rows > per {
		for range per - used {
			s.gap()
		}
	}
}
