package mirror

import (
	"context"
	"errors"
	"fmt"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// Source is what is mirrored: a logbook that only grows.
type Source interface {
	ID() string
	State() logbook.Snapshot
	Each(from uint64, f func(r record.Record) (more bool, err error)) error
}

// BringOptions say how a mirror is brought up to date.
type BringOptions struct {
	Bench      string    // what the house calls the bench
	NoNotes    bool      // notes stay in the house
	Generation int       // 0 for the newest
	At         time.Time // wall clock
	// Tell, where it is not nil, is called after each run that is synced there.
	Tell func(StreamEnd)
}

// Done is what became of it.
type Done struct {
	Stream Stream
	Was    StreamEnd // where the mirror ended before
	End    StreamEnd // and ends now: all up to it is synced there
	Runs   int
}

// Newest gives the newest generation of a book in a place, 0 where it has none.
func Newest(ctx context.Context, p Remote, book string) (int, error) {
	all, err := p.Streams(ctx)
	if err != nil {
		return 0, err
	}
	n := 0
	for _, s := range all {
		if s.Book == book {
			n = max(n, s.Generation)
		}
	}
	return n, nil
}

// looks is how often the end is looked for anew where others write to the same stream.
const looks = 8

// Bring brings a mirror up to date with a book. Where the mirror ends is asked, never
// remembered: only its own last record says from where to go on. The error is [Fork] where it
// holds another history and [Older] where it holds more; nothing is written then.
func Bring(ctx context.Context, p Remote, b Source, o BringOptions) (Done, error) {
	d := Done{Stream: Stream{b.ID(), o.Generation}}
	if !IsBook(b.ID()) {
		return d, errNoBook
	}
	if o.Generation == 0 {
		n, err := Newest(ctx, p, b.ID())
		if err != nil {
			return d, err
		}
		d.Stream.Generation = max(1, n)
	}
	for i := range looks {
		if err := pause(ctx, i); err != nil {
			return d, err
		}
		end, err := p.Last(ctx, d.Stream)
		if err != nil {
			return d, err
		}
		if d.End = end; i == 0 {
			d.Was = end
		}
		if err := follows(ctx, p, b, d.Stream, end); err != nil {
			return d, err
		}
		err = d.goOn(ctx, p, b, o)
		if !errors.Is(err, ErrMoved) {
			return d, err
		}
	}
	return d, fmt.Errorf("%w, %d times: does another program write the same logbook there?", ErrMoved, looks)
}

// pause waits before a further look: servers refuse a run from the moment on at which another
// is on its way, and show that one only when it is there.
func pause(ctx context.Context, look int) error {
	if look == 0 {
		return ctx.Err()
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(time.Duration(look*look) * 10 * time.Millisecond): // 1.4 s in all
		return nil
	}
}

// goOn adds what the book has beyond the end.
func (d *Done) goOn(ctx context.Context, p Remote, b Source, o BringOptions) error {
	for {
		head := b.State().Head
		if d.End.Seq >= head.Seq {
			return nil
		}
		run, err := d.next(ctx, b, head, o)
		if err != nil {
			return err
		}
		if err := p.Append(ctx, d.Stream, d.End, run); err != nil {
			return err
		}
		d.Runs++
		if d.End, err = p.Last(ctx, d.Stream); err != nil {
			return err
		}
		if d.End.Seq < run.Header.Last {
			return fmt.Errorf("the mirror took records up to %d and shows only those up to %d", run.Header.Last, d.End.Seq)
		}
		if got := d.End; got.Seq > run.Header.Last || got.Hash != run.Header.Hash {
			return ErrMoved // somebody went on after it
		}
		if o.Tell != nil {
			o.Tell(d.End)
		}
	}
}

// next cuts the run that follows on the end.
func (d *Done) next(ctx context.Context, b Source, head layout.Head, o BringOptions) (Run, error) {
	c := cutter{header: Header{Book: d.Stream.Book, Generation: d.Stream.Generation, Bench: o.Bench, Head: head.Seq, At: o.At}}
	if o.NoNotes {
		c.private = private
	}
	want, prev := d.End.Seq+1, d.End.Hash
	if d.End.Seq == 0 {
		prev = record.Genesis(b.ID())
	}
	err := b.Each(want, func(r record.Record) (bool, error) {
		if r.Seq != want || r.Prev != prev {
			return false, fmt.Errorf("record %d of the logbook is missing or was changed, and the mirror takes none after it: see flaskside verify", want)
		}
		if r.Seq > head.Seq || c.take(r) {
			return false, nil
		}
		want, prev = want+1, r.Hash()
		return ctx.Err() == nil, ctx.Err()
	})
	switch {
	case ctx.Err() != nil:
		return Run{}, ctx.Err()
	case err != nil && len(c.entries) == 0:
		return Run{}, err
	case len(c.entries) == 0:
		return Run{}, fmt.Errorf("record %d of the logbook is missing: see flaskside verify", want)
	}
	return c.run(), nil // those before a fault are right, and the fault comes with the next run
}

// follows tells whether the book holds the end of a stream: nil where it does.
func follows(ctx context.Context, p Remote, b Source, s Stream, end StreamEnd) error {
	if end.Seq == 0 {
		return nil
	}
	head := b.State().Head
	if end.Seq <= head.Seq {
		h, err := hashAt(b, end.Seq)
		if err != nil {
			return err
		}
		if h == end.Hash {
			return nil
		}
	}
	common, err := alike(ctx, p, b, s, head)
	if err != nil {
		return err
	}
	if end.Seq > head.Seq && common == head.Seq {
		return &Older{s, end, head}
	}
	return &Fork{s, end, head, common}
}

// hashAt gives the hash of one record of a book.
func hashAt(b Source, seq uint64) (h record.Hash, err error) {
	found := false
	err = b.Each(seq, func(r record.Record) (bool, error) {
		if found = r.Seq == seq; found {
			h = r.Hash()
		}
		return false, nil
	})
	if err == nil && !found {
		err = fmt.Errorf("record %d of the logbook is missing: see flaskside verify", seq)
	}
	return h, err
}

// alike finds the last record of the book such that it and all before it stand in a stream.
func alike(ctx context.Context, p Remote, b Source, s Stream, head layout.Head) (uint64, error) {
	c, err := Compare(ctx, p, b, s)
	if err != nil {
		return 0, err
	}
	return min(c.Alike, head.Seq), nil
}
