package main

import (
	"io"
	"slices"
	"strings"
	"time"

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
	shape
	table, zone, at, sign string
	flask                 int
}

// check refuses flags that do not go together, and reads the paper.
func (f *dayFlags) check(c *cobra.Command) (size day.PaperSize, err error) {
	changed := c.Flags().Changed
	switch {
	case !slices.Contains(day.Formats, f.format):
		return "", wrongUsage("--format is %s, not %q", formatWords, f.format)
	case !slices.Contains(day.Tables, day.Table(f.table)):
		return "", wrongUsage("--table is records, closures, flasks, alarms, equipment or steps, not %q", f.table)
	case changed("table") && f.format != "csv":
		return "", wrongUsage("--table goes with --format csv")
	}
	if size, err = f.onPaper(c); err == nil && (f.format == "pdf" || f.format == "xlsx") {
		err = f.offScreen(c, "--format "+f.format)
	}
	if err == nil && changed("sign-off") && (changed("at") || changed("flask") || strings.TrimSpace(f.sign) == "") {
		err = wrongUsage("--sign-off takes the initials of whoever signs, and neither --at nor --flask: what is signed off is a day as it is known now")
	}
	return size, err
}

// sheet reads a sheet of the logbook, with what of it is not as it was written.
func (o *options) sheet(gather func(book *logbook.Book) (day.Sheet, error)) (day.Sheet, error) {
	return reach.Read(o.at(), func(book *logbook.Book) (day.Sheet, error) {
		s, err := gather(book)
		if err == nil {
			s.Spoilt, err = check.NotAsWritten(book.Path(), s.Bench.Items)
		}
		return s, err
	})
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
			size, err := f.check(c)
			if err != nil {
				return err
			}
			loc, err := civil.TypedZone(f.zone)
			if err != nil {
				return err
			}
			if c.Flags().Changed("flask") {
				return trail(o, c, args, f, loc)
			}
			clock := sysclock.New()
			known, now, err := civil.TypedPast(f.at, clock.Read().Wall)
			if err != nil {
				return err
			}
			from, until, err := civil.Typed(append(args, "today")[0], now, loc)
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
			sheet, err := o.sheet(func(book *logbook.Book) (day.Sheet, error) {
				b, err := day.Gather(book, from, until)
				return day.Sheet{Bench: b, Head: book.State().Head.String(), From: from, Until: until, Made: clock.Read().Wall}, err
			})
			if err != nil {
				return err
			}
			if known {
				sheet.Known, sheet.Bench = now, day.Known(sheet.Bench, now)
			}
			return spoiltSheet(sheet.Spoilt, f.deliver(c, func(w io.Writer) error { return sheet.Write(w, f.format, day.Table(f.table), size) }))
		},
	}
	f.sheetFlags(c, formatWords)
	c.Flags().StringVar(&f.table, "table", "records", "table of the csv format: records, closures, flasks, alarms, equipment or steps")
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
	sheet, err := o.sheet(func(book *logbook.Book) (day.Sheet, error) {
		return day.TrailFrom(book, f.flask, book.State().Head.String(), loc)
	})
	if err != nil {
		return err
	}
	return spoiltSheet(sheet.Spoilt, f.deliver(c, func(w io.Writer) error {
		if f.format == "text" {
			return sheet.Trail(w, f.flask)
		}
		return sheet.Write(w, f.format, day.Records, "")
	}))
}

// formatWords are the formats of a day.
const formatWords = "one of text, html, pdf, csv, xlsx, ics or jsonl"

// atFlag adds the flag that read-only commands share.
func atFlag(c *cobra.Command, at *string) {
	c.Flags().StringVar(at, "at", "", "as of this time (RFC 3339, as in 2026-11-25T14:07:32+01:00)")
}
