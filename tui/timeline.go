package tui

import (
	"fmt"
	"strings"

	"flaskside/logbook/bench"
	"flaskside/logbook/timeline"
	"flaskside/timers"
	"flaskside/tui/chart"
)

// lineRoles tell how the parts of a time line look.
var lineRoles = map[chart.Role]role{
	chart.Wait: dim, chart.Run: curve, chart.Mark: strong, chart.Late: late, chart.Present: accent, chart.Label: plain, chart.Faint: dim,
}

// timeLabels stand before the rows of the time line.
func (m *sight) timeLabels(l timeline.DayBars, roomy bool) chart.Labels {
	var out chart.Labels
	for _, r := range l.Rows {
		switch r.Kind {
		case timeline.Flask:
			f := m.bench().Flasks[r.No]
			s := fmt.Sprintf("%s %s", m.tagOf(f), fit(f.Case, 8))
			if roomy {
				s = fmt.Sprintf("%s %s %s", m.tagOf(f), pad(f.Case, 8), f.Base)
			}
			out = append(out, s)
		case timeline.Press:
			s := "press"
			if m.house().Press.Presses > 1 {
				s = fmt.Sprintf("press %d", r.No)
			}
			out = append(out, s)
		default:
			out = append(out, fit(r.Label, 16))
		}
	}
	return out
}

// line is the day of the bench as it stands, worked out once for a look at the clock.
func (m *sight) line() timeline.DayBars {
	if d := &m.day; d.of != m.bench() || d.now != m.now {
		*d = dayLine{m.bench(), m.now, timeline.Of(m.bench(), m.now)}
	}
	return m.day.line
}

// dayLine is a time line, and of what.
type dayLine struct {
	of   *bench.Bench
	now  timers.Now
	line timeline.DayBars
}

// drawTimeLine draws the day on a part of a frame; roomy says more of each flask.
func (m *sight) drawTimeLine(f *frame, a area, roomy bool) {
	l := m.line()
	for y, row := range chart.TimeLine(l, m.timeLabels(l, roomy), a.w, a.h, false) {
		m.drawCells(f, a.x, a.y+y, row)
	}
}

func (m *sight) drawCells(f *frame, x, y int, row []chart.Cell) {
	for i, c := range row {
		if c.Role != chart.Blank {
			f.text(x+i, y, lineRoles[c.Role], string(c.Rune))
		}
	}
}

// timeLineH is how high the time line is where there is room for all of it.
func (m *sight) timeLineH() int { return 2 + len(m.line().Rows) }

// drawGauge draws a timer as the time line has it, in a few cells.
func (m *sight) drawGauge(f *frame, x, y, w int, st timers.Standing) {
	m.drawCells(f, x, y, chart.Gauge(timeline.BarOf(st, m.now), m.now.Wall, w, false))
}

// timeKey says what the signs of a time line mean, in a width.
func timeKey(w int) string {
	long := "─ before the earliest · ┣ earliest · ━ time to do it · ◆ aim · ┫ latest · ! late · ▪ over"
	for _, s := range []string{long, "┣ earliest · ◆ aim · ┫ latest · ! late"} {
		if len([]rune(s)) <= w {
			return s
		}
	}
	return ""
}

// addTimeLine adds the time line to a sheet.
func (m *sight) addTimeLine(s *sheet, most int, roomy bool) {
	h := min(m.timeLineH(), most)
	if h < 3 {
		return
	}
	s.picture(h, func(f *frame, x, y, w int) { m.drawTimeLine(f, area{x, y, w, h}, roomy) })
}

// dueSheet lists what comes due, each with its hour.
func (m *sight) dueSheet(s *sheet, due []comingUp) {
	if len(due) == 0 {
		return
	}
	s.gap()
	s.head(strong, "coming up")
	m.dueLines(s, due)
}

func (m *sight) dueLines(s *sheet, due []comingUp) {
	for _, c := range due {
		s.add(plain, pad(m.instant(c.at), 10)+strings.TrimSpace(c.words))
	}
}
