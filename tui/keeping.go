package tui

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/keep"
	"flaskside/logbook/words"
)

// keeping is a record on its way to the disk.
type keeping struct {
	saving bool
	queue  []tea.KeyPressMsg // pressed meanwhile
	lost   error             // the book cannot be reached
}

// append records an action; then runs with the record once it is on the disk.
func (m *Model) append(body action.Body, why string, then func(logbook.Saved) tea.Cmd) tea.Cmd {
	return m.send(action.Action{ID: m.cfg.NewID(), At: m.cfg.Keeper.Now().Wall, By: m.by(), Body: body, Why: why}, then)
}

func (m *Model) send(a action.Action, then func(logbook.Saved) tea.Cmd) tea.Cmd {
	m.saving = true
	keeper := m.cfg.Keeper
	return func() tea.Msg {
		s, err := keeper.Append(a)
		return savedMsg{s, err, a, then}
	}
}

// onSaved is where a record becomes visible: on the disk, refused, in want of a
// reason, not saved, or nobody knows.
func (m *Model) onSaved(msg savedMsg) tea.Cmd {
	m.saving = false
	var odd *bench.NeedsReason
	switch {
	case msg.err == nil:
		m.refresh(m.cfg.Keeper.State())
		return m.afterSaved(msg)
	case errors.As(msg.err, &odd):
		m.pushReason(msg.what, odd, msg.then)
	case errors.Is(msg.err, logbook.ErrUnknown):
		m.unsend()
		m.unknown(msg.err)
	case errors.Is(msg.err, logbook.ErrNotSaved):
		m.unsend()
		m.say(alarm, "NOT SAVED: "+strings.TrimPrefix(msg.err.Error(), logbook.ErrNotSaved.Error()+": ")+"; nothing typed is lost, try again")
	default:
		m.unsend()
		if f := m.form(); f != nil {
			f.note = refusal(msg.err)
		} else {
			m.say(alarm, refusal(msg.err))
		}
	}
	return m.drain()
}

// refusal is why something cannot be recorded, with the name of a field as the bench calls it.
func refusal(err error) string {
	field, rest, _ := strings.Cut(err.Error(), " ")
	if !strings.Contains(field, "_") {
		return err.Error()
	}
	return words.Field(field) + " " + rest
}

// unknown says that nobody can tell what became of the last records.
func (m *Model) unknown(err error) {
	m.lost = err
	if m.gone() {
		m.say(alarm, "THE BENCH IS NOT RUNNING. Nothing can be recorded, and other screens may stay silent; this one waits for it")
		return
	}
	if errors.Is(err, logbook.ErrTaken) {
		m.say(alarm, "SAVED OR NOT: UNKNOWN. The file of the logbook was taken away: put it back, then ENTER")
		return
	}
	m.say(alarm, "SAVED OR NOT: UNKNOWN. The logbook cannot be reached; ENTER tries again")
}

// gone tells whether the bench that this screen shows runs no more.
func (m *Model) gone() bool { return errors.Is(m.lost, keep.ErrGone) }

func (m *Model) unsend() {
	if f := m.form(); f != nil {
		f.sent = false
	}
}

func (m *Model) afterSaved(msg savedMsg) tea.Cmd {
	for f := m.form(); f != nil && f.sent; f = m.form() {
		delete(m.drafts, f.called())
		m.shut()
	}
	if m.by() != m.whose {
		m.changeHands()
	}
	switch by := msg.saved.Action; by.Body.(type) {
	case action.AlarmHeard, action.AlarmShelve:
		if by.ID != msg.what.ID { // another screen was quicker
			m.say(dim, m.quickerWords(msg.saved))
			break
		}
		if by.Kind() == (action.AlarmShelve{}).Kind() {
			m.say(good, m.savedWords(msg.saved))
		}
	case action.ClockEvent, action.Caution, action.Seen:
	default:
		m.say(good, m.savedWords(msg.saved))
	}
	var cmd tea.Cmd
	if msg.then != nil {
		cmd = msg.then(msg.saved)
	}
	m.tellDoubts(msg.saved)
	return tea.Batch(cmd, m.drain(), m.ring(), m.adviseLate(), m.cureLate(), m.planLate())
}

// changeHands takes what the person at the screen typed elsewhere, in the place of what another
// one did here.
func (m *Model) changeHands() {
	m.drafts, m.whose = m.cfg.Keeper.Drafts(), m.by()
	m.tellTyped()
}

// savedWords tells what was saved; of what is longer than a message, a note say, its kind.
func (m *Model) savedWords(saved logbook.Saved) string {
	body := saved.Action.Body
	said := func(what string) string { return fmt.Sprintf("saved: %s · record %d", what, saved.Seq) }
	if s := said(m.recordWords(body)); len(wrap(s, minW-2)) <= mostSaid {
		return s
	}
	return said(words.Kind(body.Kind()))
}

// quickerWords tells who has answered an alarm already.
func (m *Model) quickerWords(saved logbook.Saved) string {
	a := saved.Action
	return fmt.Sprintf("already: %s by %s at %s · record %d", words.Kind(a.Kind()), cmp.Or(a.By, "somebody"), a.At.In(m.now.Wall.Location()).Format("15:04:05"), saved.Seq)
}

// drain takes the keys that were pressed while a record was being saved.
func (m *Model) drain() tea.Cmd {
	var cmds []tea.Cmd
	for len(m.queue) > 0 && !m.saving {
		k := m.queue[0]
		m.queue = m.queue[1:]
		cmds = append(cmds, m.key(k))
	}
	return tea.Batch(cmds...)
}
