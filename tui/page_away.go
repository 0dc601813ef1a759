package tui

import (
	"fmt"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/keep"
	"flaskside/timers"
)

// awayItem is an end that fell due while nobody was there to see it.
type awayItem struct {
	words string
	at    time.Time
	ago   time.Duration
	est   bool
}

// awayPage tells, first of all, what fell due while no program ran, or while the person was
// away.
type awayPage struct {
	m     *Model
	away  keep.Absence
	items []awayItem
	notes []string
	after page // what follows it
}

// lookBack works out what fell due since the last sign of life, or since the person left.
// Nothing is shown after a short break in which nothing did.
func (m *Model) lookBack() {
	away := m.cfg.Keeper.Absence()
	if away.Since.At.IsZero() {
		return
	}
	p := &awayPage{m: m, away: away}
	gone := m.now.Since(away.Since)
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
	if boot := away.Since.BootID; boot != "" && m.now.BootID != "" && boot != m.now.BootID {
		p.notes = append(p.notes, "The computer was restarted; times across the restart are estimated.")
	}
	// A second or two is what keeps the clock right; in one boot the timers know better than the wall clock.
	if gone.ClockBack || away.Since.At.Sub(m.now.Wall) > 2*time.Second {
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
		if m.cfg.Keeper.Me().May("seen") != nil {
			return nil, true
		}
		return m.append(action.Seen{Since: p.away.Since.At.Format(time.RFC3339)}, "", nil), true
	case "ctrl+c", "q", ".", "a":
		return nil, false
	}
	m.say(warn, "ENTER when you have read this")
	return nil, true
}

func (p *awayPage) draw(f *frame, _ area) {
	m, y := p.m, 2
	what := "While you were away, since "
	if p.away.Closed {
		what = "While the program was closed, since "
	}
	f.text(2, y, strong, what+p.away.Since.At.In(m.now.Wall.Location()).Format("Mon 02 Jan 15:04"))
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
