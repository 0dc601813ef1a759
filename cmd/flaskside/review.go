package main

import (
	"context"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/civil"
	"flaskside/logbook/mirror/benches"
	"flaskside/logbook/mirror/shelf"
	"flaskside/logbook/reach"
	"flaskside/logbook/review"
	"flaskside/logbook/tables"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// longestReview bounds the days that are read at once.
const longestReview = 366

// reviewQuestion is what a review is asked for.
type reviewQuestion struct {
	from, to, zone string
	format, table  string
	json           bool
	mirror         string // place of the mirror whose benches are asked; "" for the own one
}

// reviewCommand reviews a month, or another period.
func reviewCommand(o *options) *cobra.Command {
	var q reviewQuestion
	var out string
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
			clock := sysclock.New()
			from, until, err := q.period(clock.Read().Wall)
			if err != nil {
				return err
			}
			if q.mirror != "" {
				return reviewBenches(c.Context(), q, from, until, clock, out, c.OutOrStdout())
			}
			r, err := reviewOf(o.at(), from, until)
			if err != nil {
				return err
			}
			return deliver(out, c.OutOrStdout(), func(w io.Writer) error {
				switch {
				case q.json:
					return tables.JSON(w, r)
				case q.format == "html":
					return r.HTML(w)
				case q.format == "csv":
					return r.CSV(w, review.Table(q.table))
				}
				return r.Text(w)
			})
		},
	}
	mirrorFlag(c, &q.mirror)
	c.Flags().StringVar(&q.from, "from", "", "first day (default: the first of the month of --to)")
	c.Flags().StringVar(&q.to, "to", "", "last day (default: today)")
	c.Flags().StringVar(&q.format, "format", "text", "one of text, html or csv")
	c.Flags().StringVar(&q.table, "table", "figures", "table of the csv format: figures or flasks")
	c.Flags().StringVar(&out, "out", "", "write to this file instead of the standard output")
	c.Flags().StringVar(&q.zone, "zone", "", "time zone whose midnights count (default: that of this machine)")
	c.Flags().BoolVar(&q.json, "json", false, "as JSON, for other programs")
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

// period finds the instants between which a review lies.
func (q reviewQuestion) period(now time.Time) (from, until time.Time, err error) {
	loc := time.Local
	if q.zone != "" {
		if loc, err = time.LoadLocation(q.zone); err != nil {
			return from, until, wrongUsage("--zone %q is not a time zone: give a name as in Europe/Berlin", q.zone)
		}
	}
	last, until, err := date(given(q.to), now, loc)
	if err != nil {
		return from, until, err
	}
	if q.from == "" {
		from, _ = civil.Bounds(last.Year(), last.Month(), 1, loc)
	} else if from, _, err = date(given(q.from), now, loc); err != nil {
		return from, until, err
	}
	switch {
	case !from.Before(until):
		return from, until, wrongUsage("the review would end before it begins: --from %s, --to %s", from.Format(time.DateOnly), last.Format(time.DateOnly))
	case until.After(from.AddDate(0, 0, longestReview)):
		return from, until, wrongUsage("a review spans at most %d days", longestReview)
	}
	return from, until, nil
}

// given is the argument list of a date that may be left out.
func given(word string) []string {
	if word == "" {
		return nil
	}
	return []string{word}
}

// reviewOf reads a period of a logbook.
func reviewOf(at reach.At, from, until time.Time) (review.Review, error) {
	return reach.Read(at, func(book *logbook.Book) (review.Review, error) { return reviewBook(book, from, until) })
}

func reviewBook(book *logbook.Book, from, until time.Time) (review.Review, error) {
	b, err := book.Whole(from, until)
	if err != nil {
		return review.Review{}, err
	}
	r := review.Of(b, from, until, review.Boiling(b, from, until))
	r.Head = book.State().Head.String()
	return r, nil
}

// reviewBenches reads a period of all benches of a mirror.
func reviewBenches(ctx context.Context, q reviewQuestion, from, until time.Time, clock timers.Clock, out string, stdout io.Writer) error {
	all := []review.AtBench{}
	err := benches.Each(ctx, q.mirror, clock, func(k shelf.Kept) error {
		b := review.AtBench{Bench: k.Name(), Book: k.Stream.Book, Lacks: k.Lacks}
		err := k.Err
		if err == nil {
			b.Review, err = reviewBook(k.Book, from, until)
		}
		if err != nil {
			b.Err = oneLine(err)
		}
		all = append(all, b)
		return nil
	})
	if err != nil {
		return err
	}
	distinct(all, func(b *review.AtBench) (*string, string) { return &b.Bench, b.Book })
	unread := 0
	for _, b := range all {
		if b.Err != "" || len(b.Lacks) > 0 {
			unread++
		}
	}
	err = deliver(out, stdout, func(w io.Writer) error {
		switch {
		case q.json:
			return tables.JSON(w, struct {
				Benches  []review.AtBench  `json:"benches"`
				Together []review.Together `json:"together"`
			}{all, review.CompareBenches(all)})
		case q.format == "csv":
			return review.CSVOf(w, all)
		}
		return review.TextOf(w, all)
	})
	return notAllRead(err, unread, len(all))
}
