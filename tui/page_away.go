package tui

import (
	"fmt"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// awayItem is an end that fell due while no program ran.
type awayItem struct {
	words string
	at    time.Time
	ago   time.Duration
	est   bool
}

// awayPage tells, first of all, what fell due while no program ran.
type awayPage struct {
	m     *Model
	items []awayItem
	notes []string
	after page // what follows it
}

// lookBack works out what fell due since the last sign of life. Nothing is shown
// after a short break in which nothing did.
func (m *Model) lookBack() {
	beat := m.now.Beat
	if beat.Wall.IsZero() {
		return
	}
	p := &awayPage{m: m}
	gone := m.now.Since(timers.Stamp{At: beat.Wall, BootID: beat.BootID, Boot: beat.Boot})
	for _, st := range m.standings {
		for _, mk := range st.Marks {
			ago := st.For - mk.After
			if mk.End == timers.Warning || mk.Priority == timers.Silent || ago < 0 || ago > gone.For {
				continue
			}
			w, _ := m.windowByKey(st.Key)
			al := timers.Alarm{Signal: timers.Signal{Key: timers.SignalKey(w.Key, mk.End)}}
			p.items = append(p.items, awayItem{m.alarmWords(al), m.now.Wall.Add(-ago), ago, st.Estimated})
		}
	}
	if beat.BootID != "" && m.now.BootID != "" && beat.BootID != m.now.BootID {
		p.notes = append(p.notes, "The computer was restarted; times across the restart are estimated.")
	}
	if gone.ClockBack {
		p.notes = append(p.notes, "The computer clock is earlier than the last entry. CHECK THE TIME.")
	}
	atWork := !m.bench().Empty()
	if gone.For >= longAway && atWork {
		m.keyHandover("")
	}
	if len(p.items) > 0 || len(p.notes) > 0 && len(m.windows) > 0 {
		p.after = m.page
		m.page = p
	}
}

// reading tells whether what fell due is still to be read.
func (m *Model) reading() bool { _, ok := m.page.(*awayPage); return ok }

func (p *awayPage) step() string { return "ENTER  read" }

func (p *awayPage) keys() []hint { return []hint{{key: "ENTER", words: "read"}} }

func (p *awayPage) key(key string) (tea.Cmd, bool) {
	m := p.m
	switch key {
	case "enter", "space":
		m.page = p.after
		return m.append(action.Seen{Since: m.now.Beat.Wall.Format(time.RFC3339)}, "", nil), true
	case "ctrl+c", "q", ".", "a":
		return nil, false
	}
	m.say(warn, "ENTER when you have read this")
	return nil, true
}

func (p *awayPage) draw(f *frame, _ area) {
	m, y := p.m, 2
	beat := m.now.Beat.Wall.In(m.now.Wall.Location())
	f.text(2, y, strong, fmt.Sprintf("While the program was closed, since %s", beat.Format("Mon 02 Jan 15:04")))
	y += 2
	for i, it := range p.items {
		if y >= f.h-6 {
			f.text(4, y, dim, fmt.Sprintf("and %d more, all in the list", len(p.items)-i))
			break
		}
		est := ""
		if it.est {
			est = " (estimated)"
		}
		f.text(4, y, accent, m.instant(it.at))
		f.put(16, y, f.w-32, plain, it.words)
		f.right(f.w-2, y, dim, length(it.ago)+" ago"+est)
		y++
	}
	if len(p.items) == 0 {
		f.text(4, y, plain, "nothing fell due")
		y++
	}
	y++
	for _, n := range p.notes {
		for _, s := range wrap(n, f.w-6) {
			f.text(4, y, warn, s)
			y++
		}
	}
}
