package tui

import (
	"fmt"
	"time"

	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// drawPanel is the selected flask at a glance: its closures, the flash over trial
// number, the verdict.
func (p *benchPage) drawPanel(f *frame, a area, shown string) {
	m := p.m
	if m.cfg.Script.waits() {
		f.text(a.x+1, a.y, accent, "An invented shift plays by itself: look at the line above the keys.")
		f.text(a.x+1, a.y+1, plain, "It says which keys each step takes. Press any key and the shift is yours.")
		m.drawFirst(f, area{a.x, a.y + 3, a.w, a.h - 3})
		return
	}
	fl := m.selected()
	if fl == nil {
		if len(m.bench().Items) == 0 {
			f.text(a.x+1, a.y, dim, fmt.Sprintf("place %d is empty", m.sel))
			m.drawFirst(f, area{a.x, a.y + 2, a.w, a.h - 2})
			return
		}
		m.emptySheet(a).draw(f, a, 0)
		return
	}
	chartW := min(46, a.w*4/10)
	textW := a.w - chartW - 3
	if len(fl.Judged()) == 0 {
		textW = a.w - 2
	}
	lines, trials := m.panelLines(fl, textW)
	room := max(0, a.h) // there may be no room at all, as for a screen reader
	if st, ok := m.flaskStanding(fl); ok && st.Key != shown {
		m.drawDigits(f, area{a.x, a.y + 1 + len(lines), textW, room - len(lines) - 1}, st)
	}
	if len(fl.Judged()) > 0 {
		m.drawChart(f, area{a.x + a.w - chartW - 1, a.y, chartW, a.h}, fl)
	}
	if over := len(lines) - room; over > 0 { // the oldest closures go first, the last one stays
		last := max(0, trials-1)
		cut := min(over, last)
		lines = lines[cut:]
		if over -= cut; over > 0 {
			keep := min(trials, 1)
			lines = append(lines[:keep], lines[min(len(lines), keep+over):]...)
		}
	}
	for i, l := range lines {
		f.put(a.x+1, a.y+i, textW, l.r, l.s)
	}
}

// fineDigits is how near to its end a time counts single seconds in large digits.
const fineDigits = 10 * time.Minute

// lengthWidth is how wide the time of a timer is in large digits, its unit included.
func lengthWidth(l lettering, st timers.Standing) int {
	digits, unit := words.Digits(st.Left, fineDigits)
	return l.width(digits) + 1 + len(unit)
}

// drawLength writes the time of a timer in large digits with its unit beside them.
func drawLength(f *frame, a area, l lettering, st timers.Standing) {
	digits, unit := words.Digits(st.Left, fineDigits)
	for i, row := range l.write(digits) {
		f.put(a.x, a.y+i, a.w, timeRole(st), row)
	}
	f.put(a.x+l.width(digits)+1, a.y+l.rows()-1, a.w, timeRole(st), unit)
}

// drawDigits shows a window in large digits with its words beside them, where there is
// room.
func (m *sight) drawDigits(f *frame, a area, st timers.Standing) {
	w, _ := m.windowByKey(st.Key)
	for _, l := range []lettering{{large, 1}, {small, 1}} {
		digits := lengthWidth(l, st)
		said := timerWords(w, st, a.w-digits-3)
		if l.rows() > a.h || digits+3+ansi.StringWidth(said) > a.w {
			continue
		}
		drawLength(f, area{a.x + 1, a.y, a.w, l.rows()}, l, st)
		f.put(a.x+digits+3, a.y+l.rows()/2, a.w, strong, said)
		return
	}
}

type lineOf struct {
	r role
	s string
}

// broken is a text in one role, in as many lines as it takes.
func broken(r role, text string, w int) []lineOf {
	return each.Of(wrap(text, w), func(s string) lineOf { return lineOf{r, s} })
}

// panelLines are the closures, the verdict and the forecast, the most important
// last where room is short; trials is how many of the lines, the first ones, are closures.
func (m *sight) panelLines(fl *bench.Flask, w int) (out []lineOf, trials int) {
	for _, t := range fl.Trials {
		line := m.trialLine(t)
		if ansi.StringWidth(line) <= w {
			out = append(out, lineOf{plain, line})
			continue
		}
		out = append(out, broken(plain, line, w)...)
	}
	if n := len(out); n > 4 {
		out = out[n-4:]
	}
	trials = len(out)
	if fl.Stage == bench.Trimmed || fl.Stage == bench.Judging || fl.Stage == bench.InPress || fl.Stage == bench.Holding {
		out = append(out, m.verdictLines(fl, w, false)...)
	}
	switch {
	case fl.Stage == bench.InBath:
		out = append(out, m.bathLines(fl, w)...)
	case len(fl.Trials) == 0:
		for _, name := range action.EachHalf {
			if h := fl.Halves[name]; h != nil {
				out = append(out, lineOf{plain, fmt.Sprintf("%s painted %s, dry it at least %s", words.Half(name), m.instant(h.Coated.At), length(time.Duration(h.MinS)*time.Second))})
			} else {
				out = append(out, lineOf{dim, words.Half(name) + " not painted"})
			}
		}
		if mix := m.bench().MixOf(fl); mix != nil {
			out = append(out, lineOf{plain, m.mixLine(mix)})
		}
	}
	said, _ := m.bench().LatestNotes(action.Subject{Class: 'f', No: fl.No})
	for _, n := range said {
		out = append(out, lineOf{dim, fit("note: "+n.Text, w)})
	}
	return out, trials
}

// mixLine says how a mix stands.
func (m *sight) mixLine(x *bench.Mix) string {
	left, reached := x.DoughLeft(m.now)
	s := fmt.Sprintf("mix %s, %s: ", x.Letter(), x.Resin)
	switch {
	case x.Stiff != nil:
		return s + "too stiff"
	case left < 0:
		return s + "working time over for " + lengthLeft(-left) + " (estimate)"
	case x.Dough != nil:
		return s + "dough, " + lengthLeft(left) + " of working time left (estimate)"
	case reached:
		return s + "should be dough (estimate): check it"
	}
	return s + "not yet dough (estimate)"
}

// trialLine is one closure in one line.
func (m *sight) trialLine(t bench.Trial) string {
	s := fmt.Sprintf("trial %d", t.N)
	if t.Added {
		s += " +dough"
	}
	if t.Grade != "" {
		s += "  " + pad(string(t.Grade), 6)
	}
	if t.Grams > 0 {
		s += fmt.Sprintf(" %.3g g", t.Grams)
	}
	if t.At != nil {
		s += "  " + t.Gauge
		if t.Out != nil {
			s += fmt.Sprintf(" %d s", t.HeldS)
		}
	}
	if t.Corrected {
		s += "  (corrected)"
	}
	return s
}
