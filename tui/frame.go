package tui

import (
	"strings"

	"github.com/charmbracelet/x/ansi"
	"github.com/rivo/uniseg"
)

// frame is a grid of cells that a screen is drawn on. Everything is placed by
// column and row and cut at the edge, so that no text, however long or wide, can
// move what stands beside it.
type frame struct {
	w, h  int
	cells []cell
}

type cell struct {
	s    string // one grapheme; "" is the right half of a wide one
	role role
}

func newFrame(w, h int) *frame {
	f := &frame{w: w, h: h, cells: make([]cell, w*h)}
	f.clear()
	return f
}

// clear blanks the frame.
func (f *frame) clear() {
	for i := range f.cells {
		f.cells[i] = cell{" ", plain}
	}
}

// put writes s at column x of row y, cut to width at most, and gives the column
// after it.
func (f *frame) put(x, y, width int, r role, s string) int {
	if y < 0 || y >= f.h || x < 0 {
		return x
	}
	end := min(f.w, x+width)
	for len(s) > 0 && x < end {
		if c := s[0]; c >= 0x20 && c < 0x7f && (len(s) == 1 || s[1] < 0x80) { // the common case: no cluster to look for
			f.cells[y*f.w+x] = cell{s[:1], r}
			s, x = s[1:], x+1
			continue
		}
		g, rest, _, _ := uniseg.FirstGraphemeClusterInString(s, -1)
		s = rest
		w := ansi.StringWidth(g)
		switch {
		case w == 0 || g[0] < 0x20 || g == "\x7f":
			continue // what has no width, or moves the cursor, is not shown
		case x+w > end:
			return end
		}
		f.cells[y*f.w+x] = cell{g, r}
		for i := 1; i < w; i++ {
			f.cells[y*f.w+x+i] = cell{"", r}
		}
		x += w
	}
	return x
}

// text is put without a width of its own.
func (f *frame) text(x, y int, r role, s string) int { return f.put(x, y, f.w, r, s) }

// right writes s so that it ends before column x.
func (f *frame) right(x, y int, r role, s string) {
	f.text(max(0, x-ansi.StringWidth(s)), y, r, s)
}

// rule draws a rule over a part of a row.
func (f *frame) rule(x, y, width int) {
	if y < 0 || y >= f.h || x < 0 {
		return
	}
	for i := x; i < min(f.w, x+width); i++ {
		f.cells[y*f.w+i] = cell{"─", dim}
	}
}

// join is where a line from above or beneath meets a rule; the words of a rule stay whole.
func (f *frame) join(x, y int, s string) {
	if f.cells[y*f.w+x].s == "─" {
		f.text(x, y, dim, s)
	}
}

// fill gives a part of a row a role, and blanks it.
func (f *frame) fill(x, y, width int, r role) {
	f.put(x, y, width, r, strings.Repeat(" ", max(0, width)))
}

// plainText is the frame without colours, for tests and screen readers.
func (f *frame) plainText() string {
	var b strings.Builder
	for y := 0; y < f.h; y++ {
		var row strings.Builder
		for x := 0; x < f.w; x++ {
			row.WriteString(f.cells[y*f.w+x].s)
		}
		b.WriteString(strings.TrimRight(row.String(), " "))
		if y < f.h-1 {
			b.WriteByte('\n')
		}
	}
	return b.String()
}

// styled is the frame as the terminal gets it.
func (f *frame) styled(t *theme) string {
	var b strings.Builder
	b.Grow(f.w * f.h * 2)
	for y := 0; y < f.h; y++ {
		on := plain
		for x := 0; x < f.w; x++ {
			c := f.cells[y*f.w+x]
			if c.role != on {
				b.WriteString(t.off[on])
				b.WriteString(t.on[c.role])
				on = c.role
			}
			b.WriteString(c.s)
		}
		b.WriteString(t.off[on])
		if y < f.h-1 {
			b.WriteByte('\n')
		}
	}
	return b.String()
}

// wrap breaks a text at spaces into lines of at most width, and a word that is longer than
// that anywhere.
func wrap(s string, width int) []string {
	width = max(2, width) // a wide character
	var out []string
	line := ""
	for _, word := range strings.Fields(s) {
		for ansi.StringWidth(word) > width {
			if line != "" {
				out, line = append(out, line), ""
			}
			head := ansi.Truncate(word, width, "")
			if head == "" {
				break
			}
			out, word = append(out, head), word[len(head):]
		}
		switch {
		case word == "":
		case line == "":
			line = word
		case ansi.StringWidth(line)+1+ansi.StringWidth(word) <= width:
			line += " " + word
		default:
			out = append(out, line)
			line = word
		}
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// fit cuts a text to width, with a mark where something is missing.
func fit(s string, width int) string { return ansi.Truncate(s, width, "…") }

// pad cuts or fills a text to exactly width.
func pad(s string, width int) string {
	s = fit(s, width)
	return s + strings.Repeat(" ", max(0, width-ansi.StringWidth(s)))
}
