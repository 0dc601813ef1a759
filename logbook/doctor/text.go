package doctor

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/tables"
	"flaskside/logbook/words"
)

// wide is how many columns the text takes, so that it fits the smallest window.
const wide = 80

// Text writes the findings as a table of plain lines: level, part, what was found, what
// it means; and below, what to do.
func Text(w io.Writer, all []Finding) error {
	level, part := 0, 0
	for _, f := range all {
		level, part = max(level, utf8.RuneCountInString(string(f.Level))), max(part, utf8.RuneCountInString(f.Part))
	}
	indent := strings.Repeat(" ", level+part+4)
	for _, f := range all {
		lines := []string{f.Found, f.Means}
		if f.Do != "" {
			lines = append(lines, "do: "+f.Do)
		}
		text := ""
		for _, l := range lines {
			text += ansi.Wordwrap(l, wide-len(indent), "") + "\n"
		}
		text = strings.ReplaceAll(strings.TrimSuffix(text, "\n"), "\n", "\n"+indent)
		if _, err := fmt.Fprintf(w, "%-*s  %-*s  %s\n", level, f.Level, part, f.Part, text); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(w, sum(all))
	return err
}

// JSON writes the findings and the facts they rest on.
func JSON(w io.Writer, f Facts, all []Finding) error {
	attention, losing := Count(all)
	return tables.JSON(w, struct {
		Attention int       `json:"attention"`
		Losing    int       `json:"losing"`
		Findings  []Finding `json:"findings"`
		Facts     Facts     `json:"facts"`
	}{attention, losing, all, f})
}

// sum is the last line.
func sum(all []Finding) string {
	attention, losing := Count(all)
	switch {
	case attention == 0:
		return "no problems found"
	case losing == 0:
		return words.Count(attention, "thing", "things") + " to look at"
	case attention == 1:
		return "1 thing to look at, and it could lose records"
	}
	return fmt.Sprintf("%d things to look at, %d of which could lose records", attention, losing)
}
