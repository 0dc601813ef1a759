package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"flaskside/logbook/disk"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/places"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// fromMirror is what brings a logbook back from a mirror.
type fromMirror struct {
	from, bench string
	generation  int
	records     string // a file for what is there, instead of a logbook
}

// restore makes a logbook of what a mirror holds and puts it in the place of the one at path.
func (q fromMirror) restore(ctx context.Context, path string, discard bool, by string, clock timers.Clock, out io.Writer) error {
	from, err := places.Whole(q.from)
	if err != nil {
		return err
	}
	p, err := places.Open(ctx, from)
	if err != nil {
		return err
	}
	defer func() { _ = p.Close() }() // only read from
	s, err := q.stream(ctx, p)
	if err != nil {
		return err
	}
	if q.records != "" {
		return q.write(ctx, p, s, out)
	}
	dir, err := os.MkdirTemp("", "flaskside-")
	if err != nil {
		return fmt.Errorf("make a folder for the logbook of the mirror: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }() // a copy left over harms nobody
	made := filepath.Join(dir, "mirror.db")
	c, err := mirror.Rebuild(ctx, p, s, made, clock)
	var lacks *mirror.Incomplete
	if errors.As(err, &lacks) {
		return exitCode{fmt.Errorf("%w: --records FILE writes out those that are there", err), faultsFound}
	}
	if err != nil {
		return err
	}
	if err := restore(ctx, made, path, discard, by, clock.Read().Wall, out); err != nil {
		return err
	}
	tellEnd(out, c)
	return nil
}

// tellEnd says where the mirror ends, and what the bench had beyond that when it was last
// heard.
func tellEnd(out io.Writer, c mirror.Copy) {
	h := c.Newest
	if h.Last == 0 {
		fmt.Fprintln(out, "nothing in the mirror of this logbook can be read")
		return
	}
	fmt.Fprintf(out, "from the mirror of %s, generation %d, which ends with %s of %s\n", words.Clean(mirror.Heard{Stream: c.Stream, Header: h}.Name()), c.Stream.Generation, c.End(), h.At.Local().Format("Mon 2 Jan 2006 15:04"))
	if h.Head > h.Last {
		fmt.Fprintf(out, "the bench had %s then; what came after record %d is not in the mirror\n", words.Count(int(h.Head), "record", "records"), h.Last)
	}
}

// write writes what a mirror holds as JSON Lines, whether or not it is all.
func (q fromMirror) write(ctx context.Context, p mirror.Remote, s mirror.Stream, out io.Writer) error {
	var c mirror.Copy
	err := disk.Save(q.records, func(w io.Writer) (err error) {
		c, err = mirror.Fetch(ctx, p, s, &pastFirstLine{w: w})
		return err
	})
	if err != nil {
		return err
	}
	tellEnd(out, c)
	for _, l := range c.Lacks() {
		fmt.Fprintf(out, "lacks    %s\n", words.Clean(l))
	}
	fmt.Fprintf(out, "%s: %s; flaskside record takes them into a new logbook, with a chain of its own\n", q.records, words.Count(int(c.Records)-len(c.Withheld), "record", "records"))
	if c.Lacks() != nil {
		return exitCode{errors.New("the mirror does not hold the whole logbook: the lines marked lacks are not in the file"), faultsFound}
	}
	return nil
}

// pastFirstLine leaves out the first line, which names the logbook.
type pastFirstLine struct {
	w    io.Writer
	past bool
}

func (l *pastFirstLine) Write(p []byte) (int, error) {
	if l.past {
		return l.w.Write(p)
	}
	_, rest, found := bytes.Cut(p, []byte("\n"))
	if l.past = found; !found {
		return len(p), nil
	}
	n, err := l.w.Write(rest)
	return len(p) - len(rest) + n, err
}

// stream finds the bench in a mirror that is asked for.
func (q fromMirror) stream(ctx context.Context, p mirror.Remote) (mirror.Stream, error) {
	all, err := mirror.Hear(ctx, p)
	if err != nil {
		return mirror.Stream{}, err
	}
	found := all
	if q.bench != "" {
		found = mirror.Named(all, q.bench)
	}
	switch {
	case len(all) == 0:
		return mirror.Stream{}, errors.New("this mirror holds no logbook yet")
	case len(found) == 0:
		return mirror.Stream{}, fmt.Errorf("no bench in this mirror is called %s: there is %s", words.Clean(q.bench), listed(all))
	case len(found) > 1 && q.bench == "":
		return mirror.Stream{}, wrongUsage("this mirror holds several logbooks: name the bench with --bench; there is %s", listed(all))
	case len(found) > 1:
		return mirror.Stream{}, fmt.Errorf("%d logbooks are called %s: give --bench the one of them you mean by its identity; there is %s", len(found), words.Clean(q.bench), listed(found))
	}
	s := found[0].Stream
	if q.generation > s.Generation {
		return s, fmt.Errorf("the newest generation of this bench is %d, not %d", s.Generation, q.generation)
	}
	if q.generation > 0 {
		s.Generation = q.generation
	}
	return s, nil
}

// listed names the benches of a mirror, with what tells those of one name apart.
func listed(all []mirror.Heard) string {
	var out []string
	for _, h := range all {
		when := "nothing heard"
		if !h.Header.At.IsZero() {
			when = "last heard " + h.Header.At.Local().Format("Mon 2 Jan 2006 15:04")
		}
		out = append(out, words.Clean(fmt.Sprintf("%s (%s, %s)", h.Name(), mirror.Short(h.Stream.Book), when)))
	}
	return strings.Join(out, ", ")
}
