package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestRulesStandWhereTheTableSays holds the table of rules in DEVELOPERS.md: each is
// declared in the file it names, and its package declares that name once.
func TestRulesStandWhereTheTableSays(t *testing.T) {
	root := filepath.Join("..", "..")
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	rows := regexp.MustCompile("(?m)^\\| (.+) \\| `(\\S+\\.go)` \\| `(\\w+)` \\|$").FindAllStringSubmatch(string(text), -1)
	if len(rows) != 22 {
		t.Fatalf("%d rules in the table, want 22", len(rows))
	}
	for _, row := range rows {
		rule, file, name := row[1], row[2], row[3]
		declared := regexp.MustCompile(`(?m)^(func (\([^)]*\) )?|const |var |type |\t)` + name + `(\(| =| struct)`)
		var in []string
		if err := fs.WalkDir(os.DirFS(root), filepath.ToSlash(filepath.Dir(file)), func(path string, _ fs.DirEntry, err error) error {
			if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			b, err := os.ReadFile(filepath.Join(root, path))
			for range declared.FindAll(b, -1) {
				in = append(in, path)
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
		if len(in) != 1 || in[0] != file {
			t.Errorf("%s: %s is declared in %v, want %s", rule, name, in, file)
		}
	}
}
