package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/civil"
	"flaskside/logbook/day"
	"flaskside/logbook/reach"
	"flaskside/timers/sysclock"
)

// dayFlags are what is asked of a day.
type dayFlags struct {
	format, table, paper, out, zone, at, sign string
	flask                                     int
}

// check refuses flags that do not go together, and reads the zone and the paper.
func (f *dayFlags) check(c *cobra.Command) (loc *time.Location, size day.PaperSize, err error) {
	switch terminal, ok := c.OutOrStdout().(*os.File); {
	case !slices.Contains(day.Formats, f.format):
		return nil, "", wrongUsage("--format is %s, not %q", formatWords, f.format)
	case !slices.Contains(day.Tables, day.Table(f.table)):
		return nil, "", wrongUsage("--table is records, closures, flasks, alarms, equipment or steps, not %q", f.table)
	case c.Flags().Changed("table") && f.format != "csv":
		return nil, "", wrongUsage("--table goes with --format csv")
	default:
		if size, err = day.ParseSize(f.paper); err != nil {
			return nil, "", wrongUsage("--paper: %w", err)
		}
		if c.Flags().Changed("paper") && f.format != "pdf" {
			return nil, "", wrongUsage("--paper goes with --format pdf")
		}
		if ok && f.out == "" && (f.format == "pdf" || f.format == "xlsx") && term.IsTerminal(terminal.Fd()) {
			return nil, "", wrongUsage("--format %s cannot be shown on a screen: name a file with --out", f.format)
		}
	}
	if c.Flags().Changed("sign-off") && (c.Flags().Changed("at") || c.Flags().Changed("flask") || strings.TrimSpace(f.sign) == "") {
		return nil, "", wrongUsage("--sign-off takes the initials of whoever signs, and neither --at nor --flask: what is signed off is a day as it is known now")
	}
	if f.zone == "" {
		return time.Local, size, nil
	}
	if loc, err = time.LoadLocation(f.zone); err != nil {
		return nil, "", wrongUsage("--zone %q is not a time zone: give a name as in Europe/Berlin", f.zone)
	}
	return loc, size, nil
}

// dayCommand exports a day.
func dayCommand(o *options) *cobra.Command {
	var f dayFlags
	c := &cobra.Command{
		Use:   "day [DATE]",
		Short: "Write the day sheet, from midnight to midnight",
		Long: "Writes the day sheet of a date (today without one):\n" +
			"  text   to read here\n" +
			"  html   one file to print and sign, on A4 or Letter\n" +
			"  pdf    the same, on the --paper named\n" +
			"  csv    a table (RFC 4180)\n" +
			"  xlsx   all tables as a workbook\n" +
			"  ics    the cures and coolings to come, with alarms (RFC 5545)\n" +
			"  jsonl  the records, which `flaskside record` reads into an empty book to the same bench\n" +
			"DATE is YYYY-MM-DD, today or yesterday. --sign-off KT first records that KT signs the day off:\n" +
			"the sheet says so from then on, with all that was entered or changed since.",
		Example: "flaskside day\nflaskside day yesterday --format html --out sheet.html\nflaskside day 2026-11-25 --format csv --table closures --out closures.csv\nflaskside day yesterday --sign-off KT\nflaskside day --format ics --out tonight.ics",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return wrongUsage("%s takes one date, not %d", c.CommandPath(), len(args))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			loc, size, err := f.check(c)
			if err != nil {
				return err
			}
			clock := sysclock.New()
			if c.Flags().Changed("flask") {
				return trail(o, c, args, f, loc)
			}
			known, now, err := asOf(f.at, clock.Read().Wall)
			if err != nil {
				return err
			}
			from, until, err := date(args, now, loc)
			if err != nil {
				return err
			}
			if f.sign != "" {
				by := *o
				by.by = strings.TrimSpace(f.sign)
				if _, err := by.recordOne(action.SignOffOf(from, until), ""); err != nil {
					return check.Damaged(err)
				}
			}
			sheet, err := reach.Read(o.at(), func(book *logbook.Book) (day.Sheet, error) {
				b, err := day.Gather(book, from, until)
				if err != nil {
					return day.Sheet{}, err
				}
				spoilt, err := check.NotAsWritten(book.Path(), b.Items)
				return day.Sheet{Bench: b, Head: book.State().Head.String(), From: from, Until: until, Made: clock.Read().Wall, Spoilt: spoilt}, err
			})
			if err != nil {
				return err
			}
			if known {
				sheet.Known, sheet.Bench = now, day.Known(sheet.Bench, now)
			}
			return spoiltSheet(sheet.Spoilt, deliver(f.out, c.OutOrStdout(), func(w io.Writer) error {
				return sheet.Write(w, f.format, day.Table(f.table), size)
			}))
		},
	}
	c.Flags().StringVar(&f.format, "format", "text", formatWords)
	c.Flags().StringVar(&f.table, "table", "records", "table of the csv format: records, closures, flasks, alarms, equipment or steps")
	c.Flags().StringVar(&f.paper, "paper", "a4", "paper of the pdf format: a4 or letter")
	c.Flags().StringVar(&f.out, "out", "", "write to this file instead of the standard output")
	c.Flags().StringVar(&f.zone, "zone", "", "time zone whose midnights count (default: that of this machine)")
	c.Flags().StringVar(&f.sign, "sign-off", "", "record that this person, by their initials, checked the sheet and signs it off")
	c.Flags().IntVar(&f.flask, "flask", 0, "the audit trail of this flask instead of a day: text, csv or jsonl")
	atFlag(c, &f.at)
	return c
}

// trail writes the audit trail of one flask.
func trail(o *options, c *cobra.Command, args []string, f dayFlags, loc *time.Location) error {
	switch {
	case len(args) > 0:
		return wrongUsage("--flask takes no date: it is the flask's whole life")
	case f.flask < 1:
		return wrongUsage("--flask is the number of a flask, from 1")
	case !slices.Contains([]string{"text", "csv", "jsonl"}, f.format):
		return wrongUsage("--flask goes with --format text, csv or jsonl")
	}
	sheet, err := reach.Read(o.at(), func(book *logbook.Book) (day.Sheet, error) {
		sheet, err := day.TrailFrom(book, f.flask, book.State().Head.String(), loc)
		if err == nil {
			sheet.Spoilt, err = check.NotAsWritten(book.Path(), sheet.Bench.Items)
		}
		return sheet, err
	})
	if err != nil {
		return err
	}
	return spoiltSheet(sheet.Spoilt, deliver(f.out, c.OutOrStdout(), func(w io.Writer) error {
		if f.format == "text" {
			return sheet.Trail(w, f.flask)
		}
		return sheet.Write(w, f.format, day.Records, "")
	}))
}

// formatWords are the formats of a day.
const formatWords = "one of text, html, pdf, csv, xlsx, ics or jsonl"

// date finds the bounds of the day asked for, the one that holds now without an
// argument.
func date(args []string, now time.Time, loc *time.Location) (from, until time.Time, err error) {
	word := "today"
	if len(args) > 0 {
		word = args[0]
	}
	switch word {
	case "today":
		from, until = civil.OfInstant(now, loc)
		return from, until, nil
	case "yesterday":
		today, _ := civil.OfInstant(now, loc)
		from, until = civil.OfInstant(today.Add(-1), loc)
		return from, until, nil
	}
	d, err := time.Parse(time.DateOnly, word)
	if err != nil || d.Year() < 1990 || d.Year() > 2200 {
		return from, until, wrongUsage("%q is not a date: write it as 2026-11-25, or today, or yesterday", strings.TrimSpace(word))
	}
	from, until = civil.Bounds(d.Year(), d.Month(), d.Day(), loc)
	if from.Equal(until) {
		return from, until, fmt.Errorf("there was no %s in %s: its clocks left that date out", word, loc)
	}
	return from, until, nil
}

// atFlag adds the flag that read-only commands share.
func atFlag(c *cobra.Command, at *string) {
	c.Flags().StringVar(at, "at", "", "as of this time (RFC 3339, as in 2026-11-25T14:07:32+01:00)")
}

// asOf reads that flag: whether it was given, and the moment meant.
func asOf(at string, now time.Time) (given bool, then time.Time, err error) {
	if at == "" {
		return false, now, nil
	}
	then, err = time.Parse(time.RFC3339, at)
	if err != nil {
		return false, now, wrongUsage("--at %q is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)", at)
	}
	if then.After(now) {
		return false, now, fmt.Errorf("--at %s is in the future: the logbook knows only what was done", at)
	}
	return true, then, nil
}
