package tui

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/ansi"
)

// Notify says how a terminal is asked for a notification of its own, beside the bell,
// which gets through everywhere: "auto", "9", "777" or "99" (the number of the control
// sequence), or "none".
type Notify string

// ParseNotify reads the value of a flag.
func ParseNotify(s string) (Notify, error) {
	switch n := Notify(s); n {
	case "auto", "9", "777", "99", "none":
		return n, nil
	}
	return "", fmt.Errorf("%q is not a way to notify: auto, 9, 777, 99 or none", s)
}

// notice is the way chosen for the terminal at hand.
type notice struct {
	osc     string
	through bool // wrapped, for a multiplexer to hand it on
}

// of settles the way for a terminal by the name that it gives itself; "" while it has
// given none. 9 is known to the most, and others leave it unread.
func (n Notify) of(name string) notice {
	name = strings.ToLower(name)
	out := notice{osc: string(n), through: strings.HasPrefix(name, "tmux")}
	if n == "" || n == "auto" {
		switch {
		case strings.HasPrefix(name, "kitty"):
			out.osc = "99"
		case strings.HasPrefix(name, "foot"), strings.Contains(name, "rxvt"):
			out.osc = "777"
		default:
			out.osc = "9"
		}
	}
	return out
}

// sequence is what is sent for an alarm.
func (n notice) sequence(words string) string {
	words = oneLine(words)
	s := ""
	switch n.osc {
	case "9":
		s = ansi.Notify("flaskside: " + words)
	case "777":
		s = ansi.URxvtExt("notify", "flaskside", strings.ReplaceAll(words, ";", ","))
	case "99":
		s = ansi.DesktopNotification("flaskside: " + words)
	}
	if n.through && s != "" {
		s = ansi.TmuxPassthrough(s)
	}
	return s
}

// oneLine leaves out what a terminal takes for a command.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7f || r >= 0x80 && r < 0xa0 {
			return -1
		}
		return r
	}, s)
}
