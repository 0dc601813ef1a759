package tui

import (
	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
)

// Script is a shift that plays itself until a key is pressed.
type Script struct {
	Steps []ScriptStep
	next  int
	off   bool
}

// ScriptStep is one action at its time, and what is said with it.
type ScriptStep struct {
	Action action.Action
	Say    string
}

// play does the next step when its time has come.
func (s *Script) play(m *Model) tea.Cmd {
	if s.off || m.saving || len(m.forms) > 0 || s.next >= len(s.Steps) {
		return nil
	}
	st := s.Steps[s.next]
	if m.now.Wall.Before(st.Action.At) {
		return nil
	}
	s.next++
	st.Action.At = m.now.Wall // it is done when it is shown
	for _, sub := range st.Action.Body.Subjects() {
		if f := m.bench().Flasks[sub.No]; sub.Class == 'f' && f != nil && f.Place > 0 {
			m.sel = f.Place
			break
		}
	}
	return m.send(st.Action, func(logbook.Saved) tea.Cmd {
		if st.Say != "" {
			m.say(accent, st.Say)
		}
		return nil
	})
}

// hold gives the keys to whoever pressed one.
func (s *Script) hold(m *Model) {
	if !s.off {
		s.off = true
		m.say(accent, "the keys are yours: the shift plays no further by itself")
	}
}
