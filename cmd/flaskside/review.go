package main

import (
	"io"
	"slices"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/mirror/benches"
	"flaskside/logbook/reach"
	"flaskside/logbook/review"
)

// reviewQuestion is what a review is asked for.
type reviewQuestion struct {
	shape
	from, to, zone string
	table          string
	mirror         string // place of the mirror whose benches are asked; "" for the own one
}

// reviewCommand reviews a month, or another period.
func reviewCommand(o *options) *cobra.Command {
	var q reviewQuestion
	c := &cobra.Command{
		Use:   "review",
		Short: "Sum up a month: closures, dough, times, pin openings, defects, remakes, corrections",
		Long: "Sums up the days from one date to another, both included, and says what each figure rests on:\n" +
			"as text, as one HTML page to print, as a table in CSV (RFC 4180), or as JSON. It does not compare\n" +
			"people. With --mirror it sums up all benches of a mirror, each and together, with what differs\n" +
			"beyond chance. A date is YYYY-MM-DD, today or yesterday. Without --to it ends today, without --from\n" +
			"it begins with the month.",
		Example: "flaskside review\nflaskside review --from 2026-11-01 --to 2026-11-30 --format html --out november.html\nflaskside review --from 2026-11-01 --to 2026-11-30 --format csv --table flasks",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := q.check(c.Flags().Changed); err != nil {
				return err
			}
			at := o.at()
			from, until, err := review.Period(q.from, q.to, q.zone, at.Clock.Read().Wall)
			if err != nil {
				return err
			}
			q.csv = q.format == "csv"
			if q.mirror != "" {
				all, err := benches.Reviews(c.Context(), q.mirror, at.Clock, from, until)
				if err != nil {
					return err
				}
				err = q.write(c, func(w io.Writer) error { return review.JSONOf(w, all) },
					func(w io.Writer) error { return review.TextOf(w, all) }, func(w io.Writer) error { return review.CSVOf(w, all) })
				return notAllRead(err, review.Unread(all), len(all))
			}
			r, err := reach.Read(at, func(book *logbook.Book) (review.Review, error) {
				return review.In(book, book.State().Head.String(), from, until)
			})
			if err != nil {
				return err
			}
			text := r.Text
			if q.format == "html" {
				text = r.HTML
			}
			return q.write(c, r, text, func(w io.Writer) error { return r.CSV(w, review.Table(q.table)) })
		},
	}
	mirrorFlag(c, &q.mirror)
	c.Flags().StringVar(&q.from, "from", "", "first day (default: the first of the month of --to)")
	c.Flags().StringVar(&q.to, "to", "", "last day (default: today)")
	c.Flags().StringVar(&q.format, "format", "text", "one of text, html or csv")
	c.Flags().StringVar(&q.table, "table", "figures", "table of the csv format: figures or flasks")
	q.outFlag(c)
	c.Flags().StringVar(&q.zone, "zone", "", "time zone whose midnights count (default: that of this machine)")
	q.jsonFlag(c)
	return c
}

// check refuses flags that do not go together.
func (q reviewQuestion) check(changed func(string) bool) error {
	switch {
	case !slices.Contains([]string{"text", "html", "csv"}, q.format):
		return wrongUsage("--format is text, html or csv, not %q", q.format)
	case !slices.Contains(review.Tables(), review.Table(q.table)):
		return wrongUsage("--table is figures or flasks, not %q", q.table)
	case changed("table") && q.format != "csv":
		return wrongUsage("--table goes with --format csv")
	case q.mirror != "" && (q.format == "html" || changed("table")):
		return wrongUsage("--mirror goes with --format text or csv, or with --json")
	case q.json && changed("format"):
		return wrongUsage("give --json or --format, not both")
	}
	return nil
}
