package tui

import (
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/timers/each"
)

// Binding is one row of the key table: the one source of what keys do on the
// bench, of the help page and of the table in the README.
type Binding struct {
	Pad   string // the key on the number pad
	Also  string // on a keyboard
	Words string
	Short string // for the bottom line; "" leaves it out
	keys  string // those that do it
	act   func(m *Model, key string) tea.Cmd
}

// Bindings is the grammar of the bench.
func Bindings() []Binding {
	return []Binding{
		{"1-9", "arrows, mouse", "select the flask on that place", "", placeKeys, (*Model).keyPlace},
		{"Enter", "space", "the next step of the selected flask (named on the line above the keys)", "", "enter space ctrl+j", (*Model).keyEnter},
		{"0", "esc, backspace", "back; on the bench: undo the last record (shows which; ENTER goes on); in a field a digit", "undo", "0 esc backspace", (*Model).keyBack},
		{".", "a", "acknowledge the alarm at the top; also inside a question", "got it", ". a", (*Model).keyHeard},
		{"+", "n", "new: flask, mix, timer, bath load (numbered choices)", "new", "+ n", (*Model).keyNew},
		{"-", "o", "other steps for the flask; where the place is empty the cases; baths: plan backwards", "other steps", "- o", (*Model).keyOther},
		{"*", "f", "the selected flask's page: closures, trend, timers, records; once more: the handover", "page", "* f", (*Model).keyPage},
		{"/", "p", "press order and baths; once more: the far view, for eyes across the room; with *: the day", "press & bath", "/ p", (*Model).keyPress},
		{"/ /", "v", "the far view", "", "v", (*Model).keyFar},
		{"/ *", "d", "the day on a time line: what runs, and until when", "", "d", (*Model).keyDay},
		{"* *", "t", "the handover: what runs, what fell due, what comes; taken over with initials", "", "t", (*Model).keyHandover},
		{"+ 7", "s", "snooze the alarm at the top for a while", "", "s", (*Model).keyShelve},
		{"+ 8", "?", "all other pages: help, settings, lots, a month in figures", "", "? h", (*Model).keyHelp},
		{"+ 8 6", "c", "the cases, by when they are due: take in, next step, deliver; also - on an empty place", "", "c", (*Model).keyCases},
		{"+ 8 7", "m", "the day planned: what to mix when, what goes in which bath, how likely late", "", "m", (*Model).keyPlan},
		{"+ 8 8", "e", "the equipment: what is to be checked, water, clamps, what is out of use", "", "e", (*Model).keyEquipment},
		{"+ 9", "q, ctrl+c", "leave; timers keep running", "", "q ctrl+c", (*Model).keyQuit},
	}
}

// padKey names a key press the same way whether it came from the pad or the
// keyboard: "0" to "9", "enter", "+", "-", "*", "/", "." or the key's own name.
func padKey(k tea.KeyPressMsg) string {
	switch k.Code {
	case tea.KeyKpEnter, tea.KeyEnter:
		return "enter"
	case tea.KeyKpPlus:
		return "+"
	case tea.KeyKpMinus:
		return "-"
	case tea.KeyKpMultiply:
		return "*"
	case tea.KeyKpDivide:
		return "/"
	case tea.KeyKpDecimal:
		return "."
	case tea.KeyKpUp, tea.KeyKpDown, tea.KeyKpLeft, tea.KeyKpRight, tea.KeyKpHome, tea.KeyKpEnd, tea.KeyKpPgUp, tea.KeyKpPgDown,
		tea.KeyKpInsert, tea.KeyKpDelete, tea.KeyKpBegin:
		return "kp" // of the pad itself, so that NumLock is off for sure
	}
	if k.Code >= tea.KeyKp0 && k.Code <= tea.KeyKp9 && k.Text == "" {
		return string('0' + k.Code - tea.KeyKp0)
	}
	s := k.String()
	if s == "," && k.Text == "," { // the decimal key of many pads
		return "."
	}
	return s
}

// numLockOff tells whether a key is what the pad sends in place of a digit when
// NumLock is off and nothing on the bench asks for it.
func numLockOff(key string) bool {
	switch key {
	case "kp", "home", "end", "pgup", "pgdown", "insert", "begin", "delete", "left", "right":
		return true
	}
	return false
}

// placeKeys select the flask on a place.
const placeKeys = "1 2 3 4 5 6 7 8 9 up down"

func selects(key string) bool { return slices.Contains(strings.Fields(placeKeys), key) }

// binding finds what a key does on the bench.
func binding(key string) (Binding, bool) {
	return each.First(Bindings(), func(b Binding) bool { return slices.Contains(strings.Fields(b.keys), key) })
}
