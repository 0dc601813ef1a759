package mirror

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"flaskside/logbook/asked"
	"flaskside/logbook/words"
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
func Hear(ctx context.Context, p Remote) ([]Heard, error) {
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
		out = append(out, Heard{Stream: s})
	}
	hear := func(i int) { out[i].Header, out[i].Err = lastHeader(ctx, p, out[i].Stream) }
	if _, together := p.(Parallel); together {
		var all sync.WaitGroup
		next := make(chan int)
		for range atOnce {
			all.Go(func() {
				for i := range next {
					hear(i)
				}
			})
		}
		for i := range out {
			next <- i
		}
		close(next)
		all.Wait()
	} else {
		for i := range out {
			if ctx.Err() == nil {
				hear(i)
			}
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	slices.SortFunc(out, func(a, b Heard) int {
		return cmp.Or(strings.Compare(a.Name(), b.Name()), strings.Compare(a.Stream.Book, b.Stream.Book))
	})
	return out, nil
}

// Parallel is a place of which many things can be asked at the same time, and the last run of a
// stream as one of them.
type Parallel interface {
	// LastRun gives the run that a stream ends with; none where there is none. The error is as
	// that of [Remote].Last.
	LastRun(ctx context.Context, s Stream) (Run, error)
}

// atOnce is how many things are asked of such a place at the same time.
const atOnce = 16

// lastHeader gives the header of the run that a stream ends with.
func lastHeader(ctx context.Context, p Remote, s Stream) (h Header, err error) {
	if t, together := p.(Parallel); together {
		if run, err := t.LastRun(ctx, s); err == nil {
			return run.Header, nil
		}
	}
	end, err := p.Last(ctx, s)
	if err != nil { // what it was called stands in the others
		_ = p.Read(ctx, s, 1, func(pc Object) error { // the reason is told already
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
	err = p.Read(ctx, s, end.Seq, func(pc Object) error {
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

// Find finds the logbook in a mirror that is asked for: of a bench by its name or the beginning of its
// identity, "" where there is one alone; of a generation, 0 for the newest.
func Find(ctx context.Context, p Remote, bench string, generation int) (Stream, error) {
	all, err := Hear(ctx, p)
	if err != nil {
		return Stream{}, err
	}
	found := all
	if bench != "" {
		found = Named(all, bench)
	}
	switch {
	case len(all) == 0:
		return Stream{}, errors.New("this mirror holds no logbook yet")
	case len(found) == 0:
		return Stream{}, fmt.Errorf("no bench in this mirror is called %s: there is %s", words.Clean(bench), listed(all))
	case len(found) > 1 && bench == "":
		return Stream{}, asked.Wrongly("this mirror holds several logbooks: name the bench with --bench; there is %s", listed(all))
	case len(found) > 1:
		return Stream{}, fmt.Errorf("%d logbooks are called %s: give --bench the one of them you mean by its identity; there is %s", len(found), words.Clean(bench), listed(found))
	}
	s := found[0].Stream
	if generation > s.Generation {
		return s, fmt.Errorf("the newest generation of this bench is %d, not %d", s.Generation, generation)
	}
	if generation > 0 {
		s.Generation = generation
	}
	return s, nil
}

// listed names the benches of a mirror, with what tells those of one name apart.
func listed(all []Heard) string {
	var out []string
	for _, h := range all {
		when := "nothing heard"
		if !h.Header.At.IsZero() {
			when = "last heard " + on(h.Header.At)
		}
		out = append(out, words.Clean(fmt.Sprintf("%s (%s, %s)", h.Name(), Short(h.Stream.Book), when)))
	}
	return strings.Join(out, ", ")
}
