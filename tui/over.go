package tui

import (
	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
)

func (m *Model) form() *form {
	if len(m.forms) == 0 {
		return nil
	}
	return m.forms[len(m.forms)-1]
}

// open asks a form; what was typed into it when it was last left stands in it again.
func (m *Model) open(f *form) {
	for _, fd := range f.fields {
		if s := m.drafts[f.title][fd.name]; s != "" {
			fd.typed = s
			f.note = "what you typed before is still here"
		}
	}
	m.forms = append(m.forms, f)
}

// leave goes back from the form at hand, and keeps what was typed.
func (m *Model) leave() {
	f := m.form()
	m.forms = m.forms[:len(m.forms)-1]
	kept := map[string]string{}
	for _, fd := range f.fields {
		if (fd.kind == number || fd.kind == words) && fd.typed != "" {
			kept[fd.name] = fd.typed
		}
	}
	if len(kept) == 0 {
		delete(m.drafts, f.title)
		return
	}
	if m.drafts == nil {
		m.drafts = map[string]map[string]string{}
	}
	m.drafts[f.title] = kept
	m.say(dim, "left without a record; what you typed is kept for when you come back")
}

// answer has a form's action recorded; the form stays until it is on the disk.
func (m *Model) answer(f *form, body action.Body, why string, then func(logbook.Saved) tea.Cmd) tea.Cmd {
	f.sent = true
	return m.append(body, why, then)
}
