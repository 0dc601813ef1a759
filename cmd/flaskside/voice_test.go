package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// What is never said of a flask, a cure or a base on the strength of time. The phrases
// beside each are those in which the word says something else.
var never = map[string][]string{
	`\bsafe\b`:                        nil,
	`\bcured\b`:                       {"heat-cured", "cold-cured", "looks falsely well cured"},
	`\breleased\b`:                    {"released", "released is what older programs wrote for finished here", "enum=remake,enum=released"},
	`\bconform(s|ing)?\b`:             nil,
	`(?i)\b(cure|bath|set|cool) done`: nil,
	`(?i)\b(cure|flask|base|test)s? (has |have )?passed`: nil,
	`(?i)cure (is )?(kept|complete|finished)`:            nil,
}

// TestNothingIsCalledGood reads every text of the program and every golden screen and sheet:
// none says that a flask, cure or base is safe, cured, passed, released or conforming.
func TestNothingIsCalledGood(t *testing.T) {
	check := func(where, s string) {
		for bad, but := range never {
			for _, got := range regexp.MustCompile(bad).FindAllStringIndex(s, -1) {
				fine := false
				for _, ok := range but {
					fine = fine || s == ok || len(ok) > got[1]-got[0] && strings.Contains(s[max(0, got[0]-40):min(len(s), got[1]+60)], ok)
				}
				if !fine {
					t.Errorf("%s says %q: %.160q", where, s[got[0]:got[1]], s)
				}
			}
		}
	}
	n := 0
	err := filepath.WalkDir("../..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(x ast.Node) bool {
			if l, ok := x.(*ast.BasicLit); ok && l.Kind == token.STRING {
				if s, err := strconv.Unquote(l.Value); err == nil {
					n++
					check(path, s)
				}
			}
			return true
		})
		return nil
	})
	if err != nil || n < 3000 {
		t.Fatal(n, err)
	}
	for _, f := range goldens(t) {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		check(f, string(b))
	}
}

func goldens(t *testing.T) []string {
	var out []string
	for _, p := range []string{"screens/*.txt", "day/*.txt", "day/*.html"} {
		fs, err := filepath.Glob("../../testdata/" + p)
		if err != nil || len(fs) == 0 {
			t.Fatal(p, err)
		}
		out = append(out, fs...)
	}
	return out
}

// TestLengthsAndHoursInTheGoldens: on no screen and no sheet does a length of time look like
// an hour of the day: a colon between digits stands in an hour (two digits each side) or has
// the unit behind it; and no length is written as 2h40.
func TestLengthsAndHoursInTheGoldens(t *testing.T) {
	colon := regexp.MustCompile(`\d+(:\d+)+( min)?`)
	hour := regexp.MustCompile(`^([01]\d|2[0-3]):[0-5]\d(:[0-5]\d)?$`)
	head := regexp.MustCompile(`^\d+:[0-9a-f]+`) // the end of the chain: number and hash
	glued := regexp.MustCompile(`\b\d+h\d\d\b|\b\d+d\d\dh\b`)
	for _, f := range goldens(t) {
		if !strings.HasSuffix(f, ".txt") {
			continue
		}
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range strings.Split(string(b), "\n") {
			for _, at := range colon.FindAllStringIndex(row, -1) {
				got := row[at[0]:at[1]]
				if hour.MatchString(got) || strings.HasSuffix(got, " min") || strings.HasSuffix(got, ":1") && strings.HasPrefix(row[at[1]:], " by mass") || strings.Contains(row, "ogbook head") && head.MatchString(row[at[0]:]) {
					continue
				}
				if before := row[:at[0]]; strings.HasSuffix(before, "UTC+") || strings.HasSuffix(before, "UTC-") {
					continue
				}
				t.Errorf("%s: %q looks like an hour: %s", f, got, row)
			}
			if got := glued.FindString(row); got != "" {
				t.Errorf("%s: the length %q lacks its unit: %s", f, got, row)
			}
		}
	}
}
