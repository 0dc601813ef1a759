package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flaskside/tui"
)

// TestReadme holds the README to the program: the key table, every command, every
// picture, and the two lines at its head.
func TestReadme(t *testing.T) {
	raw, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	readme := string(raw)
	for _, b := range tui.Bindings() {
		if row := fmt.Sprintf("| `%s` | %s | %s |", b.Pad, b.Also, b.Words); !strings.Contains(readme, row) {
			t.Errorf("the README lacks the row %s", row)
		}
	}
	for _, c := range rootCommand().Commands() {
		name := c.Name()
		if c.Hidden || name == "help" || name == "completion" || name == "version" {
			continue
		}
		if !strings.Contains(readme, "`flaskside "+name) && !strings.Contains(readme, "`"+name+"`") {
			t.Errorf("the README does not name the command %s", name)
		}
	}
	// Those of which other tests say that they are of the program as it is.
	for _, picture := range []string{"closure", "bench", "flask", "far", "baths"} {
		dark, light := `src="testdata/screens/`+picture+`.svg"`, `srcset="testdata/screens/`+picture+`-light.svg"`
		if !strings.Contains(readme, dark) || !strings.Contains(readme, light) {
			t.Errorf("the README does not show %s in dark and light", picture)
		}
	}
	if !strings.Contains(readme, "](testdata/screens/day-sheet.png)") {
		t.Error("the README does not show the day sheet")
	}
	for _, part := range strings.Split(readme, "](")[1:] {
		file, _, _ := strings.Cut(part, ")")
		if strings.Contains(file, "://") {
			continue
		}
		if _, err := os.Stat(filepath.Join("..", "..", file)); err != nil {
			t.Errorf("the README points at %s, which is not there", file)
		}
	}
	lines := strings.Split(readme, "\n")
	if len(lines) < 5 || !strings.HasPrefix(lines[3], "go run ./cmd/flaskside") || !strings.HasPrefix(lines[4], "go test ./...") {
		t.Error("the two commands do not head the README")
	}
}
