package main

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// typed takes a line of a shell apart: words, those in quotes whole, up to a comment.
func typed(line string) []string {
	var out []string
	for _, m := range regexp.MustCompile(`"[^"]*"|'[^']*'|[^\s"']+`).FindAllString(line, -1) {
		if strings.HasPrefix(m, "#") {
			break
		}
		out = append(out, strings.Trim(m, `"'`))
	}
	return out
}

// TestREADMECommandsExist holds every command line of the README, in its text and in its
// blocks, to the commands and flags that there are.
func TestREADMECommandsExist(t *testing.T) {
	readme := readREADME(t)
	lines := regexp.MustCompile("`flaskside ([^`]+)`").FindAllStringSubmatch(readme, -1)
	lines = append(lines, regexp.MustCompile(`(?m)^(?:\$ )?flaskside (.+)$`).FindAllStringSubmatch(readme, -1)...)
	if len(lines) < 40 {
		t.Fatalf("only %d command lines found", len(lines))
	}
	for _, m := range lines {
		args := typed(strings.ReplaceAll(m[1], "\n", " "))
		c, rest, err := rootCommand().Find(args)
		if err != nil {
			t.Errorf("flaskside %s: %v", m[1], err)
			continue
		}
		for i, a := range rest { // a placeholder stands for a number where one is wanted
			if i > 0 && strings.HasPrefix(rest[i-1], "--") && regexp.MustCompile(`^[A-Z]+$`).MatchString(a) {
				rest[i] = "1"
			}
		}
		c.InitDefaultHelpFlag()
		if err := c.ParseFlags(rest); err != nil {
			t.Errorf("flaskside %s: %v", m[1], err)
		}
	}
}

// TestREADMEOutputs runs the commands of the README that need neither book nor file and holds
// what they print to what is shown: each line in its order; … stands for what is left out.
func TestREADMEOutputs(t *testing.T) {
	ran := 0
	for i, block := range strings.Split(readREADME(t), "```") {
		line, shown, _ := strings.Cut(strings.TrimPrefix(strings.TrimSpace(block), "console\n"), "\n")
		command, ok := strings.CutPrefix(line, "$ flaskside ")
		if i%2 == 0 || !ok || !regexp.MustCompile(`^(trend --size|mix|dough|cure|lot ')`).MatchString(command) {
			continue
		}
		ran++
		cmd := exec.Command("flaskside", typed(command)...)
		cmd.Env = append(os.Environ(), "HOME="+t.TempDir(), "XDG_DATA_HOME="+t.TempDir(), "NO_COLOR=1")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Errorf("%s: %v: %s", line, err, out)
			continue
		}
		rest := string(out)
		for want := range strings.SplitSeq(shown, "\n") {
			if want = strings.TrimSpace(want); want == "" || strings.HasPrefix(want, "…") {
				continue
			}
			_, after, found := strings.Cut(rest, want)
			if !found {
				t.Errorf("%s: the README shows %q, which is not printed there:\n%s", line, want, out)
			}
			rest = after
		}
	}
	if ran == 0 {
		t.Error("no command of the README was run")
	}
}

func readREADME(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
