package tui

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"charm.land/bubbles/v2/textinput"
	tea "charm.land/bubbletea/v2"
)

// A form asks for one thing after another with the number pad alone: numbered
// choices, or digits. What was typed stays when one goes back, and until the
// record is on the disk.
type form struct {
	title  string
	lines  []string // said above the question: a caution, what is unusual
	fields []*field
	at     int
	note   string          // why the last key or answer was not taken
	live   func() []string // said beneath what was answered, worked out as it is drawn
	done   func(f *form) tea.Cmd
	sent   bool // answered, waiting for the disk
}

type fieldKind int

const (
	pickOne fieldKind = iota
	pickMany
	number
	words
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
	input   *textinput.Model // the line editor; nil before the first key
	choice  int              // pickOne: from 1; 0 none yet; set beforehand it is what Enter takes
	picked  []bool
	number  float64
	page    int
	may     bool // may be left empty
	least   int  // pickMany: fewest
	when    func(f *form) bool
	reach   func(f *form) tea.Cmd // called when the field comes to be asked
}

func choose(name, ask string, options ...string) *field {
	return &field{name: name, kind: pickOne, ask: ask, options: options}
}
func several(name, ask string, least int, options []string, on func(i int) bool) *field {
	f := &field{name: name, kind: pickMany, ask: ask, options: options, least: least, picked: make([]bool, len(options))}
	for i := range options {
		f.picked[i] = on != nil && on(i)
	}
	return f
}
func digits(name, ask, unit, preset string, value func(string) (float64, error)) *field {
	return &field{name: name, kind: number, ask: ask, unit: unit, preset: preset, value: value}
}
func line(name, ask, preset string, may bool) *field {
	return &field{name: name, kind: words, ask: ask, preset: preset, may: may}
}
func (fd *field) optional() *field                    { fd.may = true; return fd }
func (fd *field) only(when func(f *form) bool) *field { fd.when = when; return fd }
func (fd *field) refusing(bad func(s string) error) *field {
	fd.value = func(s string) (float64, error) { return 0, bad(s) }
	return fd
}
func (fd *field) reached(do func(f *form) tea.Cmd) *field {
	fd.reach = do
	return fd
}

// get finds a field by name.
func (f *form) get(name string) *field {
	for _, fd := range f.fields {
		if fd.name == name {
			return fd
		}
	}
	return &field{}
}
func (f *form) choice(name string) int  { return f.get(name).choice }
func (f *form) num(name string) float64 { return f.get(name).number }
func (f *form) text(name string) string { return f.get(name).typed }
func (f *form) picks(name string) []int {
	var out []int
	for i, on := range f.get(name).picked {
		if on {
			out = append(out, i)
		}
	}
	return out
}

// perPage is how many options fit the digits when there are more than nine: the
// ninth turns the page.
const perPage = 8

func (fd *field) visible() (from, to int, more bool) {
	if len(fd.options) <= 9 {
		return 0, len(fd.options), false
	}
	from = fd.page * perPage
	return from, min(len(fd.options), from+perPage), true
}

// typing tells whether a field takes characters, so that the same key twice is two of
// them.
func (fd *field) typing() bool { return fd.kind == number || fd.kind == words }

// into is the field that characters go into.
func (f *form) into() *field {
	if fd := f.fields[f.at]; fd.typing() {
		return fd
	}
	return nil
}

func (f *form) step() string { return "answer the question above" }

func (f *form) keys() []string { return []string{"0 back", "ENTER takes the answer"} }

// key takes one key; going back from the first question leaves the form.
func (f *form) key(key, text string) (cmd tea.Cmd, how fate) {
	fd := f.fields[f.at]
	f.note = ""
	switch fd.kind {
	case pickOne, pickMany:
		return f.keyPick(fd, key)
	}
	switch {
	case key == "enter":
		return f.accept(fd), stays
	case key == "esc", key == "0" && fd.kind == number && fd.typed == "", key == "*" && fd.typed == "":
		return nil, f.back()
	case key == "delete" && fd.kind == words:
		return nil, stays
	case key == "backspace", key == "*", key == "-" && fd.kind == number:
		fd.edit(tea.KeyPressMsg{Code: tea.KeyBackspace})
		return nil, stays
	case fd.kind == words && (key == "left" || key == "right"):
		fd.edit(tea.KeyPressMsg{Code: map[string]rune{"left": tea.KeyLeft, "right": tea.KeyRight}[key]})
		return nil, stays
	case key == "space":
		text = " "
	case key == "ctrl+]":
		text = "␝" // the separator that a scanner sends between two fields of a label
	case key == ".":
		text = "."
	case numLockOff(key) || key == "up" || key == "down" || key == "left" || key == "right":
		f.note = "NumLock seems to be off: press NumLock, then the digits"
		return nil, stays
	}
	if fd.kind == number && !numberText(text) && (text == "" || text != fd.also) {
		f.note = "digits, then ENTER"
		return nil, stays
	}
	if r, _ := utf8.DecodeRuneInString(text); text != "" {
		fd.edit(tea.KeyPressMsg{Code: r, Text: text})
	}
	return nil, stays
}

// numberText tells whether a text can be part of a number with its unit.
func numberText(text string) bool {
	return strings.Trim(text, "0123456789.:hCFbarMPpsimn ") == ""
}

// paste takes a text that was pasted, or sent whole by a scanner.
func (f *form) paste(msg tea.PasteMsg) {
	fd := f.fields[f.at]
	if f.note = ""; fd.kind == words || fd.kind == number && numberText(msg.Content) {
		fd.edit(msg)
	}
}

// edit hands a key or a paste to the line editor of the field.
func (fd *field) edit(msg tea.Msg) {
	if fd.input == nil {
		in := textinput.New()
		in.CharLimit = maxTyped
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

// shown is what was typed, with the cursor in its place.
func (fd *field) shown() string {
	rs := []rune(fd.typed)
	at := len(rs)
	if fd.input != nil && fd.input.Value() == fd.typed {
		at = min(at, fd.input.Position())
	}
	return string(rs[:at]) + "▏" + string(rs[at:])
}

// maxTyped is how much a field takes: a whole label read by a scanner.
const maxTyped = 160

func (f *form) keyPick(fd *field, key string) (tea.Cmd, fate) {
	from, to, more := fd.visible()
	switch {
	case key == "0" || key == "esc" || key == "backspace":
		return nil, f.back()
	case key == "enter":
		return f.accept(fd), stays
	case len(key) == 1 && key[0] >= '1' && key[0] <= '9':
		n := int(key[0] - '0')
		if more && n == 9 {
			if fd.page++; fd.page*perPage >= len(fd.options) {
				fd.page = 0
			}
			return nil, stays
		}
		i := from + n - 1
		if i >= to {
			f.note = digitWords(to-from, more)
			return nil, stays
		}
		if fd.kind == pickMany {
			fd.picked[i] = !fd.picked[i]
			return nil, stays
		}
		fd.choice = i + 1
		return f.accept(fd), stays
	case numLockOff(key):
		f.note = "NumLock seems to be off: press NumLock, then the digit"
	default:
		f.note = digitWords(to-from, more)
	}
	return nil, stays
}

// digitWords tells which digits answer a choice.
func digitWords(n int, more bool) string {
	s := "the choices are 1 to " + strconv.Itoa(n)
	switch {
	case n == 1:
		s = "press 1"
	case more:
		s += ", 9 for more"
	}
	return s + "; 0 goes back"
}

// accept takes the answer of a field and goes on; on the last one the form is
// done.
func (f *form) accept(fd *field) tea.Cmd {
	switch fd.kind {
	case pickOne:
		if fd.choice == 0 {
			from, to, more := fd.visible()
			f.note = digitWords(to-from, more)
			return nil
		}
	case pickMany:
		if n := len(f.picks(fd.name)); n < fd.least {
			f.note = fmt.Sprintf("choose at least %d, then ENTER", fd.least)
			return nil
		}
	case number:
		s := fd.typed
		if s == "" {
			s = fd.preset
		}
		if s == "" && fd.may {
			fd.number = 0
			break
		}
		if s == "" {
			f.note = "type a number, then ENTER; 0 or * goes back"
			return nil
		}
		v, err := fd.value(s)
		if err != nil {
			f.note = err.Error()
			return nil
		}
		fd.number = v
	case words:
		if fd.typed == "" {
			fd.typed = fd.preset
		}
		if strings.TrimSpace(fd.typed) == "" && !fd.may {
			f.note = "type it, then ENTER; * goes back"
			return nil
		}
		if fd.value != nil && strings.TrimSpace(fd.typed) != "" {
			if _, err := fd.value(strings.TrimSpace(fd.typed)); err != nil {
				f.note = err.Error()
				return nil
			}
		}
	}
	for next := f.at + 1; next < len(f.fields); next++ {
		if fd := f.fields[next]; fd.when == nil || fd.when(f) {
			f.at = next
			if fd.reach != nil {
				return fd.reach(f)
			}
			return nil
		}
	}
	return f.done(f)
}

// back goes to the question before, or leaves the form where there is none.
func (f *form) back() fate {
	for prev := f.at - 1; prev >= 0; prev-- {
		if fd := f.fields[prev]; fd.when == nil || fd.when(f) {
			f.at = prev
			return stays
		}
	}
	return left
}

// draw puts the form on rows y to y+h-1 of a frame.
func (f *form) draw(fr *frame, a area) {
	x, y, w, h := a.x, a.y, a.w, a.h
	last := y + h - 1
	put := func(r role, s string) {
		if y < last {
			fr.put(x+1, y, w-2, r, s)
			y++
		}
	}
	put(accent, f.title)
	for _, l := range f.lines {
		for _, s := range wrap(l, w-4) {
			put(plain, " "+s)
		}
	}
	if said := f.answers(); said != "" {
		put(dim, said)
	}
	if f.live != nil {
		for _, l := range f.live() {
			for _, s := range wrap(l, w-2) {
				put(plain, s)
			}
		}
	}
	fd := f.fields[f.at]
	switch fd.kind {
	case number, words:
		px := fr.put(x+1, y, w-2, strong, fd.ask+"  ")
		px = fr.put(px, y, w, entry, fd.shown())
		if fd.unit != "" {
			px = fr.put(px+1, y, w, plain, fd.unit)
		}
		if fd.typed == "" && fd.preset != "" {
			fr.put(px+2, y, w-px, dim, "ENTER: "+fd.preset)
		} else if fd.typed == "" && fd.may {
			fr.put(px+2, y, w-px, dim, "ENTER: leave out")
		}
		y++
		if fd.kind == number {
			put(dim, "digits, ENTER · - rubs out · 0 back (type .5 for 0.5)")
		} else {
			put(dim, "type or scan, ENTER · * rubs out, and goes back when empty")
		}
	default:
		if fd.ask != "" {
			if fd.kind == pickOne && fd.choice > 0 {
				fr.put(x+3+utf8.RuneCountInString(fd.ask), y, w-2, dim, fmt.Sprintf("ENTER: %d", fd.choice))
			}
			put(strong, fd.ask)
		}
		from, to, more := fd.visible()
		var opts []string
		for i := from; i < to; i++ {
			mark := ""
			if fd.kind == pickMany {
				mark = "[ ] "
				if fd.picked[i] {
					mark = "[x] "
				}
			}
			opts = append(opts, fmt.Sprintf("%d %s%s", i-from+1, mark, fd.options[i]))
		}
		if more {
			opts = append(opts, "9 more …")
		}
		y = f.drawOptions(fr, x+2, y, w-4, last, opts)
		if fd.kind == pickMany {
			put(dim, "digits switch on and off, ENTER takes them · 0 back")
		}
	}
	if f.sent {
		fr.put(x+1, last, w-2, warn, "saving …")
	} else if f.note != "" {
		fr.put(x+1, last, w-2, warn, "! "+f.note)
	}
}

// drawOptions sets short options side by side and long ones in columns.
func (f *form) drawOptions(fr *frame, x, y, w, last int, opts []string) int {
	total, widest := 0, 0
	for _, o := range opts {
		n := utf8.RuneCountInString(o)
		total += n + 4
		widest = max(widest, n)
	}
	if total <= w {
		px := x
		for _, o := range opts {
			px = fr.put(px, y, w, accent, o[:1])
			px = fr.put(px, y, w, plain, o[1:]) + 4
		}
		return y + 1
	}
	cols := 1
	if rows := last - y; len(opts) > rows && rows > 0 {
		cols = (len(opts) + rows - 1) / rows
	}
	if widest+2 <= w/2 && len(opts) > 3 {
		cols = max(cols, 2)
	}
	rows := (len(opts) + cols - 1) / cols
	for i, o := range opts {
		cx, cy := x+(i/rows)*(w/cols), y+i%rows
		if cy >= last {
			continue
		}
		px := fr.put(cx, cy, w/cols, accent, o[:1])
		fr.put(px, cy, w/cols-2, plain, o[1:])
	}
	return y + rows
}

// answers lists what was answered so far, in one line.
func (f *form) answers() string {
	var out []string
	for _, fd := range f.fields[:f.at] {
		if fd.when != nil && !fd.when(f) {
			continue
		}
		switch fd.kind {
		case pickOne:
			out = append(out, fd.options[fd.choice-1])
		case pickMany:
			var ps []string
			for _, i := range f.picks(fd.name) {
				ps = append(ps, fd.options[i])
			}
			out = append(out, strings.Join(ps, ", "))
		case number:
			s := fd.typed
			if s == "" {
				s = fd.preset
			}
			if s != "" {
				out = append(out, strings.TrimSpace(s+" "+fd.unit))
			}
		case words:
			if fd.typed != "" {
				out = append(out, fd.typed)
			}
		}
	}
	return strings.Join(out, " · ")
}

// plainNumber reads a number between two bounds.
func plainNumber(lo, hi float64) func(string) (float64, error) {
	return func(s string) (float64, error) {
		v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil || v != v {
			return 0, fmt.Errorf("%q is no number: digits, and a point", s)
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
