package tui

import (
	"fmt"
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/demo"
)

// Script is a shift that plays itself until a key is pressed.
type Script struct {
	Steps  []demo.Told
	Yours  func() (title string) // called when the keys are taken over; nil: nothing changes
	next   int
	tipped int
	off    bool
}

// waits tells whether the shift has not begun yet: what a newcomer should know is shown.
func (s *Script) waits() bool { return s != nil && !s.off && s.next == 0 }

// play does the next step when its time has come, and tells the keys it takes.
func (s *Script) play(m *Model) tea.Cmd {
	if s.off || m.saving || len(m.overs) > 0 || s.next >= len(s.Steps) {
		return nil
	}
	st := s.Steps[s.next]
	if m.now.Wall.Before(st.Action.At) {
		s.tip(m)
		return nil
	}
	s.next++
	st.Action.At = m.now.Wall // it is done when it is shown
	keys := scriptKeys(st.Action.Body)
	for _, sub := range st.Action.Body.Subjects() {
		if f := m.bench().Flasks[sub.No]; sub.Class == 'f' && f.AtWork() {
			keys = m.keysTo(f) + keys
			m.pick(f)
			break
		}
	}
	return m.send(st.Action, func(logbook.Saved) tea.Cmd {
		say := "keys " + keys
		if st.Say != "" {
			say += ": " + st.Say
		}
		m.say(accent, say)
		return nil
	})
}

// tips fill the waits of the shift: what else there is to press.
var tips = []string{
	"the alarm at the top waits: . acknowledges it, and it rings no more",
	"/ would show the press order and the baths, / once more the far view",
	"* would show the flask's page, * once more the handover for the next shift",
	"0 would show the last record, and ENTER undo it: it stays in the book and counts no more",
	"a wrong value is corrected under -, other steps; the old one stays in the book",
}

// tip tells the next one while nothing else is said.
func (s *Script) tip(m *Model) {
	if m.toast != "" || s.next == 0 {
		return
	}
	m.say(dim, "meanwhile: "+tips[s.tipped%len(tips)])
	s.tipped++
}

// scriptKeys are the pad keys that make an action of the shift, the place selected.
func scriptKeys(body action.Body) string {
	switch a := body.(type) {
	case action.MixMake:
		return "ENTER, ENTER …"
	case action.Flash:
		return fmt.Sprint(slices.Index(action.Grades, a.Grade) + 1)
	case action.MetalToMetal, action.BathUnload, action.CoolWater, action.Deflask:
		return "ENTER 1"
	case action.BathLoad:
		return "ENTER, the programme, 1"
	case action.Remount:
		return "ENTER " + strings.TrimPrefix(fmt.Sprint(a.PinMM), "0") + " ENTER"
	case action.Outcome:
		return fmt.Sprintf("ENTER %d ENTER", slices.Index(action.Outcomes, a.Outcome)+1)
	}
	return "ENTER"
}

// hold gives the keys to whoever pressed one.
func (s *Script) hold(m *Model) {
	if s.off {
		return
	}
	s.off = true
	if s.Yours != nil {
		m.cfg.Title = s.Yours()
	}
	m.say(accent, "the keys are yours: the shift plays no further by itself")
}
