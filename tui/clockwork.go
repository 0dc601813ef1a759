package tui

import (
	"fmt"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// onTick looks at the clocks, tells what happened to them, and rings.
func (m *Model) onTick() tea.Cmd {
	m.lookAtClock()
	if m.toast != "" && m.cfg.Hands.Read().Mono-m.toastAt > toastFor {
		m.toast = ""
		if m.lost != nil { // it stands there until it is mended
			m.unknown(m.lost)
		}
	}
	var cmds []tea.Cmd
	for _, e := range timers.Compare(m.before, m.now.Reading, m.cfg.Tick) {
		cmds = append(cmds, m.onClock(e))
	}
	m.before = m.now.Reading
	if d := m.now.Mono - m.beatAt; d >= time.Minute || d < 0 {
		m.beatAt = m.now.Mono
		keeper := m.cfg.Keeper
		cmds = append(cmds, func() tea.Msg { return beatMsg{keeper.Beat()} })
	}
	if m.cfg.Script != nil {
		cmds = append(cmds, m.cfg.Script.play(m))
	}
	cmds = append(cmds, m.ring(), m.adviseLate(), m.cureLate())
	return tea.Batch(cmds...)
}

// onClock records what happened to the clocks and tells it once.
func (m *Model) onClock(e timers.ClockEvent) tea.Cmd {
	words := clockWords(e)
	m.say(warn, words)
	return m.append(action.Clock{What: string(e.What), ByS: int(e.By / time.Second), Detail: fit(e.Detail, 100)}, "", nil)
}

func clockWords(e timers.ClockEvent) string {
	switch e.What {
	case timers.Slept:
		return fmt.Sprintf("the computer slept %s (%s to %s): the timers kept running", length(e.By), e.From.Format("15:04"), e.To.Format("15:04"))
	case timers.Stepped:
		dir := "forward"
		by := e.By
		if by < 0 {
			dir, by = "back", -by
		}
		return fmt.Sprintf("the clock was moved %s %s: check the time; timers are not affected", dir, length(by))
	case timers.Stalled:
		return fmt.Sprintf("the program did not run for %s", length(e.By))
	case timers.Zone:
		return "the time zone changed: " + e.Detail + "; timers are not affected"
	}
	return fmt.Sprintf("the computer was restarted between %s and %s; times across the restart are estimated", e.From.Format("Mon 15:04"), e.To.Format("Mon 15:04"))
}

// ring sounds the bell where an alarm is due, and says so in the terminal's own
// way too: the bell first, for it gets through everywhere.
func (m *Model) ring() tea.Cmd {
	al := m.bell.Ring(m.alarms, m.cfg.Hands.Read().Mono)
	if al == nil {
		return nil
	}
	words := oneLine(m.alarmWords(*al))
	ring := m.raw("\a" + m.notice.sequence(words))
	if tell := m.cfg.OnAlarm; tell != nil {
		return tea.Batch(ring, func() tea.Msg { tell(words); return nil })
	}
	return ring
}
