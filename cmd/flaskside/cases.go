package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/cases"
	"flaskside/logbook/check"
	"flaskside/logbook/day"
	"flaskside/logbook/reach"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
	"flaskside/timers"
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
	clock := sysclock.New()
	sheet, err := reach.Read(o.at(), func(book *logbook.Book) (day.Sheet, error) {
		sheet, err := day.CaseFrom(book, number, book.State().Head.String(), time.Local)
		if err == nil {
			sheet.Made = clock.Read().Wall
			sheet.Spoilt, err = check.NotAsWritten(book.Path(), sheet.Bench.Items)
		}
		return sheet, err
	})
	if err != nil {
		return err
	}
	return spoiltSheet(sheet.Spoilt, f.deliver(c, func(w io.Writer) error {
		switch f.format {
		case "html":
			return sheet.HTML(w)
		case "pdf":
			return sheet.PDF(w, size)
		case "jsonl":
			return sheet.JSONL(w)
		}
		return sheet.Text(w)
	}))
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
	var base, size, due, resin, shade, remakeOf, remark, way, table, why string
	var rush, dry bool
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
			clock := sysclock.New()
			if c.Flags().Changed("csv") {
				return takeTable(o, c, clock, table, why, dry)
			}
			at, err := cases.ParseDue(due, clock.Read().Wall.Local())
			if err != nil {
				return wrongUsage("--due: %w", err)
			}
			if way != "" && !c.Flags().Changed("size") {
				size = "" // what nobody said is not recorded
			}
			in := action.CaseIn{Case: strings.TrimSpace(args[0]), Base: base, Size: action.Size(size), Due: at.Format(time.RFC3339), Rush: rush, Resin: resin, Shade: shade, RemakeOf: remakeOf, Remark: remark, Route: way}
			return recordCase(o, c, in, why)
		},
	}
	c.Flags().StringVar(&base, "base", "", strings.Join(action.Bases, ", "))
	c.Flags().StringVar(&size, "size", "medium", "small, medium or large; with --route it must be said where the route has a flask")
	c.Flags().StringVar(&due, "due", "", "when it must be ready: "+cases.DueForms)
	c.Flags().BoolVar(&rush, "rush", false, "goes before others that are due at the same time")
	c.Flags().StringVar(&resin, "resin", "", "a resin of the house settings (default: the first)")
	c.Flags().StringVar(&shade, "shade", "", "the shade, in your own words")
	c.Flags().StringVar(&remakeOf, "remake-of", "", "the case number that this one replaces")
	c.Flags().StringVar(&way, "route", "", "how it is made: a route by its name (flaskside routes); its steps are then asked")
	c.Flags().StringVar(&remark, "remark", "", "anything else, but no name of a person")
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
	r, err := o.recordOne(body, why)
	if err != nil {
		return byWhy(err)
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s; record %d\n", (action.Teller{}).Tell(r.Action.Body), r.Seq)
	return err
}

// takeTable takes in a table of cases.
func takeTable(o *options, c *cobra.Command, clock timers.Clock, path, why string, dry bool) error {
	var from io.Reader = c.InOrStdin()
	if path != "-" {
		f, err := openPlain(path)
		if err != nil {
			return err
		}
		defer func() { _ = f.Close() }() // only read from
		from = f
	}
	if path == "-" {
		path = "the standard input"
	}
	lines, err := cases.ReadCSV(from, clock.Read().Wall.Local())
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	if len(lines) == 0 {
		return fmt.Errorf("%s: the table names no case", path)
	}
	b := bench.Fold(nil, bench.Counters{})
	if _, err := os.Stat(o.book); !errors.Is(err, fs.ErrNotExist) { // else it is made with them
		st, err := o.at().State()
		if err != nil {
			return err
		}
		b = st.Bench
	}
	bad, bodies := 0, make([]action.Body, 0, len(lines))
	for _, l := range lines {
		err := l.Err
		if err == nil { // each as after those before it
			a, read := action.Action{ID: newID(), At: clock.Read().Wall, By: o.by, Body: l.Case, Why: why}, clock.Read()
			stamp := timers.StampAt(a.At, read)
			if a, err = b.Check(a, stamp, timers.Now{Reading: read}); err == nil {
				b = b.Extend(record.Record{Seq: b.Top.Seq + 1, Stamp: stamp, Action: a})
			}
		}
		if err != nil {
			bad++
			fmt.Fprintf(c.ErrOrStderr(), "line %d: %s\n", l.No, oneLine(byWhy(err)))
		}
		bodies = append(bodies, l.Case)
	}
	switch {
	case bad > 0:
		return fmt.Errorf("%d of %s cannot be taken in: nothing was recorded", bad, words.Count(len(lines), "line", "lines"))
	case dry:
		if err := rehearsed(o, clock, lines, bodies, why); err != nil {
			return err
		}
		_, err := fmt.Fprintf(c.OutOrStdout(), "%s can be taken in; nothing was recorded\n", words.Count(len(lines), "case", "cases"))
		return err
	}
	answers, err := o.recordSeveral(bodies, why)
	var one *logbook.BadLine
	if errors.As(err, &one) {
		return fmt.Errorf("line %d: %w: nothing was recorded", lines[one.Index].No, byWhy(one.Err))
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s taken in; records %d to %d\n", words.Count(len(answers), "case", "cases"), answers[0].Record.Seq, answers[len(answers)-1].Record.Seq)
	return err
}

// rehearsed offers a table to the logbook, which knows of flasks that the bench has let go of.
func rehearsed(o *options, clock timers.Clock, lines []cases.Parsed, bodies []action.Body, why string) error {
	if _, err := os.Stat(o.book); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	as := make([]action.Action, len(bodies))
	for i, body := range bodies {
		as[i] = action.Action{ID: newID(), At: clock.Read().Wall, By: o.by, Body: body, Why: why}
	}
	_, err := reach.Read(o.at(), func(book *logbook.Book) (bool, error) { return true, book.Rehearse(as) })
	var one *logbook.BadLine
	if errors.As(err, &one) {
		return fmt.Errorf("line %d: %w: nothing was recorded", lines[one.Index].No, byWhy(one.Err))
	}
	return err
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

// theBase fills in the base of a case where the list has one of that number alone.
func theBase(o *options, number, base string) (string, error) {
	if base != "" {
		if !slices.Contains(action.Bases, base) {
			return "", wrongUsage("--base is one of %s", strings.Join(action.Bases, ", "))
		}
		return base, nil
	}
	var on []string
	if st, err := o.at().State(); err == nil {
		for _, k := range st.Bench.Cases() {
			if k.Case == number {
				on = append(on, k.Base)
			}
		}
	}
	if len(on) != 1 {
		return "", wrongUsage("say which base with --base: %s", strings.Join(action.Bases, ", "))
	}
	return on[0], nil
}

// deliveredBefore tells when a base was delivered, where it was.
func deliveredBefore(o *options, number, base string) (at time.Time, ok bool, err error) {
	if _, err := os.Stat(o.book); errors.Is(err, fs.ErrNotExist) {
		return at, false, nil
	}
	recs, err := reach.Read(o.at(), func(book *logbook.Book) ([]record.Record, error) {
		recs, _, err := book.OfCase(number)
		return recs, err
	})
	at, ok = cases.Delivered(recs, number, base)
	return at, ok, err
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
	c.Flags().StringVar(&base, "base", "", "which base, where the list has more than one of that number")
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
		Example: "flaskside case deliver 4417 --base upper --done finished,polished,disinfected --wet-h 24",
		Args:    oneCase,
		RunE: func(c *cobra.Command, args []string) error {
			clock := sysclock.New()
			b, err := theBase(o, args[0], base)
			if err != nil {
				return err
			}
			if at, twice, err := deliveredBefore(o, args[0], b); err != nil {
				return err
			} else if twice && why == "" {
				return fmt.Errorf("case %s %s was delivered already, %s: say --why to record it once more", args[0], b, words.Instant(at.Local(), clock.Read().Wall.Local()))
			}
			for i := range done {
				done[i] = strings.TrimSpace(done[i])
			}
			return recordCase(o, c, action.CaseDelivered{Case: args[0], Base: b, Done: done, WetH: wetH}, why)
		},
	}
	c.Flags().StringVar(&base, "base", "", "which base, where the list has more than one of that number")
	c.Flags().StringSliceVar(&done, "done", nil, "what was done, of: "+strings.Join(action.Closing, ", "))
	c.Flags().Float64Var(&wetH, "wet-h", 0, "hours that it lay in water")
	whyFlag(c, &why)
	return c
}
