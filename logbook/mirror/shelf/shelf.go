// Package shelf reads the logbooks of all benches out of one mirror. Each is kept on this
// machine as a book to read from, so that a question of many benches and years does not begin
// with reading all of them anew: what came since is added, and whatever does not fit the end of
// the mirror is made anew. It may be thrown away at any time and is never asked whether a
// record is true: the mirror is.
package shelf

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"

	"flaskside/logbook"
	"flaskside/logbook/disk"
	"flaskside/logbook/mirror"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Shelf is where the books of a mirror are kept on this machine.
type Shelf struct {
	Place mirror.Remote
	Dir   string // a folder of its own, open to its owner alone
	Clock timers.Clock
}

// Kept is the logbook of one bench, as far as the mirror has it.
type Kept struct {
	mirror.Heard
	Book  *logbook.Book // for reading; nil where Err says why
	Lacks []string      // what the mirror does not hold of it
	Err   error
}

// note says beside a book on the shelf which end of the mirror it was made of.
type note struct {
	Shelf int              `json:"shelf"` // version of the format
	Book  string           `json:"book"`
	End   mirror.StreamEnd `json:"end"`
	Head  logbook.Head     `json:"head"`
	Lacks []string         `json:"lacks,omitempty"`
}

const version = 1

// Each reads every bench of the mirror, by name.
func (s Shelf) Each(ctx context.Context, f func(Kept) error) error {
	return s.each(ctx, func(h mirror.Heard) error {
		k := Kept{Heard: h, Err: h.Err}
		if k.Err == nil {
			k.Book, k.Lacks, k.Err = s.open(ctx, h.Stream)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		err := f(k)
		if k.Book != nil {
			_ = k.Book.Close() // only read from
		}
		return err
	})
}

func (s Shelf) each(ctx context.Context, f func(mirror.Heard) error) error {
	all, err := mirror.Hear(ctx, s.Place)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(s.Dir, 0o700); err != nil {
		return fmt.Errorf("the copies of the benches cannot be kept: %w", err)
	}
	for _, h := range all {
		if err := f(h); err != nil {
			return err
		}
	}
	return nil
}

// path is where the book of a stream is kept.
func (s Shelf) path(st mirror.Stream) string {
	return filepath.Join(s.Dir, fmt.Sprintf("%s-g%04d.db", st.Book, st.Generation))
}

func (s Shelf) open(ctx context.Context, st mirror.Stream) (*logbook.Book, []string, error) {
	return s.openTo(ctx, st, new(mirror.StreamEnd))
}

// openTo opens the book of a stream as it ends now, which it tells.
func (s Shelf) openTo(ctx context.Context, st mirror.Stream, ends *mirror.StreamEnd) (*logbook.Book, []string, error) {
	end, err := s.Place.Last(ctx, st)
	if *ends = end; err != nil {
		return nil, nil, err
	}
	if end.Seq == 0 {
		return nil, nil, errors.New("nothing was heard of it yet")
	}
	path := s.path(st)
	n, known := readNote(path)
	if known && n.Book == st.Book && same(n.End, end) {
		if b, err := logbook.OpenReading(path, s.Clock); err == nil && b.State().Head == n.Head && b.ID() == st.Book {
			return b, n.Lacks, nil
		} else if err == nil {
			_ = b.Close() // it is made anew
		}
	}
	if known && n.Book == st.Book && n.Lacks == nil && n.End.Seq < end.Seq {
		if err := s.more(ctx, st, end, n, path); err == nil {
			b, err := logbook.OpenReading(path, s.Clock)
			return b, nil, err
		} else if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
	}
	lacks, err := s.anew(ctx, st, end, path)
	if err != nil {
		return nil, nil, err
	}
	b, err := logbook.OpenReading(path, s.Clock)
	return b, lacks, err
}

func same(a, b mirror.StreamEnd) bool { return a.Seq == b.Seq && a.Hash == b.Hash }

func noteOf(path string) string { return path + ".json" }

func readNote(path string) (n note, ok bool) {
	b, err := os.ReadFile(noteOf(path))
	return n, err == nil && json.Unmarshal(b, &n) == nil && n.Shelf == version
}

func writeNote(path string, n note) error {
	n.Shelf = version
	b, err := json.Marshal(n)
	if err != nil {
		return err
	}
	tmp := disk.NewName(noteOf(path))
	defer func() { _ = os.Remove(tmp) }() // it has its name, or is not wanted
	if err := os.WriteFile(tmp, b, 0o600); err != nil {
		return err
	}
	return os.Rename(tmp, noteOf(path))
}

// errGap: what came since does not follow on what is kept.
var errGap = errors.New("what came since does not follow")

// more adds to a book on the shelf what came since. Anything out of the ordinary is left to
// [Shelf.anew].
func (s Shelf) more(ctx context.Context, st mirror.Stream, end mirror.StreamEnd, n note, path string) error {
	var recs []record.Record
	at, next := n.End.Hash, n.End.Seq+1
	err := s.Place.Read(ctx, st, next, func(p mirror.Object) error {
		run, err := mirror.ParseRun(p.Raw)
		if err = errors.Join(p.Err, err); err != nil {
			return err
		}
		for _, e := range run.Entries {
			if e.Seq < next {
				if e.Seq == next-1 && e.Hash != at {
					return errGap
				}
				continue
			}
			if e.Seq != next || e.Prev != at || e.Raw == nil || run.Header.Book != st.Book || run.Header.Generation != st.Generation {
				return errGap
			}
			r, err := record.Decode(bytes.Clone(e.Raw))
			if err != nil {
				return err
			}
			recs, at, next = append(recs, r), e.Hash, next+1
		}
		return nil
	})
	if err == nil && (len(recs) == 0 || recs[len(recs)-1].Hash() != end.Hash) {
		err = errGap
	}
	if err != nil {
		return err
	}
	if err := os.Remove(noteOf(path)); err != nil {
		return err
	}
	err = logbook.ShelveMore(path, func(yield func(record.Record, error) bool) {
		for _, r := range recs {
			if !yield(r, nil) {
				return
			}
		}
	})
	if err != nil {
		return err
	}
	return writeNote(path, note{Book: st.Book, End: end, Head: logbook.Head{Seq: end.Seq, Hash: end.Hash}})
}

// anew makes a book for the shelf of all that the mirror holds of a stream.
func (s Shelf) anew(ctx context.Context, st mirror.Stream, end mirror.StreamEnd, path string) ([]string, error) {
	lines, err := os.CreateTemp(s.Dir, ".records-")
	if err != nil {
		return nil, err
	}
	defer func() { _ = lines.Close(); _ = os.Remove(lines.Name()) }() // a copy left over harms nobody
	c, err := mirror.Fetch(ctx, s.Place, st, lines)
	if err != nil {
		return nil, err
	}
	if len(c.Two) > 0 {
		return nil, fmt.Errorf("two histories stand in the mirror from record %d on: flaskside mirror check at that bench tells more", c.Two[0])
	}
	places, err := index(lines)
	if err != nil {
		return nil, err
	}
	if len(places) == 0 {
		return nil, errors.New("the mirror holds no record of it that can be read")
	}
	disk.Sweep(path)
	tmp := disk.NewName(path)
	defer func() { _ = os.Remove(tmp) }() // it has its name, or is not wanted
	var head logbook.Head
	err = logbook.Shelve(tmp, st.Book, read(lines, places, func(r record.Record) { head = logbook.Head{Seq: r.Seq, Hash: r.Hash()} }))
	if err != nil {
		return nil, err
	}
	if err := os.Remove(noteOf(path)); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	if err := os.Rename(tmp, path); err != nil {
		return nil, err
	}
	return c.Lacks(), writeNote(path, note{Book: st.Book, End: end, Head: head, Lacks: c.Lacks()})
}

// spot is where the line of a record lies.
type spot struct {
	seq uint64
	at  int64
	n   int
}

// index finds the records among lines that may lie in any order, by their numbers.
func index(f io.ReadSeeker) ([]spot, error) {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	var out []spot
	r := bufio.NewReaderSize(f, 1<<20)
	for at := int64(0); ; {
		line, err := r.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if seq, _, ok := record.Begins(line[:len(line)-1]); ok {
			out = append(out, spot{seq, at, len(line) - 1})
		} else if rec, err := record.Decode(line[:len(line)-1]); err == nil {
			out = append(out, spot{rec.Seq, at, len(line) - 1})
		}
		at += int64(len(line))
	}
	slices.SortStableFunc(out, func(a, b spot) int { return cmp.Compare(a.seq, b.seq) })
	return slices.CompactFunc(out, func(a, b spot) bool { return a.seq == b.seq }), nil
}

// read gives the records of lines in order.
func read(f io.ReaderAt, places []spot, each func(record.Record)) iter.Seq2[record.Record, error] {
	return func(yield func(record.Record, error) bool) {
		q := record.NewReader()
		for _, p := range places {
			b := make([]byte, p.n)
			if _, err := f.ReadAt(b, p.at); err != nil {
				yield(record.Record{}, err)
				return
			}
			r, err := q.Decode(b)
			if err != nil {
				yield(record.Record{}, fmt.Errorf("record %d in the mirror: %w", p.seq, err))
				return
			}
			each(r)
			if !yield(r, nil) {
				return
			}
		}
	}
}
