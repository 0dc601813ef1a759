package tui

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"charm.land/bubbles/v2/textinput"
	tea "charm.land/bubbletea/v2"
	"flaskside/logbook/words"
	"github.com/charmbracelet/x/ansi"
)

// A field is one question of a form: a choice, several, digits, or words.

type fieldKind int

const (
	pickOne fieldKind = iota
	pickMany
	number
	lineText
)

type field struct {
	name    string
	kind    fieldKind
	ask     string
	options []string
	value   func(s string) (float64, error) // number: reads what was typed, in the stored unit; words: refuses some
	preset  string                          // number, words: taken by Enter on an empty field
	also    string                          // number: one more key that it takes
	unit    string
	typed   string
	most    int              // characters that it takes
	lost    int              // of those typed beyond
	input   *textinput.Model // the line editor; nil before the first key
	choice  int              // pickOne: from 1; 0 none yet; set beforehand it is what Enter takes
	picked  []bool
	number  float64
	page    int
	may     bool                              // may be left empty
	least   int                               // pickMany: fewest
	above   []string                          // said above the question while it is asked
	read    func(f *form)                     // words: reads what was typed, once it is taken
	as      func(typed string) string         // words: how it was understood, where that may be another than it looks
	scan    func(f *form, tag string) tea.Cmd // takes what a scanner reads; nil where it types like a hand
	other   func(f *form) bool                // takes the answer and goes elsewhere itself
	when    func(f *form) bool
	reach   func(f *form) tea.Cmd // called when the field comes to be asked
	reread  func(f *form) float64 // number: what it stands for once its unit was asked for
}

// second is the answer to a question of two choices that says yes.
const second = 2

func choose[T ~string](name, ask string, options ...T) *field {
	return &field{name: name, kind: pickOne, ask: ask, options: words.Texts(options)}
}

func several(name, ask string, least int, options []string, on func(i int) bool) *field {
	f := &field{name: name, kind: pickMany, ask: ask, options: options, least: least, picked: make([]bool, len(options))}
	for i := range options {
		f.picked[i] = on != nil && on(i)
	}
	return f
}
func digits(name, ask, unit, preset string, value func(string) (float64, error)) *field {
	return &field{name: name, kind: number, ask: ask, unit: unit, preset: preset, value: value, most: maxDigits}
}
func line(name, ask, preset string, may bool) *field {
	return &field{name: name, kind: lineText, ask: ask, preset: preset, may: may, most: maxTyped}
}
func (fd *field) upTo(characters int) *field          { fd.most = characters; return fd }
func (fd *field) optional() *field                    { fd.may = true; return fd }
func (fd *field) only(when func(f *form) bool) *field { fd.when = when; return fd }

// and narrows when a field is asked.
func (fd *field) and(when func(f *form) bool) *field {
	before := fd.when
	return fd.only(func(f *form) bool { return when(f) && (before == nil || before(f)) })
}
func (fd *field) refusing(bad func(s string) error) *field {
	fd.value = func(s string) (float64, error) { return 0, bad(s) }
	return fd
}
func (fd *field) reached(do func(f *form) tea.Cmd) *field {
	fd.reach = do
	return fd
}

// typing tells whether a field takes characters, so that the same key twice is two of
// them.
func (fd *field) typing() bool { return fd.kind == number || fd.kind == lineText }

// numberText tells whether a text can be part of a number with its unit.
func numberText(text string) bool {
	return strings.Trim(text, "0123456789.:hCFbarMPpsimn ") == ""
}

// paste takes a text that was pasted, or sent whole by a scanner: all of it or nothing.
func (f *form) paste(msg tea.PasteMsg) {
	fd := f.fields[f.at]
	if f.note = ""; fd.kind != lineText && (fd.kind != number || !numberText(msg.Content)) {
		return
	}
	if beyond := utf8.RuneCountInString(fd.typed+msg.Content) - fd.most; beyond > 0 {
		f.note = fd.tooLong(beyond)
		return
	}
	fd.edit(msg)
}

// write takes one character; what is too long for the field is not cut and taken, but
// refused when it is to be taken.
func (f *form) write(fd *field, text string) {
	if fd.lost > 0 || utf8.RuneCountInString(fd.typed) >= fd.most {
		fd.lost++
		f.note = fd.tooLong(fd.lost)
		return
	}
	r, _ := utf8.DecodeRuneInString(text)
	fd.edit(tea.KeyPressMsg{Code: r, Text: text})
}

// rub takes the last character away, or with it all that did not fit.
func (fd *field) rub() {
	if fd.lost > 0 {
		fd.lost = 0
		return
	}
	fd.edit(tea.KeyPressMsg{Code: tea.KeyBackspace})
}

// clear empties the field.
func (fd *field) clear() { fd.typed, fd.lost = "", 0 }

func (fd *field) tooLong(beyond int) string {
	return fmt.Sprintf("too long by %d: this takes at most %d characters. Hold * to clear it", beyond, fd.most)
}

// edit hands a key or a paste to the line editor of the field.
func (fd *field) edit(msg tea.Msg) {
	if fd.input == nil {
		in := textinput.New()
		in.CharLimit = fd.most
		in.Focus()
		fd.input = &in
	}
	if fd.input.Value() != fd.typed {
		fd.input.SetValue(fd.typed)
		fd.input.CursorEnd()
	}
	*fd.input, _ = fd.input.Update(msg)
	fd.typed = fd.input.Value()
}

// shown is what was typed, with the cursor in its place. Where there is not the width for
// all of it, what stands around the cursor is shown: of a long text its end.
func (fd *field) shown(width int) string {
	rs := []rune(fd.typed)
	at := len(rs)
	if fd.input != nil && fd.input.Value() == fd.typed {
		at = min(at, fd.input.Position())
	}
	before, after := string(rs[:at])+"▏", string(rs[at:])
	if over := ansi.StringWidth(before+after) - width; over > 0 {
		cut := min(over+1, ansi.StringWidth(before)-2) // the mark takes a place of its own
		before = ansi.TruncateLeft(before, max(0, cut), "…")
		after = fit(after, max(0, width-ansi.StringWidth(before)))
	}
	return before + after
}

// maxTyped is how much a field takes: a whole label read by a scanner.
const maxTyped = 160

// maxDigits is how much a number takes, with its unit.
const maxDigits = 20

// plainNumber reads a number between two bounds.
func plainNumber(lo, hi float64) func(string) (float64, error) {
	return func(s string) (float64, error) {
		v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil || v != v {
			return 0, fmt.Errorf("%q is not a number: digits, and a point", s)
		}
		if v < lo || v > hi {
			return 0, fmt.Errorf("%g is out of range: %g to %g", v, lo, hi)
		}
		return v, nil
	}
}

// wholeNumber reads a whole number between two bounds.
func wholeNumber(lo, hi int) func(string) (float64, error) {
	return func(s string) (float64, error) {
		v, err := strconv.Atoi(strings.TrimSpace(s))
		if err != nil || v < lo || v > hi {
			return 0, fmt.Errorf("give a whole number from %d to %d", lo, hi)
		}
		return float64(v), nil
	}
}
