package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/cases"
	"flaskside/logbook/day"
	"flaskside/logbook/intake"
	"flaskside/logbook/reach"
	"flaskside/timers/sysclock"
)

// caseCommand keeps the list of cases.
func caseCommand(o *options) *cobra.Command {
	var f shape
	c := &cobra.Command{
		Use:   "case [NUMBER]",
		Short: "Take cases in, list them, deliver them, or print the record of one",
		Long: "With a number: the record of that case, all that the logbook holds of it: its flasks, mixes, baths,\n" +
			"lots, temperatures, corrections, and who did what. It is neither a statement of conformity nor a\n" +
			"release.\n\n" +
			"The other commands keep the list of what is to be made. A case is the house's own number and a\n" +
			"base; the upper and the lower of one case are two lines, and a pair. A case on a route has steps\n" +
			"before and after the flask, and leaves the list when it is delivered; one without a route leaves it\n" +
			"when its flask has an outcome. After a remake it waits again.",
		Example: "flaskside case 4417\nflaskside case 4417 --format pdf --out case-4417.pdf\nflaskside case in 4417 --base upper --size medium --due \"tomorrow 12:00\"\nflaskside case list\nflaskside case deliver 4417 --base upper --done finished,polished --wet-h 24",
		Args:    oneCase,
		RunE: func(c *cobra.Command, args []string) error {
			if !slices.Contains([]string{"text", "html", "pdf", "jsonl"}, f.format) {
				return wrongUsage("--format is %s, not %q", caseFormats, f.format)
			}
			size, err := f.onPaper(c)
			if err == nil && f.format == "pdf" {
				err = f.offScreen(c, "a PDF")
			}
			if err != nil {
				return err
			}
			return caseRecord(o, c, strings.TrimSpace(args[0]), f, size)
		},
	}
	f.sheetFlags(c, caseFormats)
	c.AddCommand(caseInCommand(o), caseListCommand(o), caseOffCommand(o), caseDeliverCommand(o), caseStepCommand(o))
	return c
}

// caseFormats are the formats of the record of a case.
const caseFormats = "one of text, html, pdf or jsonl"

// caseRecord writes all that the logbook holds of a case.
func caseRecord(o *options, c *cobra.Command, number string, f shape, size day.PaperSize) error {
	sheet, err := o.sheet(func(book *logbook.Book) (day.Sheet, error) {
		return day.CaseFrom(book, number, book.State().Head.String(), time.Local)
	})
	if err != nil {
		return err
	}
	sheet.Made = sysclock.New().Read().Wall
	return spoiltSheet(sheet.Spoilt, f.deliver(c, func(w io.Writer) error { return sheet.Write(w, f.format, day.Records, size) }))
}

// oneCase takes the number of a case.
func oneCase(c *cobra.Command, args []string) error {
	switch {
	case len(args) == 0:
		return wrongUsage("%s takes the number of the case", c.CommandPath())
	case len(args) > 1:
		return wrongUsage("%s takes one case number, not %d", c.CommandPath(), len(args))
	}
	return nil
}

func caseInCommand(o *options) *cobra.Command {
	var in action.CaseIn
	var size, due, table, why string
	var dry bool
	c := &cobra.Command{
		Use:   "in [NUMBER]",
		Short: "Take a case in, or a table of cases",
		Long: "Takes in one case, or with --csv a table of them: all of its rows or none, each bad line named. The\n" +
			"first line of the table names its columns:\n" +
			"  case       the number, never a name\n" +
			"  base       upper, lower, partial or reline\n" +
			"  size       small, medium or large\n" +
			"  due        as for --due\n" +
			"  rush       yes or no\n" +
			"  resin      its name in the settings\n" +
			"  shade      in your own words\n" +
			"  remake_of  the case number that it replaces\n" +
			"  remark     no names\n" +
			"  route      its name, as for --route\n" +
			"Only case, base, size and due must be there; on a route without a flask the size stays blank.\n" +
			"--dry-run reads the table, says what is wrong, and records nothing.",
		Example: "flaskside case in 4417 --base upper --size medium --due \"today 17:00\" --rush\nflaskside case in --csv monday.csv --dry-run",
		Args: func(c *cobra.Command, args []string) error {
			if c.Flags().Changed("csv") {
				return noArgs(c, args)
			}
			if dry {
				return wrongUsage("--dry-run goes with --csv FILE")
			}
			return oneCase(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			if c.Flags().Changed("csv") {
				return takeTable(o, c, table, why, dry)
			}
			at, err := cases.ParseDue(due, sysclock.New().Read().Wall.Local())
			if err != nil {
				return wrongUsage("--due: %w", err)
			}
			if in.Route == "" || c.Flags().Changed("size") { // what nobody said is not recorded
				in.Size = action.Size(size)
			}
			in.Case, in.Due = strings.TrimSpace(args[0]), at.Format(time.RFC3339)
			return recordCase(o, c, in, why)
		},
	}
	c.Flags().StringVar(&in.Base, "base", "", strings.Join(action.Bases, ", "))
	c.Flags().StringVar(&size, "size", "medium", "small, medium or large; with --route it must be said where the route has a flask")
	c.Flags().StringVar(&due, "due", "", "when it must be ready: "+cases.DueForms)
	c.Flags().BoolVar(&in.Rush, "rush", false, "goes before others that are due at the same time")
	c.Flags().StringVar(&in.Resin, "resin", "", "a resin of the house settings (default: the first)")
	c.Flags().StringVar(&in.Shade, "shade", "", "the shade, in your own words")
	c.Flags().StringVar(&in.RemakeOf, "remake-of", "", "the case number that this one replaces")
	c.Flags().StringVar(&in.Route, "route", "", "how it is made: a route by its name (flaskside routes); its steps are then asked")
	c.Flags().StringVar(&in.Remark, "remark", "", "anything else, but no name of a person")
	c.Flags().StringVar(&table, "csv", "", "take in this table of cases; - for the standard input")
	c.Flags().BoolVar(&dry, "dry-run", false, "with --csv: say what is wrong with the table and record nothing")
	whyFlag(c, &why)
	return c
}

// recordCase records one thing about a case and says so.
func recordCase(o *options, c *cobra.Command, body action.Body, why string) error {
	if err := body.Valid(); err != nil {
		return wrongUsage("%w", err)
	}
	return o.take(c, body, why, action.Teller{}.Tell)
}

// takeTable takes in a table of cases.
func takeTable(o *options, c *cobra.Command, path, why string, dry bool) error {
	from, name := c.InOrStdin(), "the standard input"
	if path != "-" {
		f, err := openPlain(path)
		if err != nil {
			return err
		}
		defer func() { _ = f.Close() }() // only read from
		from, name = f, path
	}
	taken := func(body action.Body) action.Action { return o.act(body, why) }
	return intake.Cases(o.at(), from, name, taken, dry, c.OutOrStdout(), c.ErrOrStderr())
}

// openPlain opens a file to read that is one, and no pipe that never ends.
func openPlain(path string) (*os.File, error) {
	switch fi, err := os.Stat(path); {
	case err != nil:
		return nil, err
	case !fi.Mode().IsRegular():
		return nil, fmt.Errorf("%s is not a plain file", path)
	}
	return os.Open(path)
}

func caseListCommand(o *options) *cobra.Command {
	var f shape
	c := &cobra.Command{
		Use:   "list",
		Short: "List the cases that wait or are at work, by due time",
		Args:  noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := f.one(); err != nil {
				return err
			}
			at := o.at()
			st, err := at.State()
			if err != nil {
				return err
			}
			now := at.Clock.Read().Wall.Local()
			in := func(write func(io.Writer, *bench.Bench, time.Time) error) func(io.Writer) error {
				return func(w io.Writer) error { return write(w, st.Bench, now) }
			}
			return f.write(c, in(cases.JSON), in(cases.Text), in(cases.CSV))
		},
	}
	f.jsonFlag(c)
	f.csvFlag(c, "as CSV, which case in --csv reads back")
	return c
}

// theBase gives the base of a case that is meant.
func theBase(o *options, number, said string) (string, error) {
	var on []bench.Case
	if said == "" {
		if st, err := o.at().State(); err == nil {
			on = st.Bench.Cases()
		}
	}
	return cases.TheBase(on, number, said)
}

func baseFlag(c *cobra.Command, base *string) {
	c.Flags().StringVar(base, "base", "", "which base, where the list has more than one of that number")
}

// deliveredBefore says when a base was delivered, where it was.
func deliveredBefore(at reach.At, number, base string) (string, error) {
	if !at.Made() {
		return "", nil
	}
	return reach.Read(at, func(book *logbook.Book) (string, error) {
		recs, _, err := book.OfCase(number)
		return cases.Twice(recs, number, base, at.Clock.Read().Wall.Local()), err
	})
}

func caseOffCommand(o *options) *cobra.Command {
	var base, reason, why string
	c := &cobra.Command{
		Use:     "off NUMBER",
		Short:   "Take a case off the list that will not be made",
		Example: "flaskside case off 4417 --base upper --reason \"withdrawn by the practice\"",
		Args:    oneCase,
		RunE: func(c *cobra.Command, args []string) error {
			if reason == "" {
				return wrongUsage("say why with --reason")
			}
			b, err := theBase(o, args[0], base)
			if err != nil {
				return err
			}
			return recordCase(o, c, action.CaseOff{Case: args[0], Base: b, Reason: reason}, why)
		},
	}
	baseFlag(c, &base)
	c.Flags().StringVar(&reason, "reason", "", "why it will not be made")
	whyFlag(c, &why)
	return c
}

func caseDeliverCommand(o *options) *cobra.Command {
	var base, why string
	var done []string
	var wetH float64
	c := &cobra.Command{
		Use:   "deliver NUMBER",
		Short: "Record that a base left the house, with its closing list",
		Long: "Records the delivery and what was done of the closing list:\n" + strings.Join(action.Closing, ", ") + ".\n" +
			"What is missing is recorded as missing and stands on the day sheet. The record is neither a release\n" +
			"of the device nor a statement of conformity.",
		Example: "flaskside case deliver 4417 --base upper --done finished,polished --wet-h 24",
		Args:    oneCase,
		RunE: func(c *cobra.Command, args []string) error {
			b, err := theBase(o, args[0], base)
			if err != nil {
				return err
			}
			before, err := deliveredBefore(o.at(), args[0], b)
			if err != nil {
				return err
			}
			if before != "" && why == "" {
				return fmt.Errorf("%s: say --why to record it once more", before)
			}
			for i := range done {
				done[i] = strings.TrimSpace(done[i])
			}
			return recordCase(o, c, action.CaseDelivered{Case: args[0], Base: b, Done: done, WetH: wetH}, why)
		},
	}
	baseFlag(c, &base)
	c.Flags().StringSliceVar(&done, "done", nil, "what was done, of: "+strings.Join(action.Closing, ", "))
	c.Flags().Float64Var(&wetH, "wet-h", 0, "hours that it lay in water")
	whyFlag(c, &why)
	return c
}
