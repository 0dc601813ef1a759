package upkeep

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/places"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Wanted is a logbook that is to come back from a mirror.
type Wanted struct {
	From       string // place of the mirror
	Bench      string // by its name or the beginning of its identity; "" where there is one alone
	Generation int    // 0 for the newest
	Records    string // a file for the records that are there, in place of a logbook; "" for none
}

// Back makes a logbook of what the mirror holds, has put bring it to its place, and says where the
// mirror ends. The error is [check.Unsound] where the mirror does not hold all of it.
func (q Wanted) Back(ctx context.Context, clock timers.Clock, out io.Writer, put func(made string) error) error {
	from, err := places.Whole(q.From)
	if err != nil {
		return err
	}
	p, err := places.Open(ctx, from)
	if err != nil {
		return err
	}
	defer func() { _ = p.Close() }() // only read from
	s, err := mirror.Find(ctx, p, q.Bench, q.Generation)
	if err != nil {
		return err
	}
	if q.Records != "" {
		return q.write(ctx, p, s, out)
	}
	dir, err := os.MkdirTemp("", "flaskside-")
	if err != nil {
		return fmt.Errorf("make a folder for the logbook of the mirror: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }() // a copy left over harms nobody
	made := filepath.Join(dir, "mirror.db")
	c, err := mirror.Rebuild(ctx, p, s, made, clock)
	if _, ok := errors.AsType[*mirror.Incomplete](err); ok {
		return check.Unsoundly("%w: --records FILE writes out those that are there", err)
	}
	if err == nil {
		err = put(made)
	}
	if err == nil {
		tell(out, c.EndLines())
	}
	return err
}

func tell(out io.Writer, lines []string) {
	for _, l := range lines {
		fmt.Fprintln(out, l)
	}
}

// write writes what a mirror holds as JSON Lines, whether or not it is all.
func (q Wanted) write(ctx context.Context, p mirror.Remote, s mirror.Stream, out io.Writer) error {
	var c mirror.Copy
	err := disk.Save(q.Records, func(w io.Writer) (err error) {
		c, err = mirror.Fetch(ctx, p, s, &pastFirstLine{w: w})
		return err
	})
	if err != nil {
		return err
	}
	tell(out, c.EndLines())
	for _, l := range c.Lacks() {
		fmt.Fprintf(out, "lacks    %s\n", words.Clean(l))
	}
	fmt.Fprintf(out, "%s: %s; flaskside record takes them into a new logbook, with a chain of its own\n", q.Records, words.Count(int(c.Records)-len(c.Withheld), "record", "records"))
	if c.Lacks() != nil {
		return check.Unsoundly("the mirror does not hold the whole logbook: the lines marked lacks are not in the file")
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
