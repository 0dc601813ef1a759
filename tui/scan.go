package tui

import (
	"fmt"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"
)

// A scanner types a tag faster than any hand and ends it with Enter. On the bench a
// printable key is therefore held back for a moment: when others follow at once it is
// a scan and selects the flask, when none does it is a key.

// glance is how the screen is drawn while a key is held back that would select a place: as
// if it had, for the eye waits for no scanner. Nothing but the picture knows of it.
func (m *Model) glance() (back func()) {
	if len(m.burst) != 1 || m.saving || m.over() != nil || !m.atHome() {
		return func() {}
	}
	key := padKey(m.burst[0].k)
	if i := binding(key); i != 0 || len(key) != 1 {
		return func() {}
	}
	sel, off := m.sel, m.off
	m.sel, m.off = int(key[0]-'0'), 0
	return func() { m.sel, m.off = sel, off }
}

// scanLeast is the fewest characters of a tag or case number that is scanned.
const scanLeast = 3

type heldKey struct {
	k  tea.KeyPressMsg
	at time.Duration
}

// burstMsg ends the holding back that was begun with it.
type burstMsg struct{ gen int }

// hold takes a key that may be the beginning of a scan; ok tells that it did.
func (m *Model) hold(k tea.KeyPressMsg) (cmd tea.Cmd, ok bool) {
	if m.cfg.ScanHold <= 0 || m.over() != nil || !m.atHome() {
		return nil, false
	}
	now := m.cfg.Hands.Read().Mono
	if padKey(k) == "enter" && len(m.burst) >= scanLeast && now-m.burst[len(m.burst)-1].at < m.cfg.ScanHold {
		var tag strings.Builder
		for _, h := range m.burst {
			tag.WriteString(h.k.Text)
		}
		m.burst = nil
		m.scanned(tag.String())
		return nil, true
	}
	if k.Text == "" || k.IsRepeat {
		return m.release(), false
	}
	if len(m.burst) >= maxTyped { // a key leaned on, not a scan
		return m.release(), true
	}
	m.burst = append(m.burst, heldKey{k, now})
	m.burstGen++
	gen := m.burstGen
	return tea.Tick(m.cfg.ScanHold, func(time.Time) tea.Msg { return burstMsg{gen} }), true
}

// release lets the keys held back count.
func (m *Model) release() tea.Cmd {
	held := m.burst
	m.burst = nil
	var cmds []tea.Cmd
	for _, h := range held {
		cmds = append(cmds, m.onKey(h.k, h.at))
	}
	return tea.Batch(cmds...)
}

// scanned selects the flask whose tag or case number was read.
func (m *Model) scanned(tag string) {
	for fl := range m.bench().AtWork() {
		if strings.EqualFold(fl.Tag, tag) || strings.EqualFold(fl.Case, tag) || strings.EqualFold(fl.Case+" "+fl.Base, tag) {
			m.pick(fl)
			m.say(good, fmt.Sprintf("scanned %s: %s", fit(tag, 24), m.bench().WhereWords(fl)))
			return
		}
	}
	m.say(warn, fmt.Sprintf("scanned %s: no flask on the bench has this tag or case number", fit(tag, 24)))
}
