package main

import (
	"errors"
	"io"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook/check"
	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/benches"
	"flaskside/logbook/mirror/shelf"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
)

// mirrorFlag is the flag of the commands that can ask all benches of a mirror.
func mirrorFlag(c *cobra.Command, at *string) {
	c.Flags().StringVar(at, "mirror", "", "ask every bench in the mirror at this place")
}

// benchesCommand tells of all benches of a mirror.
func benchesCommand() *cobra.Command {
	var at string
	var asJSON bool
	c := &cobra.Command{
		Use:   "benches --mirror PLACE",
		Short: "List the benches of a mirror: flasks at work, what is due next, alarms, when last heard from",
		Long: "Tells how each bench stood when it was last heard from, with its timers worked out for now. What a\n" +
			"bench has done since and not yet brought to the mirror is not known here. Ends with 3 if a bench\n" +
			"could not be read, or only in part.",
		Example: "flaskside benches --mirror /media/share/mirror\nflaskside benches --mirror /media/share/mirror --json",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			clock := sysclock.New()
			now := clock.Read()
			all := []benches.Glance{}
			err := benches.Each(c.Context(), at, clock, func(k shelf.Kept) error {
				all = append(all, benches.Of(k, now))
				return nil
			})
			if err != nil {
				return err
			}
			err = deliver("", c.OutOrStdout(), func(w io.Writer) error {
				if asJSON {
					return benches.JSON(w, all, now.Wall)
				}
				return benches.Text(w, all, now.Wall)
			})
			return notAllRead(err, benches.Unread(all), len(all))
		},
	}
	mirrorFlag(c, &at)
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, for other programs")
	return c
}

// notAllRead is the end of a command that could not read all benches.
func notAllRead(err error, unread, of int) error {
	if err != nil || unread == 0 {
		return err
	}
	return check.Unsoundly("%d of %s could not be read whole: what is told is not all", unread, words.Count(of, "bench", "benches"))
}

// listLotOf writes which flasks of all benches of a mirror had a lot.
func listLotOf(c *cobra.Command, at, text string, year int, f shape) error {
	asked, err := askedLot(text, year)
	if err != nil {
		return err
	}
	all, q := []recall.AtBench{}, recall.Ask(asked, year)
	err = benches.On(c.Context(), at, sysclock.New(), func(s shelf.Shelf) error {
		return s.EachNaming(c.Context(), q.Means, func(k shelf.Kept, seqs []uint64) error {
			b := recall.AtBench{Bench: k.Name(), Book: k.Stream.Book, Lacks: k.Lacks, List: q.None()}
			err := k.Err
			if err == nil && k.Book != nil {
				b.List, err = q.At(k.Book, seqs, time.Local)
			}
			if err != nil {
				b.Err = oneLine(err)
			}
			all = append(all, b)
			return nil
		})
	})
	if err != nil {
		return err
	}
	distinct(all, func(b *recall.AtBench) (*string, string) { return &b.Bench, b.Book })
	err = f.write(c, func(w io.Writer) error { return recall.JSONOf(w, asked, all) },
		func(w io.Writer) error { return recall.TextOf(w, asked, all) }, func(w io.Writer) error { return recall.CSVOf(w, all) })
	return notAllRead(err, recall.Unread(all), len(all))
}

// distinct tells benches of one name apart; of gives the name of one and its logbook.
func distinct[T any](all []T, of func(*T) (name *string, book string)) {
	named := map[string]int{}
	for i := range all {
		name, _ := of(&all[i])
		named[*name]++
	}
	for i := range all {
		if name, book := of(&all[i]); named[*name] > 1 {
			*name += " (" + mirror.Short(book) + ")"
		}
	}
}

// askedLot reads the lot that is asked for.
func askedLot(text string, year int) (lot.Lot, error) {
	asked, err := lot.Parse(text, year)
	if err == nil && asked.Name() == "" {
		err = errors.New("this code names a product and no lot: give --which the lot, too")
	}
	return asked, err
}
