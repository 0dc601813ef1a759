package main

import (
	"bufio"
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/asked"
	"flaskside/logbook/check"
	"flaskside/logbook/words"
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
			s, err := logbook.SalvageBy(o.by, args[0], journals, to, follow, sysclock.New(), func(path string) error {
				rep, err := checking(c.Context())(path)
				if err != nil {
					return err
				}
				return unexpected(rep)
			})
			if err != nil {
				return err
			}
			return deliverSalvaged(to, s, len(journals), c.OutOrStdout())
		},
	}
	c.Flags().StringVar(&to, "to", "", "the new logbook, a file that is not there yet")
	c.Flags().StringVar(&journal, "journal", "", "journals to read, as a pattern (default: those beside FILE)")
	c.Flags().StringVar(&branch, "branch", "", "follow the history that this record belongs to, 15:9f3a00c1, as verify or salvage named it (default: that of FILE)")
	return c
}

// unexpected finds the faults that a book made anew must not have, whatever is lost.
func unexpected(rep check.Report) error {
	for _, f := range rep.Faults {
		switch f.Kind {
		case check.FaultMissing, check.FaultUnproven, check.FaultFile, check.FaultBench:
			continue
		case check.FaultChanged:
			// Of the last two records one contradicts the other, and nothing says which of them
			// is spoilt: both are brought back, and told of.
			if f.Seq+1 == rep.Head.Seq {
				continue
			}
		}
		return fmt.Errorf("the new logbook is not sound: %s", f)
	}
	return nil
}

func deliverSalvaged(to string, s check.Salvaged, journals int, out io.Writer) error {
	w := bufio.NewWriter(out)
	fmt.Fprintf(w, "%s: %d records, head %s\n", to, s.Records, s.Head)
	fmt.Fprintf(w, "found    %d in the logbook, %d in %s\n", s.File, s.Journal, words.Count(journals, "journal", "journals"))
	for _, o := range s.Others {
		fmt.Fprintf(w, "left out %s\n", words.Clean(o))
	}
	for _, b := range s.Branches {
		fmt.Fprintf(w, "outside  %s\n", branchLine(b))
	}
	for _, f := range s.Lost {
		label := "lost "
		if f.Kind == check.FaultUnproven || f.Kind == check.FaultHead {
			label = "doubt"
		}
		fmt.Fprintf(w, "%s    %s\n", label, f)
	}
	if len(s.Lost) == 0 {
		fmt.Fprintln(w, "lost     none")
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("write to the standard output: %w", err)
	}
	switch n := s.Gone(); {
	case n == 1:
		return check.Unsoundly("one record could not be brought back")
	case n > 0:
		return check.Unsoundly("%d records could not be brought back", n)
	case s.Outside() > 0:
		return check.Unsoundly("not all is in the new logbook: %s beside it, as listed", words.Count(s.Outside(), "record stands", "records stand"))
	case len(s.Lost) > 0:
		return check.Unsoundly("all records known of were brought back, but not all is proven")
	}
	return nil
}

// branchLine says what stands beside the new logbook, and why.
func branchLine(b check.Branch) string {
	what := fmt.Sprintf("record %d", b.From)
	if b.Records > 1 {
		what = fmt.Sprintf("records %d to %d", b.From, b.End.Seq)
	}
	why := "of another history"
	switch {
	case b.Against:
		why = fmt.Sprintf("changed or of another history, for record %d was written on other bytes", b.End.Seq+1)
	case !b.Knows:
		why = "on no record that was brought back"
	}
	return fmt.Sprintf("%s, %s: %s; in %s, to be followed with --branch %s", what, why, words.Clean(b.Text), b.File, b.End)
}
