package tui

import (
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// tile is what the far view tells of a flask: the number of its place, its time, its
// stage in one word, and the verdict where there is one. A word that ends in an
// exclamation mark wants a hand.
type tile struct {
	place, time, unit, stage, verdict string
	role                              role
}

// boxWidth is how wide the number is in its box.
func (t tile) boxWidth(l lettering) int { return l.width(t.place) + 2 }

// topWidth is how wide the number in its box and the time are, with its unit and a margin
// that keeps it off the next tile.
func (t tile) topWidth(l lettering) int {
	return t.boxWidth(l) + 1 + l.scale + l.width(t.time) + 1 + len(t.unit) + 1
}

// brief is the word to show where there is room for one only.
func (t tile) brief() string {
	switch t.verdict {
	case "READY", "OVER!", "LOST!":
		return t.verdict
	}
	return t.stage
}

// farWords name the stages in one short word.
var farWords = map[bench.FlaskStage]string{
	bench.Opened: "PAINT", bench.Drying: "DRYING", bench.InPress: "PRESS", bench.Holding: "HOLD", bench.Judging: "JUDGE!", bench.Trimmed: "TRIM",
	bench.Sheetout: "CLOSE", bench.Metal: "CLAMP", bench.Set: "SET", bench.InBath: "BATH", bench.Cooling: "COOL", bench.InWater: "WATER", bench.Open: "OPENED", bench.Checked: "REMOUNT",
}

// farNear is how near to its end a time counts single seconds in the far view; from
// there on it moves by the minute, so that a wall of large digits does not keep a slow
// line busy.
const farNear = FineDigits

// FineDigits is below which length of time large digits count single seconds.
const FineDigits = 3 * time.Minute

// farSpan is a length of time in large digits with its unit, without minutes where
// there are many hours, without hours where there are days. It never shows more time
// than is left.
func farSpan(d time.Duration) (digits, unit string) {
	s, unit := words.Digits(d, farNear)
	if i := strings.IndexByte(s, 'd'); i >= 0 {
		return s[:i+1], ""
	}
	if i := strings.IndexByte(s, 'h'); d.Abs() >= 10*time.Hour && i >= 0 {
		return s[:i+1], ""
	}
	return s, unit
}

// tileOf gathers what the far view tells of a flask.
func (m *sight) tileOf(fl *bench.Flask) tile {
	t := tile{place: m.tagOf(fl), stage: farWords[fl.Stage], role: strong}
	if st, ok := m.flaskStanding(fl); ok {
		t.time, t.unit = farSpan(st.Left)
	}
	if fl.Stage == bench.Drying {
		switch m.bench().Next(fl, m.now) {
		case bench.DoDough:
			t.stage = "MIXED"
		case bench.DoPress:
			t.stage, t.role = "PACK!", good
		default:
			if m.dry(fl) {
				t.stage, t.role = "MIX!", good
			}
		}
	}
	if fl.Stage == bench.Trimmed {
		t.verdict = "NOT YET"
		if m.bench().Verdict(fl, m.now).Ready {
			t.verdict, t.role = "READY", good
		}
	}
	for _, st := range m.windowsOf(fl) {
		w, _ := m.windowByKey(st.Key)
		switch {
		case st.Phase == timers.Over:
			t.verdict, t.role = "OVER!", alarm
			return t
		case w.What == bench.Dough:
			if t.stage == "MIXED" && st.Last != nil {
				t.stage, t.role = "DOUGH!", good
			}
		case w.What == bench.Hold || w.What == bench.Cure || w.What == bench.BenchSet || w.What == bench.BenchCool || w.What == bench.WaterCool:
			if st.Last != nil {
				t.stage, t.verdict, t.role = farWords[fl.Stage]+"!", "TIME UP", good
			}
		}
	}
	return t
}

// farFit finds for tiles of a size the highest lettering in which the number and time,
// and beneath them one word or two, fit; ok is false where not even the lowest does.
func farFit(ts []tile, w, h int) (l lettering, words int, ok bool) {
	for _, l := range letterings {
		for words := 2; words >= 1; words-- { // stage and verdict, or one word for both
			need := l.rows()*(words+1) + words - 1
			if words == 1 && l.rows() > (lettering{small, 1}).rows() { // a blank row keeps the word off the number in its box; in the lowest lettering the rows are dearer
				need++
			}
			ok := need <= h
			for _, t := range ts {
				ok = ok && t.topWidth(l) <= w
				if words == 2 {
					ok = ok && l.width(t.stage) <= w && l.width(t.verdict) <= w
				} else {
					ok = ok && l.width(t.brief()) <= w
				}
			}
			if ok {
				return l, words, true
			}
		}
	}
	return lettering{small, 1}, 1, false
}

// farGrid finds the number of columns that lets the lettering be highest.
func farGrid(ts []tile, w, h int) (best lettering, cols, words int) {
	best, cols, words = lettering{small, 1}, min(3, len(ts)), 1
	found := false
	for c := 1; c <= len(ts); c++ {
		rows := (len(ts) + c - 1) / c
		l, n, ok := farFit(ts, w/c-1, h/rows-1)
		if higher := l.high*l.scale - best.high*best.scale; ok && (!found || higher > 0 || higher == 0 && n > words) {
			best, cols, words, found = l, c, n, true
		}
	}
	return best, cols, words
}

// farPage is the bench for eyes across the room: a tile for each place that is taken, and
// for each load in a bath,
// in the order of the places and as large as the window allows. The number of the
// place, the time, the stage and the verdict: nothing else.
type farPage struct{ m *Model }

func (p *farPage) step() string { return "" }

func (p *farPage) keys() []hint { return nil }

// key of any kind goes back to the bench.
func (p *farPage) key(key string) (tea.Cmd, bool) {
	if key == "." || key == "ctrl+c" {
		return nil, false
	}
	p.m.home()
	return nil, true
}

func (p *farPage) draw(f *frame, _ area) {
	m := p.m
	var ts []tile
	for fl := range m.bench().OnPlaces() {
		ts = append(ts, m.tileOf(fl))
	}
	ts = append(ts, each.Of(m.groups(), m.offTile)...)
	ts = append(ts, m.caseTiles(mostTiles-len(ts))...)
	// What was just said stands here too, whole: in the place of the hint.
	said, as := []string{"any key goes back to the bench"}, dim
	if m.toast != "" {
		said, as = wrap(m.toast, f.w-2), m.toastIs
	}
	top, bottom := 1, max(f.h-len(said), 2)
	for i, l := range said {
		f.put(1, bottom+i, f.w-2, as, l)
	}
	if len(ts) == 0 {
		f.text(1, top+1, dim, "the bench is empty")
		return
	}
	best, cols, words := farGrid(ts, f.w, bottom-top)
	rows := (len(ts) + cols - 1) / cols
	w, h := f.w/cols, (bottom-top)/rows
	widest := 0
	for _, t := range ts {
		widest = max(widest, t.topWidth(best))
	}
	gap := max(0, min(6*best.scale, w-1-widest))
	for i, t := range ts {
		m.drawTile(f, area{i % cols * w, top + i/cols*h, w, h}, t, best, words, gap)
	}
}

func (m *sight) drawTile(f *frame, a area, t tile, l lettering, words, gap int) {
	f.rule(a.x, a.y, a.w-1)
	number := strong
	if t.role == alarm { // the whole tile: the shape tells before the word does
		number = alarm
		for y := a.y + 1; y < a.y+a.h; y++ {
			f.fill(a.x, y, a.w-1, alarm)
		}
	}
	y, end := a.y+1, a.y+a.h
	line := func(l lettering, x int, r role, s string) {
		for i, row := range l.write(s) {
			f.put(x, y+i, a.x+a.w-x, r, row)
		}
	}
	for i := range l.rows() {
		f.fill(a.x, y+i, t.boxWidth(l), boxed)
	}
	line(l, a.x+1, boxed, t.place)
	at := a.x + t.boxWidth(l) + 1 + l.scale + gap
	line(l, at, number, t.time)
	f.put(at+l.width(t.time)+1, y+l.rows()-1, len(t.unit), number, t.unit)
	if y += l.rows(); end-y > l.rows()*words+words-1 {
		y++
	}
	if words == 2 {
		line(l, a.x+1, t.role, t.stage)
		y += l.rows() + 1
		line(l, a.x+1, t.role, t.verdict)
		return
	}
	line(l, a.x+1, t.role, t.brief())
	y += l.rows()
	rest := t.verdict
	switch t.brief() {
	case "READY":
		return
	case t.verdict:
		rest = t.stage
	}
	for _, s := range letterings {
		if s.high*s.scale < l.high*l.scale && s.width(rest) < a.w && y+1+s.rows() <= end {
			y++
			line(s, a.x+1, t.role, rest)
			return
		}
	}
	if y < end {
		f.put(a.x+1, y, a.w-2, t.role, rest)
	}
}
