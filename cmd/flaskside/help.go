package main

import (
	"cmp"
	"os"
	"strings"

	"charm.land/lipgloss/v2"
	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// fitHelp lays the help that args ask for out for the width of the terminal: fang leaves the lines of flags to
// the terminal, which breaks them inside words, and cuts off examples. Into a file or a pipe it goes as it is written.
func fitHelp(root *cobra.Command, args []string) {
	width, _, err := term.GetSize(os.Stdout.Fd())
	if err != nil || width < 40 {
		return
	}
	if len(args) > 0 && args[0] == "help" {
		args = args[1:]
	}
	if c, _, err := root.Find(args); err == nil {
		fitTo(c, min(width, 120)) // fang's own widest
	}
}

// fitTo fits the help of one command: paragraphs, flags and commands beside their names, examples over two lines
// where they must.
func fitTo(c *cobra.Command, width int) {
	c.InitDefaultHelpFlag()
	c.InitDefaultVersionFlag()
	_ = c.InheritedFlags() // brings those of the commands above into Flags
	if !c.HasParent() {
		c.InitDefaultHelpCmd()
		c.InitDefaultCompletionCmd()
	}
	c.Long, c.Short = wrapped(c.Long, width-4), wrapped(c.Short, width-4)
	beside := besideNames(c)
	if beside+4 < width && width-4-beside < leastBeside { // what they take stands in their own help
		for _, sub := range c.Commands() {
			sub.Use = sub.Name()
		}
		beside = besideNames(c)
	}
	room := leastBeside // a terminal breaks the line before it
	if beside+4 < width {
		room = max(12, width-4-beside)
	}
	for _, sub := range c.Commands() {
		sub.Short = wrapped(sub.Short, room)
	}
	c.Flags().VisitAll(func(f *pflag.Flag) {
		shown := "" // fang writes what stands without the flag behind it
		if d := f.DefValue; d != "" && d != "false" && d != "0" && d != "[]" {
			shown = " (" + strings.ReplaceAll(d, " ", "_") + ")"
		}
		f.Usage = strings.TrimSuffix(strings.TrimSuffix(wrapped(f.Usage+shown, room), strings.TrimSpace(shown)), " ")
	})
	var lines []string
	for line := range strings.SplitSeq(c.Example, "\n") {
		lines = append(lines, breakExample(line, width-8)...)
	}
	c.Example = strings.Join(lines, "\n")
}

// leastBeside is how many columns text has beside names that are written whole.
const leastBeside = 20

// besideNames is how far right of the first column of the names the text beside flags and commands begins.
func besideNames(c *cobra.Command) int {
	beside := 10
	c.Flags().VisitAll(func(f *pflag.Flag) { beside = max(beside, len(flagKey(f))+2) })
	for _, sub := range c.Commands() {
		if !sub.Hidden {
			beside = max(beside, len(commandKey(sub))+2)
		}
	}
	return beside
}

// flagKey is a flag as it stands in the list.
func flagKey(f *pflag.Flag) string {
	if f.Shorthand != "" {
		return "-" + f.Shorthand + " --" + f.Name
	}
	return "--" + f.Name
}

// commandKey is a command as it stands in the list.
func commandKey(c *cobra.Command) string {
	key := c.Use
	if c.HasAvailableSubCommands() && !strings.Contains(key, "[command]") {
		key += " [command]"
	}
	if c.HasAvailableFlags() {
		key += " [--flags]"
	}
	return key
}

// wrapped breaks text at spaces alone: a flag is one word. Lines that are set in, and the blank ones, stay as they are.
func wrapped(text string, width int) string {
	var lines []string
	open := false // the last line can be gone on with
	for line := range strings.SplitSeq(text, "\n") {
		if line == "" || line[0] == ' ' {
			lines, open = append(lines, line), false
			continue
		}
		for word := range strings.FieldsSeq(line) {
			last := len(lines) - 1
			if open && lipgloss.Width(lines[last])+1+lipgloss.Width(word) <= width {
				lines[last] += " " + word
			} else {
				lines, open = append(lines, word), true
			}
		}
	}
	return strings.Join(lines, "\n")
}

// breakExample breaks a command line between words, as a shell takes it: before a flag where it can, and never within quotes.
func breakExample(line string, width int) (lines []string) {
	for len(line) > width {
		flag, word, quoted := 0, 0, false
		for i := range width - 1 {
			switch {
			case line[i] == '"' || line[i] == '\'':
				quoted = !quoted
			case line[i] != ' ' || quoted || i < 3: // what is before sets it in
			case strings.HasPrefix(line[i:], " --"):
				flag = i
			default:
				word = i
			}
		}
		at := cmp.Or(flag, word)
		if at == 0 {
			break
		}
		lines = append(lines, line[:at]+" \\")
		line = "  " + line[at+1:]
	}
	return append(lines, line)
}
