// Package upkeep keeps the mirror of a logbook when a person asks for it, and brings a logbook back
// from one: what was done and what was found is told in lines.
package upkeep

import (
	"context"
	"errors"
	"fmt"
	"io"

	"flaskside/logbook"
	"flaskside/logbook/asked"
	"flaskside/logbook/check"
	"flaskside/logbook/house"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/places"
	"flaskside/logbook/reach"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Upkeep is a logbook and its mirror.
type Upkeep struct {
	book  *logbook.Book
	house house.House
	to    string
	place mirror.Remote
	begun bool // now, by this
	clock timers.Clock
}

// Of opens a logbook for reading and its mirror for f. One whose place, to, is named for the first
// time is begun where begin says so; one of the settings was begun before, or its disk is not
// there.
func Of(ctx context.Context, at reach.At, to string, begin bool, f func(m *Upkeep) error) error {
	book, done, err := at.Undamaged()
	if err != nil {
		return check.Damaged(err)
	}
	defer done()
	m := &Upkeep{book: book, house: book.State().Bench.House, to: to, clock: at.Clock}
	if m.to == "" {
		m.to, begin = m.house.Mirror.To, false
	}
	if m.to, err = places.Whole(m.to); err != nil {
		return err
	}
	if m.to == "" {
		return asked.Wrongly("where is the mirror? name its place with --to, or in the house settings (mirror.to)")
	}
	if begin {
		m.place, m.begun, err = places.Begin(ctx, m.to)
	} else {
		m.place, err = places.Open(ctx, m.to)
	}
	if err != nil {
		return err
	}
	defer func() { _ = m.place.Close() }() // all that was written is synced
	return f(m)
}

// Bring brings the mirror up to date, proves it and says so; fresh copies all anew beside what is
// there.
func (m *Upkeep) Bring(ctx context.Context, fresh bool, out io.Writer) error {
	opts := mirror.BringOptions{Bench: m.house.MirrorName(), NoNotes: m.house.Mirror.NoNotes, At: m.clock.Read().Wall}
	if fresh {
		n, err := m.next(ctx)
		if err != nil {
			return err
		}
		opts.Generation = n
	}
	if m.begun {
		fmt.Fprintf(out, "a mirror is begun at %s\n", words.Clean(m.to))
	}
	if err := m.namesakes(ctx, out); err != nil {
		return err
	}
	d, err := mirror.Bring(ctx, m.place, m.book, opts)
	if n := d.End.Seq - min(d.Was.Seq, d.End.Seq); n > 0 {
		fmt.Fprintf(out, "%s brought\n", words.Count(int(n), "record", "records"))
	}
	if ctx.Err() != nil {
		return fmt.Errorf("mirror: stopped before all was brought; the mirror ends with record %d", d.End.Seq)
	}
	if err != nil {
		if mirror.Mendable(err) {
			return check.Unsound{Err: err}
		}
		return check.Damaged(err)
	}
	_, err = m.look(ctx, out)
	return err
}

// Check looks through the mirror and says what was found; one that is only behind is an error, too.
func (m *Upkeep) Check(ctx context.Context, out io.Writer) error {
	c, err := m.look(ctx, out)
	if err == nil && c.OnlyBehind() {
		err = fmt.Errorf("the mirror is behind by %s: flaskside mirror brings what is missing", words.Count(int(c.Behind), "record", "records"))
	}
	return err
}

// look looks through the newest generation and says what was found.
func (m *Upkeep) look(ctx context.Context, out io.Writer) (c mirror.Comparison, err error) {
	n, err := mirror.Newest(ctx, m.place, m.book.ID())
	if err != nil {
		return c, err
	}
	if c, err = mirror.Compare(ctx, m.place, m.book, mirror.Stream{Book: m.book.ID(), Generation: max(1, n)}); err != nil {
		return c, err
	}
	gen := ""
	if n > 1 {
		gen = fmt.Sprintf(", generation %d; those before stay as they are", n)
	}
	fmt.Fprintf(out, "mirror   %s%s\n", words.Clean(m.to), gen)
	for _, l := range c.Lines() {
		fmt.Fprintf(out, "         %s\n", words.Clean(l))
	}
	if c.Ahead() {
		return c, check.Unsound{Err: &mirror.Older{Stream: c.Stream, Mirror: mirror.StreamEnd{Seq: c.Ends}, Book: c.Book}}
	}
	if !c.Equal() && !c.OnlyBehind() || len(c.Spoilt) > 0 {
		return c, check.Unsoundly("the mirror is not the same as the logbook: flaskside mirror --new-generation copies all anew beside what is there")
	}
	return c, nil
}

// next is the number of a new generation, which a person asked for: only where the last one is
// not as it should be, and not for an older copy, which would hide the newer records.
func (m *Upkeep) next(ctx context.Context) (int, error) {
	n, err := mirror.Newest(ctx, m.place, m.book.ID())
	if err != nil || n == 0 {
		return 1, err
	}
	c, err := mirror.Compare(ctx, m.place, m.book, mirror.Stream{Book: m.book.ID(), Generation: n})
	switch {
	case err != nil:
		return 0, err
	case len(c.Spoilt) == 0 && (c.Equal() || c.OnlyBehind()):
		return 0, errors.New("the mirror holds the history of this logbook: flaskside mirror goes on with it, and no new generation is needed")
	case c.Alike == c.Book.Seq && c.Beyond > 0:
		return 0, check.Unsoundly("the mirror is ahead: it holds this logbook up to its last record %d and goes on to %d. This is an older copy, and a new generation of it would hide the newer records: flaskside restore --from brings them back", c.Book.Seq, c.Ends)
	}
	return n + 1, nil
}

// namesakes says so where another logbook in the mirror has the name of this bench.
func (m *Upkeep) namesakes(ctx context.Context, out io.Writer) error {
	name := m.house.MirrorName()
	if name == "" {
		return nil
	}
	all, err := mirror.Hear(ctx, m.place)
	if err != nil {
		return err
	}
	for _, h := range mirror.Named(all, name) {
		if h.Stream.Book == m.book.ID() || h.Header.Bench != name {
			continue
		}
		fmt.Fprintf(out, "another logbook in this mirror, %s, is called %s, too: last heard of %s\n", mirror.Short(h.Stream.Book), words.Clean(name), h.Header.At.Local().Format("Mon 2 Jan 2006 15:04"))
	}
	return nil
}
