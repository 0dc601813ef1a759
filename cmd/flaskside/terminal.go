package main

import (
	"cmp"
	"os"
	"runtime"
	"strings"

	"github.com/charmbracelet/colorprofile"
	"github.com/charmbracelet/x/term"

	"flaskside/logbook/doctor"
	"flaskside/logbook/words"
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

// whereabouts is where this screen stands: the address that it is used from, or the name of
// its terminal.
func whereabouts() string {
	if from, _, ok := strings.Cut(os.Getenv("SSH_CONNECTION"), " "); ok {
		return clipped(from)
	}
	if name, err := os.Readlink("/proc/self/fd/0"); err == nil {
		return clipped(strings.TrimPrefix(name, "/dev/"))
	}
	return "this computer"
}

// clipped is a name from outside as a record takes it.
func clipped(s string) string {
	out := []rune(words.Clean(strings.ToValidUTF8(s, "_")))
	return string(out[:min(60, len(out))])
}
