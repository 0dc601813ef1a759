package benches

import (
	"context"
	"time"

	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/shelf"
	"flaskside/logbook/review"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Glances tells of all benches of the mirror at a place, a line each.
func Glances(ctx context.Context, at string, clock timers.Clock, now timers.Reading) ([]Glance, error) {
	all := []Glance{}
	err := each(ctx, at, clock, func(k shelf.Kept) error {
		all = append(all, of(k, now))
		return nil
	})
	return all, err
}

// Reviews reviews a period of all benches of the mirror at a place.
func Reviews(ctx context.Context, at string, clock timers.Clock, from, until time.Time) ([]review.AtBench, error) {
	all := []review.AtBench{}
	err := each(ctx, at, clock, func(k shelf.Kept) error {
		b := review.AtBench{Bench: k.Name(), Book: k.Stream.Book, Lacks: k.Lacks}
		err := k.Err
		if err == nil {
			b.Review, err = review.In(k.Book, k.Book.State().Head.String(), from, until)
		}
		b.Err = unread(err)
		all = append(all, b)
		return nil
	})
	distinct(all, func(b *review.AtBench) (*string, string) { return &b.Bench, b.Book })
	return all, err
}

// Recalls tells which flasks of all benches of the mirror at a place had a lot.
func Recalls(ctx context.Context, at string, clock timers.Clock, asked lot.Lot, year int) ([]recall.AtBench, error) {
	all, q := []recall.AtBench{}, recall.Ask(asked, year)
	err := on(ctx, at, clock, func(s shelf.Shelf) error {
		return s.EachNaming(ctx, q.Means, func(k shelf.Kept, seqs []uint64) error {
			b := recall.AtBench{Bench: k.Name(), Book: k.Stream.Book, Lacks: k.Lacks, List: q.None()}
			err := k.Err
			if err == nil && k.Book != nil {
				b.List, err = q.At(k.Book, seqs, time.Local)
			}
			b.Err = unread(err)
			all = append(all, b)
			return nil
		})
	})
	distinct(all, func(b *recall.AtBench) (*string, string) { return &b.Bench, b.Book })
	return all, err
}

// unread is why a bench could not be read, in one line; "" where it was.
func unread(err error) string {
	if err == nil {
		return ""
	}
	return words.Clean(err.Error())
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
