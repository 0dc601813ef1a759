package tui

import (
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
)

// A click, or a touch, is the key that it points at: it goes the way of keys, so that
// slips are caught alike.

// onClick presses the key that stands where the screen was clicked on.
func (m *Model) onClick(ms tea.Mouse) tea.Cmd {
	key := m.clickedKey(ms.X, ms.Y)
	if ms.Button != tea.MouseLeft || key == "" {
		return nil
	}
	k := tea.KeyPressMsg{Code: rune(key[0]), Text: key}
	switch key {
	case "enter":
		k = tea.KeyPressMsg{Code: tea.KeyEnter}
	case "esc":
		k = tea.KeyPressMsg{Code: tea.KeyEscape}
	}
	return m.onKey(k, m.cfg.Hands.Read().Mono)
}

// onWheel turns the leaves of a page.
func (m *Model) onWheel(ms tea.Mouse) {
	if m.over() != nil || m.atHome() {
		return
	}
	switch ms.Button {
	case tea.MouseWheelDown:
		m.page.key("pgdown")
	case tea.MouseWheelUp:
		m.page.key("pgup")
	}
}

// clickedKey finds the key that a place of the screen stands for: the alarm at the top, a
// flask's row, the bright line, a choice, a key of the bottom line.
func (m *Model) clickedKey(x, y int) string {
	if x < 0 || x >= m.w || y < 0 || y >= m.h || m.small() {
		return ""
	}
	bright := m.h - m.footH() + 1
	switch {
	case y == 0 && len(m.unanswered()) > 0:
		return "."
	case m.over() == nil && m.page.step() == "":
		return "esc" // any key goes back
	case m.over() == nil && y == bright:
		first, _, _ := strings.Cut(m.stepLine(), " ")
		return clickKey(first, true)
	case m.over() == nil && m.atHome() && y >= 2 && y < 2+action.Places && x < m.placesW():
		return string(rune('1' + y - 2))
	}
	f := m.draw()
	return clickKey(f.accentAt(x, y), y == m.h-1)
}

// clickKey is the key that a word on the screen names; on a line of keys 0 is back, also
// where a field is open for digits.
func clickKey(word string, line bool) string {
	switch {
	case word == "ENTER":
		return "enter"
	case word == "0" && line:
		return "esc"
	case len(word) == 1 && strings.ContainsAny(word, "123456789.+-*/"):
		return word
	}
	return ""
}

// accentAt is the run of accent that a place of the frame belongs to: it stands there, or
// before the words that do.
func (f *frame) accentAt(x, y int) string {
	row := f.cells[y*f.w : (y+1)*f.w]
	for blanks := 0; x >= 0 && row[x].role != accent; x-- {
		if blanks++; strings.TrimSpace(row[x].s) != "" {
			blanks = 0
		}
		if blanks > 2 {
			return ""
		}
	}
	var word string
	for end := x; end >= 0 && end < f.w && row[end].role == accent; end++ {
		word += row[end].s
	}
	for x--; x >= 0 && row[x].role == accent; x-- {
		word = row[x].s + word
	}
	return strings.TrimSpace(word)
}
