package main

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"charm.land/lipgloss/v2"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"flaskside/timers/longrun"
)

// Whatever the terminal's width, no word of the help is lost or broken, and no line runs past the room it has,
// but one that is a single word. Each command is tried at four widths, in the long run at all.
//
// No rapid here: the scripts start this test binary as the program some nine hundred times, and rapid
// touches a megabyte at each start.
func TestHelpFitsEveryTerminal(t *testing.T) {
	paths := [][]string{nil}
	var walk func(c *cobra.Command, path []string)
	walk = func(c *cobra.Command, path []string) {
		for _, sub := range c.Commands() {
			at := append(slices.Clone(path), sub.Name())
			paths = append(paths, at)
			walk(sub, at)
		}
	}
	walk(rootCommand(), nil)
	for _, path := range paths {
		asWritten := helped(t, path)
		for _, i := range rand.Perm(81)[:longrun.Times(4, 81)] { //nolint:gosec // any will do
			helpFits(t, path, asWritten, 40+i)
		}
	}
}

func helpFits(t *testing.T, path []string, asWritten *cobra.Command, width int) {
	t.Helper()
	fitted, at := helped(t, path), fmt.Sprintf("%q at %d columns", path, width)
	fitTo(fitted, width)
	sameWords(t, at+", long", asWritten.Long, fitted.Long, width-4)
	sameWords(t, at+", example", asWritten.Example, strings.ReplaceAll(fitted.Example, " \\\n  ", " "), 1<<20)
	room := max(12, width-4-besideNames(fitted)) // columns of the terminal that are left beside the names
	if besideNames(fitted)+4 >= width {
		room = 2*width - 4 - besideNames(fitted) // on the line below
	}
	for i, sub := range asWritten.Commands() {
		sameWords(t, at+", "+sub.Name(), sub.Short, fitted.Commands()[i].Short, room)
	}
	asWritten.LocalFlags().VisitAll(func(f *pflag.Flag) {
		sameWords(t, at+", "+f.Name, f.Usage, fitted.Flags().Lookup(f.Name).Usage, room)
	})
}

// helped is the command at a path, of a program of its own.
func helped(t *testing.T, path []string) *cobra.Command {
	root := rootCommand()
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	c, _, err := root.Find(path)
	if err != nil {
		t.Fatal(err)
	}
	c.InitDefaultHelpFlag()
	return c
}

func sameWords(t *testing.T, what, written, fitted string, room int) {
	if a, b := strings.Fields(written), strings.Fields(fitted); !slices.Equal(a, b) {
		t.Fatalf("%s: the words %q became %q", what, a, b)
	}
	for line := range strings.SplitSeq(fitted, "\n") {
		if lipgloss.Width(line) > room && strings.Contains(strings.TrimSpace(line), " ") && line[0] != ' ' {
			t.Fatalf("%s: %q runs past %d columns", what, line, room)
		}
	}
}

// No example is cut off, not on the narrowest terminal, and none is broken within quotes.
func TestExamplesAreSeenWhole(t *testing.T) {
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for line := range strings.SplitSeq(c.Example, "\n") {
			for width := 32; width < 100; width++ {
				for _, part := range breakExample(line, width) {
					if lipgloss.Width(part) > width {
						t.Errorf("%s: %q is cut off at %d columns", c.CommandPath(), part, width)
					}
					if strings.Count(part, "'")%2+strings.Count(part, `"`)%2 > 0 {
						t.Errorf("%s: %q is broken within quotes", c.CommandPath(), part)
					}
				}
			}
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(rootCommand())
}

// What is written into the program fits a page without being broken again.
func TestHelpIsWrittenForAPage(t *testing.T) {
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for line := range strings.SplitSeq(c.Long, "\n") {
			if lipgloss.Width(line) > 104 {
				t.Errorf("%s: %q has %d columns: at most 104", c.CommandPath(), line, lipgloss.Width(line))
			}
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(rootCommand())
}
