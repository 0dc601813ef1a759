package tui

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	tea "charm.land/bubbletea/v2"
)

// perPage is how many options fit the digits when there are more than nine: the
// ninth turns the page.
const perPage = 8

// visible are the options that digits choose now, from and to, and whether there are more
// on other pages.
func (f *form) visible() (from, to int, more bool) {
	fd := f.fields[f.at]
	pages := f.laid.pages
	if f.laid.of != fd || f.laid.n != len(fd.options) { // not laid since
		pages = grouped(len(fd.options))
	}
	fd.page %= len(pages)
	return pages[fd.page][0], pages[fd.page][1], len(pages) > 1
}

// grouped are the pages of so many options where each page has room.
func grouped(n int) [][2]int {
	if n <= 9 {
		return [][2]int{{0, n}}
	}
	var out [][2]int
	for from := 0; from < n; from += perPage {
		out = append(out, [2]int{from, min(n, from+perPage)})
	}
	return out
}

// offered tells whether Enter takes a choice: one stands there, and is seen.
func (f *form) offered(fd *field) bool {
	from, to, _ := f.visible()
	return fd.choice > from && fd.choice <= to
}

// keys are those that work at the question at hand.
func (f *form) keys() []hint {
	fd := f.fields[f.at]
	if fd.typing() {
		out := []hint{{key: "0-9", words: "type a number"}}
		if fd.kind == lineText {
			out[0] = hint{key: "type", words: "or scan"}
		}
		switch {
		case fd.typed != "":
			return append(out, hint{key: "ENTER", words: "takes it"}, hint{key: "*", words: "rubs out; held, clears"})
		case fd.preset != "":
			out = append(out, hint{key: "ENTER", words: "takes what is offered"})
		case fd.may:
			out = append(out, hint{key: "ENTER", words: "leaves it out"})
		}
		return append(out, hint{key: "-", words: "back"})
	}
	from, to, more := f.visible()
	out := []hint{{key: digitsTo(to - from), words: "choose"}}
	if fd.kind == pickMany {
		out[0].words = "on, off"
	}
	if more {
		out = append(out, hint{key: "9", words: "more"})
	}
	switch {
	case fd.kind == pickMany && len(f.picks(fd.name)) >= fd.least:
		out = append(out, hint{key: "ENTER", words: "goes on"})
	case fd.kind == pickOne && f.offered(fd):
		out = append(out, hint{key: "ENTER", words: "takes " + strconv.Itoa(fd.choice-from)})
	}
	return append(out, hint{key: "0", words: "back"})
}

// digitsTo names the digits from 1 on.
func digitsTo(n int) string {
	if n == 1 {
		return "1"
	}
	return "1-" + strconv.Itoa(n)
}

// step repeats the question, so that whoever reads only the bright line knows what is asked.
func (f *form) step() string {
	fd := f.fields[f.at]
	ask := fd.ask
	ask = cmp.Or(ask, f.title)
	if fd.kind == pickOne && len(fd.options) == 1 {
		if last := ask[len(ask)-1]; strings.ContainsRune(".?!", rune(last)) {
			return ask + " 1 " + fd.options[0]
		}
		return ask + ": 1 " + fd.options[0]
	}
	if unit := fd.unit; fd.typing() && unit != "" {
		return ask + ", " + unit
	}
	return ask
}

// key takes one key; going back from the first question leaves the form.
func (f *form) key(key, text string) (cmd tea.Cmd, how fate) {
	fd := f.fields[f.at]
	f.note = ""
	if !fd.typing() {
		return f.keyPick(fd, key)
	}
	switch {
	case key == "enter":
		return f.accept(fd), stays
	case key == "esc", key == "-" && fd.typed == "":
		return nil, f.back()
	case key == "delete" && fd.kind == lineText:
		return nil, stays
	case key == "*" && fd.typed == "":
		f.note = "there is nothing to rub out; - goes back"
		return nil, stays
	case key == "backspace", key == "*", key == "-" && fd.kind == number:
		fd.rub()
		return nil, stays
	case fd.kind == lineText && (key == "left" || key == "right"):
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
	if text != "" {
		f.write(fd, text)
	}
	return nil, stays
}

func (f *form) keyPick(fd *field, key string) (tea.Cmd, fate) {
	from, to, more := f.visible()
	switch {
	case key == ".":
		return nil, through
	case key == "0" || key == "esc" || key == "backspace":
		return nil, f.back()
	case key == "enter":
		return f.accept(fd), stays
	case len(key) == 1 && key[0] >= '1' && key[0] <= '9':
		n := int(key[0] - '0')
		if more && n == 9 {
			fd.page++
			return nil, stays
		}
		i := from + n - 1
		if i >= to {
			f.note = f.digitWords()
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
		f.note = f.digitWords()
	}
	return nil, stays
}

// digitWords tells which digits answer a choice.
func (f *form) digitWords() string {
	from, to, more := f.visible()
	s := fmt.Sprintf("the choices are 1 to %d", to-from)
	switch {
	case to-from == 1:
		s = "press 1"
	case more:
		s += ", 9 for more"
	}
	return s + "; 0 goes back"
}
