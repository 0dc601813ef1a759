package main

import (
	"cmp"
	"os"
	"runtime"
	"strings"

	"github.com/charmbracelet/colorprofile"
	"github.com/charmbracelet/x/term"

	"flaskside/logbook/doctor"
)

// lookAtTerminal asks what the screen can do.
func lookAtTerminal(env func(string) string) doctor.TerminalFacts {
	t := doctor.TerminalFacts{
		Is: term.IsTerminal(os.Stdout.Fd()), Colours: colorprofile.Detect(os.Stdout, os.Environ()).String(), NoColor: env("NO_COLOR") != "",
		Type: env("TERM"), Locale: cmp.Or(env("LC_ALL"), env("LC_CTYPE"), env("LANG")), Console: runtime.GOOS == "windows",
		SSH: env("SSH_CONNECTION") != "" || env("SSH_TTY") != "",
	}
	if w, h, err := term.GetSize(os.Stdout.Fd()); err == nil {
		t.Cols, t.Rows = w, h
	}
	switch {
	case env("TMUX") != "":
		t.Inside = "tmux"
	case env("STY") != "":
		t.Inside = "screen"
	case strings.HasPrefix(t.Type, "tmux"), strings.HasPrefix(t.Type, "screen"):
		t.Inside = "a multiplexer"
	}
	return t
}
