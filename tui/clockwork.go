package tui

import (
	"fmt"
	"slices"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
	"flaskside/timers"
)

// onTick looks at the clocks, and rings.
func (m *Model) onTick() tea.Cmd {
	m.lookAtClock()
	m.tellTyped()
	if m.toast != "" && m.cfg.Hands.Read().Mono-m.toastAt > toastFor {
		m.toast = ""
		if m.lost != nil { // it stands there until it is mended
			m.unknown(m.lost)
		}
	}
	var cmds []tea.Cmd
	if m.cfg.Script != nil {
		cmds = append(cmds, m.cfg.Script.play(m))
	}
	cmds = append(cmds, m.ring(), m.adviseLate(), m.cureLate(), m.planLate())
	return tea.Batch(cmds...)
}

// onNews takes what is new on the bench.
func (m *Model) onNews(n keep.News) tea.Cmd {
	m.floodN, m.floodOn = n.Flood.N, n.Flood.On
	m.bell.Flood = m.floodOn
	m.mirror = n.Mirror
	back := m.lost != nil && n.Lost == nil && !m.saving
	if n.State.Bench != nil && (n.State.Head.Seq >= m.st.Head.Seq || back) { // what was saved meanwhile is newer
		knew := m.st.Head.Seq
		m.refresh(n.State)
		m.othersDid(knew)
	}
	switch {
	case back:
		if m.say(good, "the logbook can be reached again"); m.gone() {
			m.say(good, "the bench is running again")
		}
		m.lost = nil
	case n.Lost != nil && m.lost == nil && !m.saving: // a record on its way is told of by its answer
		m.unknown(n.Lost)
	case n.Lost != nil && m.lost != nil:
		m.lost = n.Lost
	}
	for _, l := range n.Lines {
		if l.Trouble {
			m.trouble = oneLine(l.Text)
		} else {
			m.say(warn, oneLine(l.Text))
		}
	}
	return tea.Batch(m.ring(), m.adviseLate(), m.cureLate(), m.planLate())
}

// othersDid says in a question what somebody else has recorded of the flask at hand while it
// stood there: it may be the same that is about to be answered.
func (m *Model) othersDid(after uint64) {
	f, fl := m.form(), m.selected()
	if f == nil || fl == nil || f.sent {
		return
	}
	for _, it := range m.bench().Items {
		if it.Seq > after && it.Action.By != "" && it.Action.By != m.by() && slices.Contains(it.Body.Subjects(), action.Subject{Class: 'f', No: fl.No}) {
			f.note = fmt.Sprintf("%s has just recorded: %s", oneLine(it.Action.By), oneLine(m.recordWords(it.Body)))
		}
	}
}

// ring sounds the bell where an alarm is due, and says so in the terminal's own
// way too: the bell first, for it gets through everywhere.
func (m *Model) ring() tea.Cmd {
	al := m.bell.Ring(m.alarms, m.cfg.Hands.Read().Mono)
	if al == nil {
		return nil
	}
	return m.raw("\a" + m.notice.sequence(oneLine(m.alarmWords(*al))))
}

// AlarmWords say in capitals what an alarm wants to be known, in one line.
func AlarmWords(st logbook.Snapshot, now timers.Now, al timers.Alarm) string {
	m := sight{st: st, now: now}
	m.lookAt(st.Bench.Windows())
	return oneLine(m.alarmWords(al))
}
