package chart

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/timeline"
)

// The roles of a time line, after those of a bath's chart.
const (
	Wait    Role = CoreWas + 1 + iota // a timer up to its earliest; what is over
	Run                               // from its earliest on
	Mark                              // earliest, aim, latest
	Late                              // past its latest
	Present                           // now
	Zone                              // beside the flash chart: how heavy a grade is
	Chance                            // beside a ring of the forecast
)

// What a timer looks like: a thin line up to its earliest, a thick one from there to its
// latest, signs for the ends, and what is late in a sign of its own. All of it is told by
// shape; colour only helps.
type strokes struct{ thin, thick, earliest, aim, latest, late, now, past rune }

var (
	drawn = strokes{'─', '━', '┣', '◆', '┫', '!', '│', '▪'}
	typed = strokes{'-', '=', '[', 'o', ']', '!', '|', ':'}
)

func strokesOf(ascii bool) strokes {
	if ascii {
		return typed
	}
	return drawn
}

// span puts instants on a row of cells.
type span struct {
	from, to time.Time
	w        int
}

// col is the cell of an instant; what lies outside is outside.
func (s span) col(t time.Time) int {
	d := s.to.Sub(s.from)
	if d <= 0 {
		return 0
	}
	x := float64(t.Sub(s.from)) / float64(d) * float64(s.w)
	if t.Equal(s.to) {
		return s.w - 1
	}
	if x < 0 {
		return -1
	}
	return int(min(x, float64(s.w)))
}

// OpenFrom is from when on a bar is open to be used, and drawn thick: from its earliest, or
// where it has none from its aim; what has no end counts up and is never thick.
func OpenFrom(b timeline.Bar) time.Time {
	switch {
	case !b.Earliest.IsZero():
		return b.Earliest
	case !b.Aim.IsZero() && b.Latest.IsZero():
		return b.Aim
	case b.Latest.IsZero() && !b.Ended:
		return b.To
	}
	return b.From
}

// bar draws a bar on a row: its line, then its ends.
func bar(row []Cell, s span, b timeline.Bar, k strokes) {
	set := func(x int, r rune, role Role) {
		if x >= 0 && x < len(row) {
			row[x] = Cell{Rune: r, Role: role}
		}
	}
	solid := OpenFrom(b)
	for x := max(0, s.col(b.From)); x <= min(s.col(b.To), len(row)-1); x++ {
		switch {
		case b.Ended:
			set(x, k.past, Wait)
		case b.Over && x > s.col(b.Latest):
			set(x, k.late, Late)
		case x >= s.col(solid) && !solid.Equal(b.To):
			set(x, k.thick, Run)
		default:
			set(x, k.thin, Wait)
		}
	}
	for _, m := range []struct {
		at time.Time
		r  rune
	}{{b.Earliest, k.earliest}, {b.Aim, k.aim}, {b.Latest, k.latest}} {
		if !m.at.IsZero() {
			set(s.col(m.at), m.r, Mark)
		}
	}
	if b.Over && s.col(b.Latest) == s.col(b.To) {
		set(s.col(b.To), k.late, Late) // a latest that has just gone by is seen, too
	}
}

// Gauge draws one timer in width cells, from its start to its last end, with the present in
// it.
func Gauge(b timeline.Bar, now time.Time, width int, ascii bool) []Cell {
	row := blank(width)
	if width < 3 {
		return row
	}
	to := b.To
	if !to.After(b.From) {
		to = b.From.Add(time.Second)
	}
	s := span{b.From, to, width}
	k := strokesOf(ascii)
	bar(row, s, b, k)
	if x := s.col(now); x >= 0 && now.Before(to) && x < width && row[x].Role != Mark {
		row[x] = Cell{Rune: k.now, Role: Present}
	}
	return row
}

func blank(width int) []Cell {
	row := make([]Cell, max(0, width))
	for i := range row {
		row[i] = Cell{Rune: ' ', Role: Blank}
	}
	return row
}

// Labels are what stands before the rows of a time line, one for each.
type Labels []string

// TimeLine draws the day in width cells: the hours, then a row for each row of the line, as
// many as height has room for. Where one row more is left than rows there are, a blank one
// sets the presses and baths off. Too narrow, it draws nothing.
func TimeLine(l timeline.DayBars, labels Labels, width, height int, ascii bool) [][]Cell {
	left := 0
	for _, s := range labels {
		left = max(left, len([]rune(s))+1)
	}
	if left = min(left, width/3); width-left < 12 || height < 2 {
		return nil
	}
	k := strokesOf(ascii)
	s := span{l.From, l.To, width - left}
	now := s.col(l.Now)
	out := [][]Cell{hours(l, s, left, width)}
	apart := len(l.Rows)+2 <= height
	for i, r := range l.Rows {
		if len(out) >= height {
			break
		}
		if apart && i > 0 && r.Kind != timeline.Flask && l.Rows[i-1].Kind == timeline.Flask {
			out = append(out, blank(width))
			if now >= 0 && now < s.w {
				out[len(out)-1][left+now] = Cell{Rune: k.now, Role: Present}
			}
		}
		row := blank(width)
		write(row, 0, labels[i], Label, left-1)
		cells := row[left:]
		if now >= 0 && now < len(cells) {
			cells[now] = Cell{Rune: k.now, Role: Present}
		}
		for _, b := range r.Bars {
			bar(cells, s, b, k)
		}
		for _, b := range slices.Backward(r.Bars) { // over all lines, so that none hides it; the last first, where two have no room
			name(cells, s, b)
		}
		if now >= 0 && now < len(cells) && (cells[now].Role == Wait || cells[now].Role == Run) {
			cells[now] = Cell{Rune: k.now, Role: Present}
		}
		out = append(out, row)
	}
	return out
}

// BarName names the flasks of a bar of a press or a bath in a width: their places, of those that
// stand on none their cases, or how many they are; "" where it has none.
func BarName(b timeline.Bar, width int) string {
	if len(b.Places)+len(b.Cases) == 0 {
		return ""
	}
	text := strings.Trim(strings.Join(strings.Fields(fmt.Sprint(b.Places)), " "), "[]")
	if len(b.Cases) > 0 {
		text = strings.TrimSpace(text + " " + strings.Join(b.Cases, " "))
		if width < len([]rune(text))+1 {
			text = fmt.Sprint(len(b.Places)+len(b.Cases), " in it")
		}
	}
	return text
}

// name writes the places of a bar of a press or a bath behind its beginning, where the bar
// has room for it; of flasks that stand on none their cases, or how many they are.
func name(cells []Cell, s span, b timeline.Bar) {
	from, to := max(0, s.col(b.From)), min(s.col(b.To), len(cells)-1)
	text := BarName(b, to-from)
	if text == "" {
		return
	}
	at, long := from+1, len([]rune(text))
	if to-from < long+1 {
		at = from // a closure is short: its place stands over it
	}
	if at+long > len(cells) || at == from && to-from+1 < long && long > 1 {
		return
	}
	for x := at - 1; x <= at+long; x++ { // 3 and 4 side by side would read as 34
		if x >= 0 && x < len(cells) && cells[x].Role == Label {
			return
		}
	}
	write(cells, at, text, Label, long)
}

func write(row []Cell, x int, s string, r Role, most int) {
	for i, ch := range []rune(s) {
		if i < most && x+i >= 0 && x+i < len(row) {
			row[x+i] = Cell{Rune: ch, Role: r}
		}
	}
}

// hours is the row of the hours, as many as find room, and now.
func hours(l timeline.DayBars, s span, left, width int) []Cell {
	row := blank(width)
	cells := row[left:]
	word := "now"
	at := min(max(s.col(l.Now)-1, 0), len(cells)-len(word))
	if l.Now.Before(l.From) || l.Now.After(l.To) { // a plan for another day
		word, at = "", len(cells)+1
	}
	every := 1
	total := int(l.To.Sub(l.From).Hours()) + 1
	for every < total && len(cells)*every/max(1, total) < 7 {
		every++
	}
	h := l.From
	for i := 0; !h.After(l.To); i, h = i+1, h.Add(time.Hour) {
		text := h.Format("15:04")
		x := s.col(h) // it begins at its hour
		if i%every != 0 || x < 0 || x+len(text) > len(cells) || x+len(text) >= at && x <= at+len(word) {
			continue
		}
		write(cells, x, text, Faint, len(text))
	}
	write(cells, at, word, Present, len(word))
	return row
}
