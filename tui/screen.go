package tui

import (
	"fmt"
	"strings"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"flaskside/timers"
)

// Smallest screen that holds the bench.
const (
	minW = 80
	minH = 24
)

// View draws the screen; every field that switches something on is set on every
// frame.
func (m *Model) View() tea.View {
	v := tea.NewView("")
	v.AltScreen = true
	v.MouseMode = tea.MouseModeCellMotion
	v.WindowTitle = m.windowTitle()
	v.KeyboardEnhancements.ReportEventTypes = true
	v.ProgressBar = m.progress()
	if m.w > 0 && m.h > 0 {
		v.SetContent(m.draw().styled(m.theme))
	}
	return v
}

// progress shows the most urgent window in the task bar, where there is one: how much
// of the way to its next end has gone, and in the colour of an error while an alarm
// waits.
func (m *sight) progress() *tea.ProgressBar {
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged {
			return tea.NewProgressBar(tea.ProgressBarError, 100)
		}
	}
	for _, st := range m.standings {
		if st.Next != nil && st.Next.After > 0 {
			return tea.NewProgressBar(tea.ProgressBarDefault, int(100*st.For/st.Next.After))
		}
	}
	return nil
}

// windowTitle says in the title of the window what comes next.
func (m *sight) windowTitle() string {
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged {
			return "! " + m.alarmWords(al) + " · flaskside"
		}
	}
	for _, st := range m.standings {
		if st.Next != nil {
			w, _ := m.windowByKey(st.Key)
			return span(st.Left) + " " + windowWords(w, st) + " · flaskside"
		}
	}
	return "flaskside"
}

// draw makes the frame of the page at hand.
func (m *Model) draw() *frame {
	f := newFrame(m.w, m.h)
	m.drawStrip(f)
	if m.w < minW || m.h < minH {
		m.drawSmall(f)
		return f
	}
	p := m.page
	if m.over() != nil {
		p = &benchPage{m} // what is asked is asked there
	}
	if p.step() == "" {
		p.draw(f, area{0, 1, m.w, m.h - 1})
		return f
	}
	p.draw(f, area{0, 2, m.w, m.h - 2 - footH})
	m.drawFoot(f)
	return f
}

// area is a rectangle of the frame.
type area struct{ x, y, w, h int }

// drawStrip is the top line: time, hands, and the most urgent alarm.
func (m *Model) drawStrip(f *frame) {
	x := f.text(1, 0, strong, m.now.Wall.Format("Mon 02 Jan 15:04:05"))
	by := m.by()
	if by == "" {
		by = "no initials (+ 6)"
	}
	x = f.text(x+2, 0, plain, by)
	if m.cfg.Title != "" {
		x = f.text(x+2, 0, warn, m.cfg.Title)
	}
	x += 2
	width := f.w - x
	if m.lost != nil {
		f.put(x, 0, width, alarm, pad(" LOGBOOK OUT OF REACH · ENTER tries again ", width))
		return
	}
	waiting, shelved := 0, 0
	var top *timers.Alarm
	for i := range m.alarms {
		switch m.alarms[i].State {
		case timers.Unacknowledged, timers.Returned:
			waiting++
			if top == nil {
				top = &m.alarms[i]
			}
		case timers.Shelved:
			shelved++
		}
	}
	switch {
	case top != nil:
		r := alarm
		if top.Priority == timers.Low {
			r = warn
		}
		head := fmt.Sprintf(" ▲%d ", top.Priority)
		if m.floodOn {
			head = fmt.Sprintf(" ▲%d FLOOD, %d in 10 min: ", top.Priority, m.floodN)
			waiting = 0 // said already
		}
		if waiting > 1 {
			head = fmt.Sprintf(" ▲%d (%d) ", top.Priority, waiting)
		}
		tail := " . heard "
		s := head + fit(m.alarmWords(*top), max(0, width-ansi.StringWidth(head+tail)))
		f.put(x, 0, width, r, pad(s, max(0, width-ansi.StringWidth(tail)))+tail)
	case len(m.alarms) > 0:
		s := fmt.Sprintf("%d heard", len(m.alarms)-shelved)
		if shelved > 0 {
			s += fmt.Sprintf(", %d on the shelf", shelved)
		}
		f.right(f.w-1, 0, dim, s)
	}
}

// drawSmall is what fits a window that is too small: the alarms.
func (m *sight) drawSmall(f *frame) {
	f.text(1, 1, warn, fmt.Sprintf("window too small: %dx%d, wants %dx%d", m.w, m.h, minW, minH))
	y := 3
	for _, al := range m.alarms {
		if y >= f.h {
			return
		}
		mark := "▲"
		if al.State == timers.Acknowledged || al.State == timers.Shelved {
			mark = "·"
		}
		f.put(1, y, f.w-2, strong, fmt.Sprintf("%s%d %s", mark, al.Priority, m.alarmWords(al)))
		y++
	}
	for _, st := range m.standings {
		if y >= f.h {
			return
		}
		w, _ := m.windowByKey(st.Key)
		f.put(1, y, f.w-2, plain, fmt.Sprintf("%6s %s %s", span(st.Left), windowWords(w, st), m.placesOf(w)))
		y++
	}
}

// drawFoot is the last lines: what comes next, what was said, the keys.
func (m *Model) drawFoot(f *frame) {
	y := f.h - footH
	f.rule(0, y, f.w)
	f.fill(0, y+1, f.w, step)
	f.put(1, y+1, f.w-2, step, m.stepLine())
	m.drawToast(f, y+2)
	x := 1
	for _, k := range m.keysHere() {
		key, words, _ := strings.Cut(k, " ")
		x = f.text(x, y+3, accent, key)
		x = f.text(x+1, y+3, plain, words) + 3
	}
}

// keysHere lists the keys that mean something where the screen stands, each with a
// word: for the bottom line, and for whoever pressed another.
func (m *Model) keysHere() []string {
	if o := m.over(); o != nil {
		return o.keys()
	}
	return m.page.keys()
}

func (m *Model) stepLine() string {
	if o := m.over(); o != nil {
		return o.step()
	}
	return m.page.step()
}

func (m *Model) drawToast(f *frame, y int) {
	if m.toast == "" && m.trouble != "" {
		f.put(1, y, f.w-2, warn, fit(m.trouble, f.w-2))
	}
	if m.toast != "" {
		f.put(1, y, f.w-2, m.toastIs, fit(m.toast, f.w-2))
	}
}
