package tui

import (
	"maps"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
)

// over lies over a page and has the keys: a question, a form, a menu.
//
//sumtype:decl
type over interface {
	lay(w, h int, tight bool) (rows int, whole bool) // how high it is in a width, and whether all of it has a place in a height
	draw(f *frame, a area)                           // as it was laid last
	step() string                                    // the bright line
	keys() []hint                                    // the keys that work in it
	key(key, text string) (cmd tea.Cmd, how fate)    // text is what a field takes
	into() *field                                    // where characters go; nil where keys are keys
	spoken() []string                                // as it is read out, see [Model.spoken]
}

// fate is what becomes of what lies over a page when it was given a key.
type fate int

const (
	stays   fate = iota
	left         // gone back from
	passed       // closed, and the key does its own work
	through      // it stays, and the key does its own work
)

// lay finds the place for what has the keys, and whether all of it is seen there. Where it
// is not and a message stands above the keys, the message gives way.
func (m *Model) lay() (a area, whole bool) {
	m.hushed = false
	if a, whole = m.layBy(); whole || m.small() {
		return a, whole
	}
	m.hushed = true
	return m.layBy()
}

// layBy lays what has the keys: on the bench beneath the places, or over them where it is
// higher. In a window too small for the bench it has the window.
func (m *Model) layBy() (a area, whole bool) {
	o := m.over()
	if m.small() {
		a = area{0, 1, m.w, m.h - 2}
		_, whole = o.lay(a.w, a.h, true)
		return a, whole
	}
	if a = m.low(); m.aloud {
		o.lay(minW, minH, true)
		return a, true // it is read out
	}
	if _, whole = o.lay(a.w, a.h, false); whole {
		return a, true
	}
	full := area{0, 2, m.w, m.h - 2 - m.footH()}
	for _, tight := range []bool{false, true} {
		var rows int
		if rows, whole = o.lay(full.w, full.h-1, tight); whole { // a rule stands above
			return area{0, full.y + full.h - rows, full.w, rows}, true
		}
	}
	return full, false
}

// over is what has the keys, or nil.
func (m *Model) over() over {
	if len(m.overs) == 0 {
		return nil
	}
	return m.overs[len(m.overs)-1]
}

// form is the form that has the keys, or nil.
func (m *Model) form() *form {
	f, _ := m.over().(*form)
	return f
}

// shut takes away what has the keys.
func (m *Model) shut() { m.overs = m.overs[:len(m.overs)-1] }

// open asks a form; what was typed into it when it was last left stands in it again.
func (m *Model) open(f *form) {
	f.begin()
	for _, fd := range f.fields {
		if s := m.drafts[f.called()][fd.name]; s != "" && fd.keeps() {
			fd.typed = s
			f.note = "what you typed before is still here"
		}
	}
	m.overs = append(m.overs, f)
}

// leave goes back from what has the keys, and keeps what was typed.
func (m *Model) leave() {
	f := m.form()
	m.shut()
	if f == nil {
		return
	}
	if m.draft(f); len(m.drafts[f.called()]) > 0 {
		m.say(dim, "left without a record; what you typed is kept for when you come back")
	}
}

// keeps tells whether what is typed into a field is kept while it is on no disk.
func (fd *field) keeps() bool { return fd.kind == number || fd.kind == lineText }

// typedInto is what stands in the fields of a form; nil where nothing does.
func typedInto(f *form) map[string]string {
	var out map[string]string
	for _, fd := range f.fields {
		if fd.keeps() && fd.typed != "" {
			if out == nil {
				out = map[string]string{}
			}
			out[fd.name] = fd.typed
		}
	}
	return out
}

// draft keeps what stands in a form.
func (m *Model) draft(f *form) {
	kept := typedInto(f)
	if kept == nil {
		delete(m.drafts, f.called())
		return
	}
	if m.drafts == nil {
		m.drafts = keep.Drafts{}
	}
	m.drafts[f.called()] = kept
}

// unsent is what is typed and on no disk, as it stands now; what was sent and is on its way is
// not of it.
func (m *Model) unsent() keep.Drafts {
	out := maps.Clone(m.drafts)
	for _, o := range m.overs {
		f, ok := o.(*form)
		if !ok {
			continue
		}
		kept := typedInto(f)
		if f.sent || kept == nil {
			delete(out, f.called())
			continue
		}
		if out == nil {
			out = keep.Drafts{}
		}
		out[f.called()] = kept
	}
	return out
}

// tellTyped tells the bench what stands typed, where that is something else than it was told.
func (m *Model) tellTyped() {
	if now := m.unsent(); !maps.EqualFunc(now, m.noted, maps.Equal[map[string]string]) {
		m.noted = now
		m.cfg.Keeper.Typing(now)
	}
}

// Typed gives what was typed and is on no disk, with what still stands in a question.
func (m *Model) Typed() keep.Drafts { return m.unsent() }

// answer has a form's action recorded; the form stays until it is on the disk.
func (m *Model) answer(f *form, body action.Body, why string, then func(logbook.Saved) tea.Cmd) tea.Cmd {
	f.sent = true
	m.tellTyped() // first: what is on the disk is not offered as unsent
	return m.append(body, why, then)
}
