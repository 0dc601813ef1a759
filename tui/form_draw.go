package tui

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"flaskside/timers/each"
)

// A form is laid in a width and a height before it is drawn or given a key, so that both
// know the same pages of choices, and whether all that is asked has a place. Nothing in
// it is cut: what is long is broken, and choices stand in columns only where all fit.

// piece is a run of text in one role from a column on.
type piece struct {
	x int
	r role
	s string
}

// rowsOf are rows of one text from a column on, broken where it is wider than w.
func rowsOf(x int, r role, text string, w int) [][]piece {
	return each.Of(wrap(text, w), func(s string) []piece { return []piece{{x, r, s}} })
}

// laid is a form as it lies.
type laid struct {
	rows  [][]piece
	notes []piece  // beneath the rows
	pages [][2]int // of the choices of a field: from, to
	of    *field
	n     int // how many choices it had
	whole bool
}

// height is how many rows it takes, with one at least for a note.
func (l *laid) height() int { return len(l.rows) + max(1, len(l.notes)) }

// lay finds how the form lies in a width and a height. Where there are too many long
// choices for the height, tight spreads them over more pages.
func (f *form) lay(w, h int, tight bool) (rows int, whole bool) {
	f.laid = laid{rows: f.head(w)}
	switch {
	case f.sent:
		f.laid.notes = []piece{{1, warn, "saving …"}}
	case f.note != "":
		f.laid.notes = each.Of(wrap("! "+f.note, w-2), func(s string) piece { return piece{1, warn, s} })
	}
	if fd := f.fields[f.at]; fd.typing() {
		f.laid.rows = append(f.laid.rows, fd.entryRows(w)...)
	} else {
		f.layChoices(fd, w, h-f.laid.height(), tight)
	}
	f.laid.whole = f.laid.height() <= h && fits(f.laid.rows, w)
	return f.laid.height(), f.laid.whole
}

// fits tells whether no row is wider than w.
func fits(rows [][]piece, w int) bool {
	for _, row := range rows {
		for _, p := range row {
			if p.x+ansi.StringWidth(p.s) > w {
				return false
			}
		}
	}
	return true
}

// head are the rows above what is answered now.
func (f *form) head(w int) [][]piece {
	var rows [][]piece
	add := func(x int, r role, text string) { rows = append(rows, rowsOf(x, r, text, w-2*x)...) }
	add(1, accent, f.title)
	for _, l := range f.lines {
		add(2, plain, l)
	}
	for _, l := range f.fields[f.at].above {
		add(2, plain, l)
	}
	add(1, dim, f.answers())
	if f.live != nil {
		for _, l := range f.live() {
			add(1, plain, l)
		}
	}
	return rows
}

// entryLeast is the least width for what is typed.
const entryLeast = 24

// entryRows are the question and what is typed, with its unit and what Enter takes.
func (fd *field) entryRows(w int) [][]piece {
	rows := rowsOf(1, strong, fd.ask, w-2)
	x := 3
	if len(rows) == 1 {
		if after := 1 + ansi.StringWidth(fd.ask) + 2; w-after-len(fd.unit)-1 >= entryLeast {
			x = after
		}
	}
	typed := fd.shown(w - 2 - x - ansi.StringWidth(fd.unit))
	row := []piece{{x, entry, typed}}
	end := x + ansi.StringWidth(typed)
	if fd.unit != "" {
		row = append(row, piece{end + 1, plain, fd.unit})
		end += 1 + ansi.StringWidth(fd.unit)
	}
	if x == 3 {
		rows = append(rows, row)
	} else {
		rows[0] = append(rows[0], row...)
	}
	offer := ""
	switch {
	case fd.typed != "":
	case fd.preset != "":
		offer = "ENTER: " + fd.preset
	case fd.may:
		offer = "ENTER: leave out"
	}
	if offer == "" {
		return rows
	}
	if end+2+ansi.StringWidth(offer) <= w-1 {
		last := len(rows) - 1
		rows[last] = append(rows[last], piece{end + 2, dim, offer})
		return rows
	}
	return append(rows, rowsOf(3, dim, offer, w-4)...)
}

// layChoices adds the choices that are on the page at hand to the rows, and settles the
// pages: the usual ones where they fit the height.
func (f *form) layChoices(fd *field, w, h int, tight bool) {
	ask := rowsOf(1, strong, fd.ask, w-2)
	// What Enter takes stands behind the question, or where that is too long beneath it. It
	// keeps its row on every page, so that the pages do not hang on what is on them.
	offer, at := "", 0
	if n := len(ask); n > 0 && fd.kind == pickOne && fd.choice > 0 {
		offer = "ENTER: 0"
		if at = 3 + ansi.StringWidth(ask[n-1][0].s); at+len(offer) > w {
			ask, at = append(ask, nil), 3
		}
	}
	h -= len(ask)
	f.laid.pages, f.laid.of, f.laid.n = grouped(len(fd.options)), fd, len(fd.options)
	if tight && f.tallest(fd, w) > h {
		f.laid.pages = f.spread(fd, w, h)
	}
	from, to, more := f.visible()
	if offer != "" && f.offered(fd) {
		n := len(ask) - 1
		ask[n] = append(ask[n], piece{at, dim, fmt.Sprintf("ENTER: %d", fd.choice-from)})
	}
	f.laid.rows = append(append(f.laid.rows, ask...), fd.optionRows(from, to, more, w)...)
}

// tallest is the height of the highest page of choices.
func (f *form) tallest(fd *field, w int) int {
	n := 0
	for _, p := range f.laid.pages {
		n = max(n, len(fd.optionRows(p[0], p[1], len(f.laid.pages) > 1, w)))
	}
	return n
}

// spread finds pages of choices that are no higher than h, one choice a page at least.
func (f *form) spread(fd *field, w, h int) [][2]int {
	var pages [][2]int
	for from := 0; from < len(fd.options); {
		to := from + 1
		for to < len(fd.options) && to-from < perPage && len(fd.optionRows(from, to+1, true, w)) <= h {
			to++
		}
		pages = append(pages, [2]int{from, to})
		from = to
	}
	return pages
}

// optionRows set short options side by side, longer ones in two columns where all fit,
// and others one beneath the other, broken where they are long.
func (fd *field) optionRows(from, to int, more bool, w int) [][]piece {
	var opts []string
	for i := from; i < to; i++ {
		mark := ""
		if fd.kind == pickMany {
			mark = "[ ] "
			if fd.picked[i] {
				mark = "[x] "
			}
		}
		opts = append(opts, fmt.Sprintf("%d %s%s", i-from+1, mark, fd.options[i]))
	}
	if more {
		opts = append(opts, "9 more …")
	}
	const x = 2
	w -= 4
	total, widest := 0, 0
	for _, o := range opts {
		n := ansi.StringWidth(o)
		total += n + 4
		widest = max(widest, n)
	}
	put := func(x int, o string) []piece {
		return []piece{{x, accent, o[:1]}, {x + 1, plain, o[1:]}}
	}
	var rows [][]piece
	switch {
	case total <= w:
		var row []piece
		px := x
		for _, o := range opts {
			row = append(row, put(px, o)...)
			px += ansi.StringWidth(o) + 4
		}
		return [][]piece{row}
	case widest+2 <= w/2 && len(opts) > 3:
		high := (len(opts) + 1) / 2
		rows = make([][]piece, high)
		for i, o := range opts {
			rows[i%high] = append(rows[i%high], put(x+i/high*(w/2), o)...)
		}
		return rows
	}
	for _, o := range opts {
		indent := 2
		if strings.HasPrefix(o[1:], " [") && fd.kind == pickMany {
			indent = 6
		}
		for i, s := range append(wrap(o[indent:], w-indent), "")[:max(1, len(wrap(o[indent:], w-indent)))] {
			if i == 0 {
				rows = append(rows, append(put(x, o[:indent]), piece{x + indent, plain, s}))
				continue
			}
			rows = append(rows, []piece{{x + indent, plain, s}})
		}
	}
	return rows
}

// draw puts the form, as it was laid, on a part of a frame.
func (f *form) draw(fr *frame, a area) {
	for y, row := range f.laid.rows {
		for _, p := range row {
			fr.put(a.x+p.x, a.y+y, a.w-p.x, p.r, p.s)
		}
	}
	top := a.y + len(f.laid.rows) // beside what it is about
	for i, p := range f.laid.notes {
		fr.put(a.x+p.x, top+i, a.w-p.x, p.r, p.s)
	}
}
