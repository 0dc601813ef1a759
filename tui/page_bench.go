package tui

import (
	"fmt"
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// placesH is how many rows the places have, with those of the baths beneath them.
func (m *sight) placesH() int { return action.Places + m.offH() }

// placesW is how wide the board of places is.
func (m *sight) placesW() int {
	if m.w >= 120 {
		return 72
	}
	return m.w - 28
}

// benchPage is where the work is done, and where what lies over a page is asked.
type benchPage struct{ m *Model }

func (p *benchPage) step() string {
	m := p.m
	fl := m.selected()
	if fl == nil {
		return fmt.Sprintf("ENTER  new flask on place %d", m.sel)
	}
	if m.saving {
		return "saving …"
	}
	return "ENTER  " + m.stepText(fl, m.bench().Next(fl, m.now))
}

func (p *benchPage) keys() []hint {
	m := p.m
	_, _, work := m.undoable()
	off := map[string]bool{"0": !work, ".": len(m.unanswered()) == 0 || !m.answers()}
	var out []hint
	for _, b := range Bindings() {
		if b.Short != "" {
			h := hint{key: b.Pad, words: b.Short, off: off[b.Pad]}
			if b.Pad == "-" && m.selected() == nil {
				h.words, h.room = "cases", len(b.Short)
			}
			if b.Pad == "*" && m.selected() == nil {
				h.words = "handover"
			}
			out = append(out, h)
		}
	}
	return out
}

// key leaves all keys to the table of keys.
func (p *benchPage) key(string) (tea.Cmd, bool) { return nil, false }

func (p *benchPage) draw(f *frame, _ area) {
	m := p.m
	left := area{0, 2, m.placesW(), m.placesH()}
	m.titled(f, 0, 1, f.w, "places")
	shown := ""
	if m.wide() {
		p.drawWide(f, left)
	} else {
		shown = p.drawNarrow(f, left)
	}
	if m.over() != nil {
		m.drawOver(f)
	} else if low := m.low(); m.wide() {
		p.beneathList(low).draw(f, low, 0)
	} else {
		p.drawPanel(f, low, shown)
	}
}

// drawNarrow shows the board, the list beside it, and from 120 columns on the day beneath
// the list. It gives the key of the timer shown in large.
func (p *benchPage) drawNarrow(f *frame, left area) (shown string) {
	m := p.m
	right := area{left.w + 1, 2, f.w - left.w - 1, m.placesH()}
	low := m.low()
	f.text(left.w, 1, dim, "┬")
	m.titled(f, left.w+1, 1, right.w, "timers")
	m.drawPlaces(f, left)
	p.panelRule(f, 2+m.placesH(), low.w)
	if low.w == m.w { // beneath the board the whole width is one
		for y := 2; y < 2+m.placesH(); y++ {
			f.text(left.w, y, dim, "│")
		}
		f.join(left.w, 2+m.placesH(), "┴")
		return m.drawList(f, right)
	}
	foot := f.h - m.footH()
	for y := 2; y < foot; y++ {
		f.text(left.w, y, dim, "│")
	}
	if !m.lineOnBench() {
		right.h = min(foot-2, m.placesH()+8) // the list grows downward beside the panel
		f.fill(left.w+1, 2+m.placesH(), right.w, plain)
		f.text(left.w, 2+m.placesH(), dim, "┤")
		return m.drawList(f, right)
	}
	f.text(left.w, 2+m.placesH(), dim, "┼")
	m.titled(f, left.w+1, 2+m.placesH(), right.w, "the day")
	shown = m.drawList(f, right)
	m.drawTimeLine(f, area{right.x + 1, low.y, right.w - 2, low.h}, false)
	return shown
}

// panelRule is the rule above what lies beneath the places: it names the selected flask
// while nothing is asked there.
func (p *benchPage) panelRule(f *frame, y, w int) {
	f.rule(0, y, f.w)
	m := p.m
	if fl := m.selected(); fl != nil && m.over() == nil && !m.cfg.Script.waits() {
		f.put(1, y, w-2, accent, " "+m.headOf(fl)+" ")
	}
}

// headOf names a flask with its mix and its programme.
func (m *sight) headOf(fl *bench.Flask) string {
	head := []string{m.head(fl) + " · " + string(fl.Size)}
	if mix := m.bench().MixOf(fl); mix != nil {
		head = append(head, "mix "+mix.Letter())
	}
	if l := m.bench().LoadOf(fl); l != nil {
		head = append(head, l.Programme)
	}
	if due, ok := m.bench().Due(fl); ok {
		head = append(head, "due "+words.Instant(due, m.now.Wall))
	}
	return strings.Join(head, " · ")
}

// besideTitle names what stands beside a wide bench.
func (p *benchPage) besideTitle() string {
	if p.m.selected() == nil {
		return "press order and baths"
	}
	return "flask"
}

// lineOnBench tells whether the time line has room on the bench.
func (m *sight) lineOnBench() bool { return m.w >= 120 }

// titled draws a rule with the title of what stands beneath it.
func (m *sight) titled(f *frame, x, y, w int, title string) {
	f.rule(x, y, w)
	f.put(x+1, y, w-2, dim, " "+title+" ")
}

// low is what lies beneath the places: the selected flask, or what is asked.
func (m *Model) low() area {
	switch foot := m.footH(); {
	case m.wide():
		top := 4 + m.placesH() + listH
		return area{0, top, m.placesW(), m.h - top - foot}
	case m.h >= 30 || m.lineOnBench():
		return area{0, 3 + m.placesH(), m.placesW(), m.h - 3 - m.placesH() - foot}
	default:
		return area{0, 3 + m.placesH(), m.w, m.h - 3 - m.placesH() - foot}
	}
}

// listH is the height of the list of windows on a wide bench.
const listH = 12

// wide tells whether there is room for everything at once.
func (m *sight) wide() bool { return m.w >= 140 && m.h >= 40 }

// drawWide shows everything at once.
func (p *benchPage) drawWide(f *frame, left area) {
	m, mid := p.m, left.w
	f.text(mid, 1, dim, "┬")
	m.titled(f, mid+1, 1, f.w-mid-1, p.besideTitle())
	bodyH := f.h - 2 - m.footH()
	for y := 2; y < 2+bodyH; y++ {
		f.text(mid, y, dim, "│")
	}
	m.drawPlaces(f, left)
	m.titled(f, 0, 2+m.placesH(), mid, "timers")
	m.drawList(f, area{0, 3 + m.placesH(), mid, listH})
	switch {
	case m.over() != nil:
		f.rule(0, 3+m.placesH()+listH, mid)
	case m.selected() == nil:
		m.titled(f, 0, 3+m.placesH()+listH, mid, "coming up")
	default:
		m.titled(f, 0, 3+m.placesH()+listH, mid, "press order")
	}
	for _, y := range []int{2 + m.placesH(), 3 + m.placesH() + listH} {
		f.text(mid, y, dim, "┤")
	}
	urgent, _ := m.mostUrgent() // stands in large beside the flask
	beside := area{mid + 1, 2, f.w - mid - 1, bodyH}
	day := min(m.timeLineH(), beside.h/2)
	at := beside.y + beside.h - day
	join := "├"
	if at-1 == 2+m.placesH() || at-1 == 3+m.placesH()+listH {
		join = "┼"
	}
	f.text(mid, at-1, dim, join)
	m.titled(f, mid+1, at-1, beside.w, "the day")
	m.drawTimeLine(f, area{beside.x + 1, at, beside.w - 2, day}, true)
	beside.h -= day + 1
	m.besideFlask(beside, urgent.Key).draw(f, beside, 0)
}

// besideFlask is what stands beside a wide bench: the selected flask, or where the place is
// empty the baths with their curves.
func (m *sight) besideFlask(a area, large string) *sheet {
	if m.selected() != nil {
		return m.flaskSheet(a, large)
	}
	s := newSheet(a)
	s.add(dim, fmt.Sprintf("place %d is empty", m.sel))
	m.waitingLines(s, 3)
	s.gap()
	m.pressSheet(s, a.w-2)
	m.bathShort(s, a.w-2, a.h)
	return s
}

// emptySheet is what stands beneath the places where the selected one is empty: the cases that
// wait for one, and what comes due.
func (m *sight) emptySheet(a area) *sheet {
	s := newSheet(a)
	s.add(dim, fmt.Sprintf("place %d is empty", m.sel))
	m.waitingLines(s, max(1, min(a.h/2-2, 8)))
	_, noon := m.untilMorning()
	due := m.coming(noon)
	if room := a.h - len(s.lines) - 2; room < len(due) {
		due = due[:max(0, room)]
	}
	if len(due) > 0 {
		s.gap()
		s.head(dim, "coming up")
		m.dueLines(s, due)
	}
	return s
}

// waitingLines list the cases that wait for a flask, those due first first, most at most.
func (m *sight) waitingLines(s *sheet, most int) {
	wait := each.That(m.bench().Cases(), func(k bench.Case) bool { return k.Flask == 0 })
	for i, k := range wait {
		if rest := len(wait) - i; i == most-1 && rest > 1 {
			said := fmt.Sprintf("and %d more cases wait (- lists them)", rest)
			if i == 0 {
				said = fmt.Sprintf("%d cases wait (- lists them)", rest)
			}
			s.add(dim, said)
			return
		}
		r := plain
		if k.Rush {
			r = warn
		}
		s.add(r, "waits: "+m.caseWords(k))
	}
}

// beneathList is what stands beneath the list of a wide bench: press order and baths, or
// where those stand beside it what comes due.
func (p *benchPage) beneathList(a area) *sheet {
	m := p.m
	if m.selected() != nil {
		return m.pressShort(a)
	}
	s := newSheet(a)
	_, noon := m.untilMorning()
	if due := m.coming(noon); len(due) > 0 {
		m.dueLines(s, due)
		return s
	}
	s.add(dim, "nothing comes due until noon tomorrow")
	return s
}

// stageWords name the stage of a flask on the board, with the verdict where there
// is one.
func (m *sight) stageWords(fl *bench.Flask) (string, role) {
	switch fl.Stage {
	case bench.Trimmed:
		if v := m.bench().Verdict(fl, m.now); v.Ready {
			return fmt.Sprintf("trial %d  READY", len(fl.Trials)), good
		}
		return fmt.Sprintf("trial %d  not yet", len(fl.Trials)), plain
	case bench.InPress, bench.Holding, bench.Judging:
		return fmt.Sprintf("trial %d  %s", len(fl.Trials), map[bench.FlaskStage]string{bench.InPress: "in the press", bench.Holding: "at pressure", bench.Judging: "judge the flash"}[fl.Stage]), strong
	case bench.Drying:
		mix := m.bench().MixOf(fl)
		said := "separator drying"
		switch dry := m.dry(fl); {
		case dry && mix != nil:
			said = "dry time up" // the letter of the mix stands whole beside 37 min
		case dry:
			said = "drying time up"
		case mix != nil:
			said = "drying"
		}
		if mix != nil {
			said += ", mix " + mix.Letter()
		}
		return said, plain
	case bench.Set: // what the time beside it leads to: the end of the set, or of the time left until the bath
		if st, ok := m.flaskStanding(fl); ok {
			w, _ := m.windowByKey(st.Key)
			return timerWords(w, st, 20), plain
		}
	}
	return string(fl.Stage), plain
}

// dry tells whether the separator of both halves has dried as long as it must.
func (m *sight) dry(fl *bench.Flask) bool {
	waits := slices.ContainsFunc(m.windowsOf(fl), func(st timers.Standing) bool {
		w, _ := m.windowByKey(st.Key)
		return (w.What == bench.DryBoth || w.What == bench.DryCast || w.What == bench.DryTeeth) && st.Phase == timers.Early
	})
	return len(fl.Halves) == 2 && !waits
}

// drawPlaces is the board: nine places.
func (m *sight) drawPlaces(f *frame, a area) {
	for p := 1; p <= action.Places; p++ {
		y := a.y + p - 1
		fl := m.bench().OnPlace(p)
		mark := "  "
		r := dim
		if p == m.sel && m.off == 0 {
			mark, r = "▸ ", chosen
		} else if fl != nil {
			r = plain
		}
		x := f.put(a.x+1, y, 2, r, fmt.Sprint(p))
		x = f.put(x, y, 3, r, mark)
		if fl == nil {
			f.put(x+1, y, 3, dim, "·")
			continue
		}
		name := strong
		if p == m.sel && m.off == 0 {
			name = chosen
		}
		x = f.put(x, y, 9, name, pad(fl.Case, 8)+" ")
		x = f.put(x, y, 9, plain, pad(fl.Base, 7)+" "+words.SizeLetter(fl.Size))
		said, wr := m.stageWords(fl)
		t, tr := m.flaskTime(fl)
		room := a.x + a.w - 2 - ansi.StringWidth(t) - (x + 2)
		f.put(x+2, y, room, wr, fit(said, room))
		f.right(a.x+a.w-1, y, tr, t)
	}
	m.drawOff(f, area{a.x, a.y + action.Places, a.w, a.h - action.Places})
}

// flaskTime is the time that matters to a flask now: of its own most urgent
// window.
func (m *sight) flaskTime(fl *bench.Flask) (string, role) {
	if st, ok := m.flaskStanding(fl); ok {
		return words.Brief(st.Left), timeRole(st)
	}
	return "", plain
}

// flaskStanding is the window that matters to a flask now: the end of its dough only
// while something can still be done before it.
func (m *sight) flaskStanding(fl *bench.Flask) (timers.Standing, bool) {
	for _, st := range m.windowsOf(fl) {
		w, _ := m.windowByKey(st.Key)
		if w.What != bench.Dough || fl.Stage == bench.Trimmed || fl.Stage == bench.Sheetout || fl.Stage == bench.Drying {
			return st, true
		}
	}
	return timers.Standing{}, false
}

func timeRole(st timers.Standing) role {
	switch {
	case st.Phase == timers.Over:
		return late
	case st.Next == nil && st.Last != nil:
		return good
	case st.Soon:
		return warn
	}
	return plain
}

// drawList is every running window by urgency: the time left, what comes, which
// places; where there is room the most urgent in large digits, and the hour. It gives
// the key of the window shown in large.
func (m *sight) drawList(f *frame, a area) (shown string) {
	y := a.y
	rows := a.h
	rest := m.standings
	if st, l, ok := m.listDigits(a); ok {
		drawLength(f, area{a.x + 1, y, a.w - 2, l.rows()}, l, st)
		y += l.rows()
		w, _ := m.windowByKey(st.Key)
		m.drawWindowRow(f, a, y, w, st)
		y++
		rows -= l.rows() + 1
		shown = st.Key
		rest = slices.DeleteFunc(slices.Clone(rest), func(o timers.Standing) bool { return o.Key == st.Key })
	}
	for i, st := range rest {
		if rows <= 0 {
			return shown
		}
		if rows == 1 && i < len(rest)-1 {
			f.put(a.x+1, y, a.w-2, dim, fmt.Sprintf("and %d more", len(rest)-i))
			return shown
		}
		w, _ := m.windowByKey(st.Key)
		m.drawWindowRow(f, a, y, w, st)
		y++
		rows--
	}
	if len(m.standings) == 0 {
		f.put(a.x+1, y, a.w-2, dim, "no timer running")
		y++
		rows--
	}
	if !m.wide() { // where it is wide the press order has a place of its own
		m.drawPressSaid(f, area{a.x + 1, y + 1, a.w - 2, rows - 1})
	}
	return shown
}

// drawPressSaid tells the press order beneath the timers; what has not the room for all its lines is left out.
func (m *sight) drawPressSaid(f *frame, a area) {
	for _, said := range m.pressSaid(a.w) {
		if len(said) > a.h {
			continue
		}
		for _, l := range said {
			f.put(a.x, a.y, a.w, dim, l)
			a.y++
			a.h--
		}
	}
}

// How wide the gauge of a timer is in the list.
const (
	gaugeLow  = 4
	gaugeHigh = 10
)

func (m *sight) drawWindowRow(f *frame, a area, y int, w bench.Window, st timers.Standing) {
	t := words.Brief(st.Left)
	if st.Estimated {
		t = "≈" + t
	}
	r := timeRole(st)
	at := m.placesOf(w)
	f.right(a.x+7, y, r, t)
	tail := at
	if a.w >= 44 {
		if st.Next != nil {
			tail = m.instant(st.Due) + "  " + pad(at, 6)
		} else {
			tail = "       " + pad(at, 6)
		}
	}
	wr := plain
	if r == late || r == good {
		wr = strong
	}
	x, gauge := a.x+8, gaugeLow
	if a.w >= 44 {
		gauge = gaugeHigh
	}
	m.drawGauge(f, x, y, gauge, st)
	x += gauge + 1
	room := a.x + a.w - 2 - ansi.StringWidth(tail) - x
	said := timerWords(w, st, room)
	if ansi.StringWidth(said) > room {
		said = timerTight(w, st)
	}
	f.put(x, y, room, wr, fit(said, room))
	f.right(a.x+a.w-1, y, plain, tail)
}

// listDigits tells whether the list has room for the most urgent window in large
// digits, and for which: every other window and a word of the press come before them,
// unless the list is long enough to stand a few hidden.
func (m *sight) listDigits(a area) (timers.Standing, lettering, bool) {
	st, ok := m.mostUrgent()
	if !ok {
		return st, lettering{}, false
	}
	need := len(m.standings)
	if n := len(m.pressLines(a.w - 2)); n > 0 && !m.wide() {
		need += 1 + n
	}
	long := a.h >= 14 || a.h >= 12 && a.w > 60
	for _, l := range []lettering{{large, 1}, {small, 1}} {
		if lengthWidth(l, st) <= a.w-2 && (need+l.rows() <= a.h || long && l.scale*l.high == small.high) {
			return st, l, true
		}
	}
	return st, lettering{}, false
}

// mostUrgent is the window that large digits show: what is over or comes next,
// not what merely waits.
func (m *sight) mostUrgent() (timers.Standing, bool) {
	return each.First(m.standings, func(st timers.Standing) bool { return st.Phase == timers.Over || st.Next != nil })
}
