package main

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// TestArrows holds the imports to the one direction the house is built in: cmd,
// tui, logbook, timers. The pure packages touch neither disk nor screen.
func TestArrows(t *testing.T) {
	t.Parallel()
	list := func(format string) map[string][]string {
		out, err := exec.Command("go", "list", "-f", format, "flaskside/...").Output()
		if err != nil {
			t.Fatalf("go list: %v", err)
		}
		all := map[string][]string{}
		for line := range strings.Lines(string(out)) {
			words := strings.Fields(line)
			all[words[0]] = words[1:]
		}
		return all
	}
	deps := list(`{{.ImportPath}} {{join .Deps " "}}`)
	screen := []string{"charm.land/", "github.com/charmbracelet/"}
	disk := []string{"go.etcd.io/", "net/http"}
	for _, c := range []struct {
		pkg    string
		forbid []string
	}{
		{"flaskside/timers", append(append([]string{"flaskside/logbook", "flaskside/tui", "flaskside/timers/"}, screen...), disk...)},
		{"flaskside/timers/dough", append(append([]string{"flaskside/logbook", "flaskside/tui"}, screen...), disk...)},
		{"flaskside/timers/cure", append(append([]string{"flaskside/logbook", "flaskside/tui"}, screen...), disk...)},
		{"flaskside/timers/press", append(append([]string{"flaskside/logbook", "flaskside/tui"}, screen...), disk...)},
		{"flaskside/logbook/flash", append(append([]string{"flaskside/tui"}, screen...), disk...)},
		{"flaskside/logbook/lot", append(append([]string{"flaskside/tui"}, screen...), disk...)},
		{"flaskside/logbook/bench", append(append([]string{"flaskside/tui"}, screen...), disk...)},
		{"flaskside/logbook/bath", append(append([]string{"flaskside/tui"}, screen...), disk...)},
		{"flaskside/logbook/learn", append(append([]string{"flaskside/tui"}, screen...), disk...)},
		{"flaskside/logbook/stats", append(append([]string{"flaskside/tui"}, screen...), disk...)},
		{"flaskside/logbook/review", append([]string{"flaskside/tui", "go.etcd.io/"}, screen...)},
		{"flaskside/logbook/lot/recall", append([]string{"flaskside/tui", "go.etcd.io/"}, screen...)},
		{"flaskside/logbook/day", append([]string{"flaskside/tui", "go.etcd.io/"}, screen...)},
		{"flaskside/logbook/layout", append(append([]string{"flaskside/tui"}, screen...), disk...)},
		// Who looks through a book from outside reads its pages by hand: the store is lent to it.
		{"flaskside/logbook/check", append([]string{"flaskside/tui", "go.etcd.io/"}, screen...)},
		{"flaskside/logbook", append([]string{"flaskside/tui"}, screen...)},
		{"flaskside/logbook/probe", append([]string{"flaskside/tui"}, screen...)},
		{"flaskside/logbook/keep", append([]string{"flaskside/tui", "flaskside/logbook/door", "net/http"}, screen...)},
		{"flaskside/logbook/people", append([]string{"flaskside/tui", "go.etcd.io/"}, screen...)},
		{"flaskside/tui", []string{"charm.land/wish", "charm.land/ssh", "flaskside/logbook/people", "flaskside/logbook/door"}},
		{"flaskside/logbook/door", append([]string{"flaskside/tui"}, screen...)},
		{"flaskside/logbook/reach", append([]string{"flaskside/tui"}, screen...)},
		{"flaskside/logbook/intake", append([]string{"flaskside/tui"}, screen...)},
		// The screen writes no paper and no workbook.
		{"flaskside/tui", []string{"flaskside/cmd", "codeberg.org/go-pdf/", "github.com/xuri/", "golang.org/x/image/"}},
		// The schema of an action is made by a test, not by the program.
		{"flaskside/cmd/flaskside", []string{"github.com/invopop/", "go.yaml.in/"}},
	} {
		if len(deps[c.pkg]) == 0 {
			t.Errorf("%s is not there, or needs nothing", c.pkg)
		}
		for _, d := range deps[c.pkg] {
			for _, bad := range c.forbid {
				if strings.HasPrefix(d, bad) {
					t.Errorf("%s depends on %s", c.pkg, d)
				}
			}
		}
	}
	// Only one package knows the store.
	for pkg, imports := range list(`{{.ImportPath}} {{join .Imports " "}}`) {
		if slices.Contains(imports, "go.etcd.io/bbolt") && pkg != "flaskside/logbook" {
			t.Errorf("%s imports the store; only flaskside/logbook may", pkg)
		}
		if pkg != "flaskside/tui/sshdoor" && (slices.Contains(imports, "charm.land/wish/v2") || slices.Contains(imports, "charm.land/ssh")) {
			t.Errorf("%s knows the library for SSH; only flaskside/tui/sshdoor may", pkg)
		}
		if strings.HasPrefix(pkg, "flaskside/tui") && slices.Contains(imports, "os") {
			t.Errorf("%s touches the system", pkg)
		}
	}
}
