package mirror

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"

	"flaskside/logbook/check"
	"flaskside/logbook/record"
)

// Copy is what was found of a book in a stream, without the book.
type Copy struct {
	Stream   Stream
	Newest   Header   // of the run that ends last
	Records  uint64   // how many different ones
	Missing  []Span   // numbers below the last that are not there
	Withheld []uint64 // records whose words stayed in the house
	Two      []uint64 // numbers under which two different records stand
	Broken   []uint64 // records that were not written on the one before them that is there
	Spoilt   []Spoilt
	Foreign  []string
}

// Whole tells whether every record up to the last is there with all its words, in one history.
func (c Copy) Whole() bool {
	return c.Records > 0 && c.Lacks() == nil && c.Newest.Head <= c.Newest.Last
}

// Lacks says in a line each what is not there.
func (c Copy) Lacks() (out []string) {
	for _, s := range c.Missing {
		out = append(out, s.String()+": not in the mirror")
	}
	for _, s := range spans(c.Withheld) {
		out = append(out, s.String()+": a note; the house keeps its notes to itself, the mirror has the hash only")
	}
	for _, s := range spans(c.Two) {
		out = append(out, s.String()+": two histories stand there")
	}
	for _, n := range c.Broken {
		out = append(out, fmt.Sprintf("record %d: was written on another record than the one before it in the mirror", n))
	}
	for _, s := range c.Spoilt {
		out = append(out, fmt.Sprintf("%s: spoilt, %v", s.Name, s.Err))
	}
	return out
}

// End is the last record there.
func (c Copy) End() StreamEnd { return StreamEnd{Seq: c.Newest.Last, Hash: c.Newest.Hash} }

type piece struct {
	prev, hash record.Hash
	words      bool
}

// Fetch writes all records of a stream as a journal of the book, from which
// [logbook.Salvage] makes a book again and judges the chain; and says what is not there.
func Fetch(ctx context.Context, p Remote, s Stream, to io.Writer) (Copy, error) {
	c := Copy{Stream: s}
	w := bufio.NewWriterSize(to, 1<<16)
	head, err := json.Marshal(check.JournalHead{Journal: 1, Book: s.Book})
	if err != nil {
		return c, err
	}
	fmt.Fprintf(w, "%s\n", head)
	held := map[uint64]piece{}
	two := map[uint64]bool{}
	err = p.Read(ctx, s, 1, func(pc Object) error {
		run, ok := c.lines(pc)
		if !ok {
			return nil
		}
		if h := run.Header; h.Last > c.Newest.Last || h.Last == c.Newest.Last && h.At.After(c.Newest.At) {
			c.Newest = h
		}
		for _, e := range run.Entries {
			was, known := held[e.Seq]
			if known && was.hash != e.Hash {
				two[e.Seq] = true
			}
			if known && was.hash == e.Hash && (was.words || e.Raw == nil) {
				continue
			}
			if !known || was.hash == e.Hash {
				held[e.Seq] = piece{e.Prev, e.Hash, e.Raw != nil}
			}
			if e.Raw != nil {
				_, _ = w.Write(e.Raw) // told by Flush
				_ = w.WriteByte('\n')
			}
		}
		return nil
	})
	if err != nil {
		return c, err
	}
	c.sum(held, two)
	if err := w.Flush(); err != nil {
		return c, fmt.Errorf("write what the mirror holds: %w", err)
	}
	return c, nil
}

// lines gives the lines of a part that are whole, also of one that is spoilt: who reads
// them judges the chain. ok is false where it is no part of the stream.
func (c *Copy) lines(pc Object) (run Run, ok bool) {
	n := len(c.Spoilt)
	run, err := judge(pc, c.Stream, &c.Spoilt, &c.Foreign)
	if err == nil {
		return run, true
	}
	if len(c.Spoilt) > n {
		run = wholeLines(pc.Raw)
	}
	return run, len(c.Spoilt) > n && run.Header.Book == c.Stream.Book && run.Header.Generation == c.Stream.Generation
}

// sum says what is not there, or not as it should be.
func (c *Copy) sum(held map[uint64]piece, two map[uint64]bool) {
	c.Records = uint64(len(held))
	c.Two = slices.Sorted(maps.Keys(two))
	next := uint64(1)
	for _, seq := range slices.Sorted(maps.Keys(held)) {
		if seq > next {
			c.Missing = append(c.Missing, Span{next, seq - 1})
		}
		next = seq + 1
		is := held[seq]
		if !is.words {
			c.Withheld = append(c.Withheld, seq)
		}
		before, ok := held[seq-1]
		if seq == 1 {
			before.hash, ok = record.Genesis(c.Stream.Book), true
		}
		if ok && before.hash != is.prev && !two[seq] && !two[seq-1] {
			c.Broken = append(c.Broken, seq)
		}
	}
	if last := c.Newest.Last; last >= next { // said by a run that is spoilt
		c.Missing = append(c.Missing, Span{next, last})
	}
}
