package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/house"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/places"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// mirrorCommand brings the mirror of a logbook up to date, and looks through it.
func mirrorCommand(o *options) *cobra.Command {
	var to string
	var fresh bool
	c := &cobra.Command{
		Use:   "mirror",
		Short: "Copy every record to another place, and prove that the copy is the same",
		Long: "Brings the mirror up to date, checks all of it, and ends: with 3 if the mirror is not the same as\n" +
			"the logbook. A mirror is begun by naming its place with --to; if the house settings name it\n" +
			"(mirror.to), nothing more is needed. Nothing in a mirror is ever changed or removed. If it holds\n" +
			"another history than the logbook, as after an old copy was put in its place and worked on, or if a\n" +
			"part of it is gone or spoilt, nothing is written until a person says --new-generation: everything\n" +
			"is then copied anew beside what is there.",
		Example: "flaskside mirror --to /media/stick/mirror\nflaskside mirror check\nflaskside mirror --new-generation",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			// Told to end, it ends between two runs.
			ctx, stop := signal.NotifyContext(c.Context(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
			defer stop()
			return withMirror(ctx, o, to, true, func(m *mirroring) error { return m.bring(ctx, fresh, c.OutOrStdout()) })
		},
	}
	c.PersistentFlags().StringVar(&to, "to", "", "where the mirror is (default: mirror.to in the house settings)")
	c.Flags().BoolVar(&fresh, "new-generation", false, "copy the whole logbook anew beside what the mirror holds; only where that is not the same")
	c.AddCommand(&cobra.Command{
		Use:     "check",
		Short:   "Check that every record of the logbook is in the mirror, with its hash",
		Long:    "Compares every record in the mirror with the logbook and says what is not the same. It writes\nnothing. Ends with 3 if the mirror is not the same, and with 1 if it is only behind.",
		Example: "flaskside mirror check\nflaskside mirror check --to /media/stick/mirror",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return withMirror(c.Context(), o, to, false, func(m *mirroring) error {
				cmp, err := m.check(c.Context(), c.OutOrStdout())
				if err == nil && cmp.OnlyBehind() {
					err = fmt.Errorf("the mirror is behind by %s: flaskside mirror brings what is missing", words.Count(int(cmp.Behind), "record", "records"))
				}
				return err
			})
		},
	})
	return c
}

// mirroring is a logbook and its mirror.
type mirroring struct {
	book   *logbook.Book
	house  house.House
	to     string
	place  mirror.Remote
	begun  bool // now, by this command
	clock  timers.Clock
	stream mirror.Stream
}

// withMirror opens a logbook for reading and its mirror. One that is named for the first time
// is begun; one of the settings was begun before, or its disk is not there.
func withMirror(ctx context.Context, o *options, to string, begin bool, f func(m *mirroring) error) error {
	clock := sysclock.New()
	book, done, err := o.at().Undamaged()
	if err != nil {
		return damaged(err)
	}
	defer done()
	m := &mirroring{book: book, house: book.State().Bench.House, to: to, clock: clock}
	if m.to == "" {
		m.to, begin = m.house.Mirror.To, false
	}
	if m.to, err = places.Whole(m.to); err != nil {
		return err
	}
	if m.to == "" {
		return wrongUsage("where is the mirror? name its place with --to, or in the house settings (mirror.to)")
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

// mirrorOptions are those of bringing that the house says.
func mirrorOptions(h house.House, clock timers.Clock) mirror.BringOptions {
	return mirror.BringOptions{Bench: h.MirrorName(), NoNotes: h.Mirror.NoNotes, At: clock.Read().Wall}
}

// bring brings the mirror up to date and proves it.
func (m *mirroring) bring(ctx context.Context, fresh bool, out io.Writer) error {
	opts := mirrorOptions(m.house, m.clock)
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
		return parted(err)
	}
	_, err = m.check(ctx, out)
	return err
}

// parted gives the errors of a mirror that is not the same their exit code.
func parted(err error) error {
	var fork *mirror.Fork
	var older *mirror.Older
	var spoilt *mirror.Spoilt
	if errors.As(err, &fork) || errors.As(err, &older) || errors.As(err, &spoilt) {
		return exitCode{err, faultsFound}
	}
	return damaged(err)
}

// check looks through the newest generation and says what was found.
func (m *mirroring) check(ctx context.Context, out io.Writer) (c mirror.Comparison, err error) {
	n, err := mirror.Newest(ctx, m.place, m.book.ID())
	if err != nil {
		return c, err
	}
	m.stream = mirror.Stream{Book: m.book.ID(), Generation: max(1, n)}
	if c, err = mirror.Compare(ctx, m.place, m.book, m.stream); err != nil {
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
		return c, exitCode{&mirror.Older{Stream: c.Stream, Mirror: mirror.StreamEnd{Seq: c.Ends}, Book: c.Book}, faultsFound}
	}
	if !c.Equal() && !c.OnlyBehind() || len(c.Spoilt) > 0 {
		return c, exitCode{errors.New("the mirror is not the same as the logbook: flaskside mirror --new-generation copies all anew beside what is there"), faultsFound}
	}
	return c, nil
}

// next is the number of a new generation, which a person asked for: only where the last one is
// not as it should be, and not for an older copy, which would hide the newer records.
func (m *mirroring) next(ctx context.Context) (int, error) {
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
		return 0, exitCode{fmt.Errorf("the mirror is ahead: it holds this logbook up to its last record %d and goes on to %d. This is an older copy, and a new generation of it would hide the newer records: flaskside restore --from brings them back", c.Book.Seq, c.Ends), faultsFound}
	}
	return n + 1, nil
}

// namesakes says so where another logbook in the mirror has the name of this bench.
func (m *mirroring) namesakes(ctx context.Context, out io.Writer) error {
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
