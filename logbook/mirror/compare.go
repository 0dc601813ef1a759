package mirror

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// Span is a run of record numbers.
type Span struct{ From, To uint64 }

func (s Span) String() string {
	if s.From == s.To {
		return fmt.Sprintf("record %d", s.From)
	}
	return fmt.Sprintf("records %d to %d", s.From, s.To)
}

// Comparison is what holding a stream against its book found, record by record.
type Comparison struct {
	Stream   Stream
	Book     layout.Head // of the book as it was compared
	Alike    uint64      // every record up to this one stands in the mirror with the book's hash
	Ends     uint64      // the highest number in the mirror
	Missing  []Span      // of the book and none of that number in the mirror, but for those at its end
	Behind   uint64      // how many of the newest records the mirror lacks
	Other    []Span      // numbers under which the mirror holds another record than the book
	Beyond   uint64      // how many numbers of the mirror lie beyond the book's last
	Withheld []uint64    // records whose words are not there, only their hashes
	Spoilt   []Spoilt    // parts that cannot be read
	Foreign  []string    // what is no part of the mirror and was passed over
}

// Equal tells whether the mirror holds every record of the book with its hash, and nothing
// else. Words that the house withholds are still lacking where there are any ([Comparison.Withheld]).
func (c Comparison) Equal() bool {
	return c.Alike == c.Book.Seq && c.Behind == 0 && len(c.Missing) == 0 && len(c.Other) == 0 && c.Beyond == 0
}

// OnlyBehind tells whether all that is there is right, and only the newest records are not
// there yet.
func (c Comparison) OnlyBehind() bool {
	return c.Behind > 0 && len(c.Missing) == 0 && len(c.Other) == 0 && c.Beyond == 0 && len(c.Spoilt) == 0
}

// Ahead tells whether the mirror holds all of the book and goes on: the book is an older copy.
func (c Comparison) Ahead() bool {
	return c.Beyond > 0 && c.Alike == c.Book.Seq && len(c.Other) == 0 && len(c.Spoilt) == 0
}

// Compare holds every record of a stream against the book. The order in which a place keeps
// its parts, copies of them and their names do not matter: what counts is the hash that each
// record has.
func Compare(ctx context.Context, p Remote, b Source, s Stream) (Comparison, error) {
	c := Comparison{Stream: s}
	if !IsBook(s.Book) {
		return c, errNoBook
	}
	head := b.State().Head
	c.Book = head
	hashes := make([]record.Hash, 0, head.Seq)
	err := b.Each(1, func(r record.Record) (bool, error) {
		if r.Seq > head.Seq {
			return false, nil
		}
		for uint64(len(hashes)) < r.Seq-1 { // the book itself lacks some: nothing is equal to that
			hashes = append(hashes, record.Hash{})
		}
		hashes = append(hashes, r.Hash())
		return ctx.Err() == nil, ctx.Err()
	})
	if err != nil {
		return c, err
	}
	held, words := make([]bool, head.Seq+1), make([]bool, head.Seq+1)
	other, beyond := map[uint64]bool{}, map[uint64]bool{}
	err = p.Read(ctx, s, 1, func(piece Object) error {
		run, err := judge(piece, s, &c.Spoilt, &c.Foreign)
		if err != nil {
			return nil //nolint:nilerr // it is in the lists
		}
		for _, e := range run.Entries {
			c.Ends = max(c.Ends, e.Seq)
			switch {
			case e.Seq > head.Seq:
				beyond[e.Seq] = true
			case hashes[e.Seq-1] != e.Hash || e.Hash == record.Hash{}:
				other[e.Seq] = true
			default:
				held[e.Seq] = true
				words[e.Seq] = words[e.Seq] || e.Raw != nil
			}
		}
		return nil
	})
	if err != nil {
		return c, err
	}
	c.gather(held, words, other, beyond)
	return c, nil
}

// gather sums up what was found of each number.
func (c *Comparison) gather(held, words []bool, other, beyond map[uint64]bool) {
	var lacks []uint64
	broken := false
	for n := uint64(1); n <= c.Book.Seq; n++ {
		if !held[n] {
			broken = true
			if !other[n] {
				lacks = append(lacks, n)
			}
			continue
		}
		if !broken {
			c.Alike = n
		}
		if !words[n] {
			c.Withheld = append(c.Withheld, n)
		}
	}
	c.Missing = spans(lacks)
	if n := len(c.Missing); n > 0 && c.Missing[n-1].To == c.Book.Seq && c.Ends < c.Missing[n-1].From {
		c.Behind = c.Missing[n-1].To - c.Missing[n-1].From + 1
		c.Missing = c.Missing[:n-1]
	}
	for n := range other {
		lacks = append(lacks[:0:0], n)
		c.Other = append(c.Other, spans(lacks)...)
	}
	slices.SortFunc(c.Other, func(a, b Span) int { return int(int64(a.From) - int64(b.From)) })
	c.Other = joined(c.Other)
	c.Beyond = uint64(len(beyond))
}

func spans(sorted []uint64) (out []Span) {
	for _, n := range sorted {
		if k := len(out); k > 0 && out[k-1].To+1 == n {
			out[k-1].To = n
			continue
		}
		out = append(out, Span{n, n})
	}
	return out
}

func joined(in []Span) (out []Span) {
	for _, s := range in {
		if k := len(out); k > 0 && out[k-1].To+1 == s.From {
			out[k-1].To = s.To
			continue
		}
		out = append(out, s)
	}
	return out
}

// errWrong: a piece that lists were told of.
var errWrong = errors.New("wrong")

// judge reads a piece of a stream; what is spoilt or foreign goes into the lists.
func judge(piece Object, s Stream, spoilt *[]Spoilt, foreign *[]string) (Run, error) {
	run, err := Run{}, piece.Err
	if err == nil {
		run, err = ParseRun(piece.Raw)
	}
	switch {
	case errors.Is(err, errForeign):
		*foreign = append(*foreign, piece.Name)
		return run, errWrong
	case err != nil:
		*spoilt = append(*spoilt, Spoilt{piece.Name, err})
		return run, errWrong
	case run.Header.Book != s.Book || run.Header.Generation != s.Generation:
		*foreign = append(*foreign, piece.Name)
		return run, errWrong
	}
	run.Name = piece.Name
	return run, nil
}
