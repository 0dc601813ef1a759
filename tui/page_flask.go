package tui

import (
	"cmp"
	"fmt"
	"strings"
	"unicode"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers"

	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// flaskPage is all there is to know of the selected flask.
type flaskPage struct{ leaf }

func (p *flaskPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *flaskPage) sheet(a area) *sheet { return p.m.flaskSheet(a, "") }

func (p *flaskPage) step() string {
	fl := p.m.selected()
	if fl == nil {
		return p.leaf.step()
	}
	return "0  back, then ENTER: " + p.m.stepText(fl, p.m.bench().Next(fl, p.m.now))
}

func (p *flaskPage) keys() []hint {
	return append(p.leaf.keys(), hint{key: "1-9", words: "flask"}, hint{key: "*", words: "handover"})
}

func (p *flaskPage) key(key string) (tea.Cmd, bool) {
	switch key {
	case "*", "f":
		return p.m.keyHandover(key), true
	}
	return p.leaf.key(key)
}

// flaskSheet tells all of the selected flask; large is the key of the window that stands
// in large digits beside it.
func (m *sight) flaskSheet(a area, large string) *sheet {
	s := newSheet(a)
	fl := m.selected()
	if fl == nil {
		s.add(dim, fmt.Sprintf("place %d is empty", m.sel))
		return s
	}
	local := func(s timers.Stamp) string { return s.At.In(m.now.Wall.Location()).Format("15:04") }
	s.add(accent, fmt.Sprintf("%s · case %s · %s · %s · flask %d%s", m.bench().WhereWords(fl), fl.Case, fl.Base, fl.Size, fl.No, tagWords(fl.Tag)))
	if st, ok := m.flaskStanding(fl); ok && a.h >= 30 && st.Key != large {
		s.picture(5, func(f *frame, x, y, w int) { m.drawDigits(f, area{x - 1, y, w, 4}, st) })
	}
	if len(fl.Judged()) > 0 {
		h := min(12, max(6, a.h/3))
		s.picture(h, func(f *frame, x, y, w int) { m.drawChart(f, area{x, y, min(w, 100), h}, fl) })
	}
	for _, l := range m.verdictLines(fl, a.w-2, true) {
		s.add(l.r, l.s)
	}
	m.flaskSoFar(s, a, fl, local)
	m.flaskSaid(s, a, fl, local)
	m.flaskRecords(s, fl, local)
	return s
}

// flaskSoFar tells what was done to a flask: closures, timers, lots, mix, bath, clamp and pin.
func (m *sight) flaskSoFar(s *sheet, a area, fl *bench.Flask, local func(timers.Stamp) string) {
	if len(fl.Trials) > 0 {
		s.gap()
		s.head(dim, "closure  in     flash   grams  pressure   held   where")
		for _, t := range fl.Trials {
			s.add(plain, m.trialRow(t, local))
		}
	}
	if ws := m.windowsOf(fl); len(ws) > 0 {
		s.gap()
		s.head(dim, "timers")
		for _, st := range ws {
			w, _ := m.windowByKey(st.Key)
			due := ""
			if st.Next != nil {
				due = " (" + m.instant(st.Due) + ")"
			}
			s.add(plain, fmt.Sprintf("%7s  %s%s", words.Brief(st.Left), timerWords(w, st, 99), due))
		}
	}
	if fl.StoneLot != "" || fl.SheetLot != "" {
		s.gap()
		s.add(plain, "lots: stone "+orDash(fl.StoneLot)+", sheet "+orDash(fl.SheetLot))
	}
	if x := m.bench().MixOf(fl); x != nil {
		s.gap()
		s.head(dim, "mix")
		s.add(plain, m.mixLine(x))
		s.add(plain, fmt.Sprintf("%s · %.4g g powder (lot %s) · %.4g g liquid (lot %s) · room %s", local(x.Made), x.PowderG, orDash(x.PowderLot), x.LiquidG, orDash(x.LiquidLot), m.temp(x.RoomC)))
	}
	if l := m.bench().LoadOf(fl); l != nil {
		s.gap()
		s.head(dim, "bath")
		s.add(plain, fmt.Sprintf("in %s · bath %d · %s: %s", local(l.In), l.Bath, l.Programme, m.programmeWords(l.Stages)))
		for _, b := range m.bathLines(fl, a.w-2) {
			s.add(b.r, b.s)
		}
	}
	if fl.Clamped != nil {
		s.gap()
		s.add(plain, fmt.Sprintf("closed metal to metal %s, clamped %s, backed off %s", stampOr(fl.Metal, local), local(*fl.Clamped), action.Turns(fl.BackedOff)))
	}
	if fl.PinMM != nil {
		s.add(plain, "pin opening "+units.FormatLength(*fl.PinMM))
	}
}

// flaskSaid tells what was out of the ordinary, and what was noted.
func (m *sight) flaskSaid(s *sheet, a area, fl *bench.Flask, local func(timers.Stamp) string) {
	if len(fl.Oddities) > 0 {
		s.gap()
		s.head(dim, "out of the ordinary")
		for _, o := range fl.Oddities {
			why := words.Reason(o.Why)
			why = cmp.Or(why, "reason given before")
			s.add(warn, fmt.Sprintf("%s %s  %s: %s", local(o.At), o.By, words.Unusual(o.What), why))
		}
	}
	said, more := m.bench().LatestNotes(action.Subject{Class: 'f', No: fl.No})
	if len(said) > 0 || more {
		s.gap()
		s.head(dim, "notes")
		if more {
			s.wrapped(dim, fmt.Sprintf("Only the latest notes stand here. All notes and records of this flask: flaskside day --flask %d%s", fl.No, bookFlag(m.book)), a.w-2)
		}
		for _, n := range said {
			s.wrapped(plain, fmt.Sprintf("%s %s  %s", local(n.At), n.By, n.Text), a.w-2)
		}
	}
}

// flaskRecords lists the records about a flask, with what became of them.
func (m *sight) flaskRecords(s *sheet, fl *bench.Flask, local func(timers.Stamp) string) {
	s.gap()
	s.head(dim, "records")
	for _, it := range m.itemsOf(fl) {
		line := fmt.Sprintf("%5d  %s %-3s %s", it.Seq, local(it.Stamp), it.Action.By, m.recordWords(it.Body))
		switch {
		case it.TakenBack != nil:
			s.add(dim, line+"  — UNDONE: "+words.Reason(it.TakenBack.Action.Why))
		case it.Corrected():
			c := it.Corrections[len(it.Corrections)-1]
			s.add(plain, line+"  — CORRECTED by "+c.Action.By+", was "+m.recordWords(it.Action.Body)+": "+words.Reason(c.Action.Why))
		default:
			s.add(plain, line)
		}
	}
}

func tagWords(tag string) string {
	if tag == "" {
		return ""
	}
	return " · tag " + tag
}
func orDash(s string) string {
	return cmp.Or(s, "–")
}
func stampOr(s *timers.Stamp, show func(timers.Stamp) string) string {
	if s == nil {
		return "–"
	}
	return show(*s)
}

func (m *sight) trialRow(t bench.Trial, local func(timers.Stamp) string) string {
	n := fmt.Sprint(t.N)
	if t.Added {
		n += " +dough"
	}
	grams, held, press := "–", "–", "–"
	if t.Grams > 0 {
		grams = fmt.Sprintf("%.3g", t.Grams)
	}
	if t.Out != nil {
		held = fmt.Sprintf("%d s", t.HeldS)
	}
	if t.At != nil {
		press = t.Gauge
	}
	mark := ""
	if t.Corrected {
		mark = "  (corrected)"
	}
	return fmt.Sprintf("%-8s %s  %-7s %-6s %-10s %-6s %s%s", n, local(t.In), orDash(string(t.Grade)), grams, press, held, strings.Join(t.Where, ", "), mark)
}

func (m *sight) windowsOf(fl *bench.Flask) []timers.Standing {
	var out []timers.Standing
	for _, st := range m.standings {
		w, _ := m.windowByKey(st.Key)
		for _, n := range w.Flasks {
			if n == fl.No {
				out = append(out, st)
			}
		}
	}
	return out
}

func (m *sight) itemsOf(fl *bench.Flask) []bench.Item {
	var out []bench.Item
	for _, it := range m.bench().Items {
		for _, s := range it.Body.Subjects() {
			if s == (action.Subject{Class: 'f', No: fl.No}) || fl.Mix > 0 && s == (action.Subject{Class: 'm', No: fl.Mix}) {
				out = append(out, it)
				break
			}
		}
	}
	return out
}

// bookFlag names the logbook in a command that a person types into a shell; "" for the usual one.
func bookFlag(file string) string {
	if file == "" {
		return ""
	}
	if strings.ContainsFunc(file, func(r rune) bool {
		return !strings.ContainsRune("/\\:.,_-+@%", r) && !unicode.IsLetter(r) && !unicode.IsDigit(r)
	}) {
		file = "'" + strings.ReplaceAll(file, "'", `'\''`) + "'"
	}
	return " --book " + words.Clean(file)
}
