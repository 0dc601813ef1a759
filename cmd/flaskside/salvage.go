package main

import (
	"cmp"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/asked"
	"flaskside/logbook/check"
	"flaskside/timers/sysclock"
)

// salvageCommand makes a new logbook of what is left of a damaged one.
func salvageCommand(o *options) *cobra.Command {
	var to, journal, branch string
	c := &cobra.Command{
		Use:   "salvage FILE --to NEW",
		Short: "Recover what can be read from a damaged logbook and its journal",
		Long: "Brings together every record that is still as it was written, from the damaged file, which is only\n" +
			"read, and from the journal beside it, and lists what could not be brought back. If the book has two\n" +
			"histories, as after an older copy was put in its place, the one of the file is followed, and the\n" +
			"records of the other are written beside the new logbook as JSON Lines: flaskside record takes those\n" +
			"that still fit. Ends with 3 if anything is listed.",
		Example: "flaskside salvage bench.db --to mended.db\nflaskside salvage bench.db --to mended.db --journal 'old/bench.journal-*.jsonl'",
		Args:    oneFile,
		RunE: func(c *cobra.Command, args []string) error {
			if to == "" {
				return wrongUsage("name the new logbook with --to NEW")
			}
			journals, err := check.Journals(args[0])
			if journal != "" {
				journals, err = filepath.Glob(journal)
				if err == nil && len(journals) == 0 {
					err = fmt.Errorf("no file is called %s", journal)
				}
			}
			if err != nil {
				return err
			}
			var follow *check.Pin
			if branch != "" {
				p, err := check.ParsePin(branch)
				if err != nil {
					return asked.Wrong{Err: err}
				}
				follow = &p
			}
			s, err := logbook.SalvageBy(o.by, args[0], journals, to, follow, sysclock.New(), checking(c.Context()))
			if err != nil {
				return err
			}
			err = deliver("", c.OutOrStdout(), func(w io.Writer) error { return s.Text(w, to, len(journals)) })
			return cmp.Or(err, s.Sound())
		},
	}
	c.Flags().StringVar(&to, "to", "", "the new logbook, a file that is not there yet")
	c.Flags().StringVar(&journal, "journal", "", "journals to read, as a pattern (default: those beside FILE)")
	c.Flags().StringVar(&branch, "branch", "", "follow the history that this record belongs to, 15:9f3a00c1, as verify or salvage named it (default: that of FILE)")
	return c
}
