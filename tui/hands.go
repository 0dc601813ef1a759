package tui

import (
	"time"

	tea "charm.land/bubbletea/v2"
)

// hands is what tells a slip from a key: a doubled one, one that is leaned on, one of a
// scan.
type hands struct {
	lastKey   string
	lastKeyAt time.Duration
	lastInto  *field   // the field that the last key went into
	doubt     *heldKey // may be the first repeat of a key held down
	doubts    int
	leaning   bool          // on a key
	keyAt     time.Duration // the latest key of all
	burst     []heldKey     // keys held back: a scan may have begun
	burstGen  int
}

// doubled is how soon the same key again counts as one press: a glove leans.
const doubled = 200 * time.Millisecond

// maxQueued bounds the keys kept while a record is being saved.
const maxQueued = 32

// A key held down is sent again after a quarter of a second to three quarters, as
// keyboards are set, and then at least every rhythm (by default 25 to 33 times a second;
// from memory). Terminals that do not report repeats leave it at that: the same key is
// therefore held back for a moment, and dropped when others like it follow in the rhythm.
const (
	heldAfter = 750 * time.Millisecond
	rhythm    = 80 * time.Millisecond
)

// doubtMsg lets the key count that was held back.
type doubtMsg struct{ gen int }

// onKey filters slips before a key counts.
func (m *Model) onKey(k tea.KeyPressMsg, now time.Duration) tea.Cmd {
	key := padKey(k)
	var before tea.Cmd
	if d := m.doubt; d != nil {
		m.doubt = nil
		if key == m.lastKey && now-d.at < rhythm {
			m.leaning = true
		} else {
			before = m.count(d.k, d.at)
		}
	}
	gap := now - m.lastKeyAt
	same := key == m.lastKey && gap < doubled
	again := key == m.lastKey && gap < heldAfter
	m.leaning = m.leaning && same
	m.lastKey, m.lastKeyAt = key, now
	// Two characters only where the first went into this field, too: what opened it may
	// bounce.
	into := m.fieldOf(key)
	if same && (into == nil || into != m.lastInto) || m.leaning || k.IsRepeat {
		if into != nil && (key == "*" || key == "backspace") && (m.leaning || k.IsRepeat) {
			into.clear()
			return before
		}
		if m.toast == "" || m.toastIs != good {
			m.say(dim, "double press ignored")
		}
		return before
	}
	if again && !same && !m.repeats {
		m.doubt = &heldKey{k, now}
		m.doubts++
		gen := m.doubts
		return tea.Batch(before, tea.Tick(rhythm, func(time.Time) tea.Msg { return doubtMsg{gen} }))
	}
	return tea.Batch(before, m.count(k, now))
}

// fieldOf is the field that a key would go into as a character, or nil.
func (m *Model) fieldOf(key string) *field {
	if o := m.over(); o != nil && key != "enter" {
		return o.into()
	}
	return nil
}

// count takes a key that is no slip.
func (m *Model) count(k tea.KeyPressMsg, now time.Duration) tea.Cmd {
	key := padKey(k)
	m.lastInto = m.fieldOf(key)
	idle := time.Duration(m.house().CrewIdleS) * time.Second
	quiet := now - m.keyAt
	m.keyAt = now
	if idle > 0 && quiet >= idle && !m.cfg.Keeper.Me().Fixed && m.over() == nil && !m.reading() && key != "." {
		m.who("who is at the bench?", false) // somebody else may have come: the key that woke the bench does nothing more
		return nil
	}
	if m.saving {
		if len(m.queue) < maxQueued {
			m.queue = append(m.queue, k)
		}
		return nil
	}
	return m.key(k)
}
