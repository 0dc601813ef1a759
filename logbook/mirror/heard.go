package mirror

import (
	"cmp"
	"context"
	"slices"
	"strings"
)

// Heard is what a stream last told of its bench.
type Heard struct {
	Stream Stream
	Header Header // of its last run; zero where there is none
	Err    error  // why its end cannot be read
}

// Name is what the bench is called, the beginning of the logbook's identity where it has no
// name.
func (h Heard) Name() string { return cmp.Or(h.Header.Bench, Short(h.Stream.Book)) }

// Short is the beginning of a logbook's identity, enough to tell a few apart.
func Short(book string) string { return book[:min(8, len(book))] }

// Hear gives what the newest generation of each book in a place last told, sorted by name.
func Hear(ctx context.Context, p Place) ([]Heard, error) {
	all, err := p.Streams(ctx)
	if err != nil {
		return nil, err
	}
	newest := map[string]Stream{}
	for _, s := range all {
		if newest[s.Book].Generation < s.Generation {
			newest[s.Book] = s
		}
	}
	var out []Heard
	for _, s := range newest {
		h := Heard{Stream: s}
		h.Header, h.Err = lastHeader(ctx, p, s)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b Heard) int {
		return cmp.Or(strings.Compare(a.Name(), b.Name()), strings.Compare(a.Stream.Book, b.Stream.Book))
	})
	return out, nil
}

// lastHeader gives the header of the run that a stream ends with.
func lastHeader(ctx context.Context, p Place, s Stream) (h Header, err error) {
	end, err := p.Last(ctx, s)
	if err != nil { // what it was called stands in the others
		_ = p.Read(ctx, s, 1, func(pc Piece) error { // the reason is told already
			if run, err := judge(pc, s, new([]Spoilt), new([]string)); err == nil && run.Header.Last >= h.Last {
				h = run.Header
			}
			return nil
		})
		return h, err
	}
	if end.Seq == 0 {
		return h, nil
	}
	err = p.Read(ctx, s, end.Seq, func(pc Piece) error {
		run, err := judge(pc, s, new([]Spoilt), new([]string))
		if err == nil && run.Header.Last == end.Seq && run.Header.Hash == end.Hash {
			h = run.Header
		}
		return nil
	})
	return h, err
}

// Named finds the books that a person means by the name of a bench, or by the beginning of a
// logbook's identity.
func Named(all []Heard, name string) (out []Heard) {
	for _, h := range all {
		if h.Header.Bench == name || h.Stream.Book == name {
			out = append(out, h)
		}
	}
	if len(out) == 0 && len(name) >= 4 {
		for _, h := range all {
			if strings.HasPrefix(h.Stream.Book, name) {
				out = append(out, h)
			}
		}
	}
	return out
}
