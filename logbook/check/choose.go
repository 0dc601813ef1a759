package check

import (
	"crypto/rand"
	"iter"
	"maps"
	"slices"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// Pick is a piece that goes into the new book.
type Pick struct {
	piece
	seq    uint64
	proven bool
}

// Head is what the chain would end with after it.
func (p Pick) Head() layout.Head { return layout.Head{Seq: p.seq, Hash: p.hash} }

// Choose takes for each number the piece that the chain speaks for, and gives them in
// order.
func (s *Scan) Choose() []Pick {
	seqs := slices.Sorted(maps.Keys(s.pieces))
	top := uint64(0) // the last number that something besides the piece itself speaks for
	if s.kept != nil {
		top = s.kept.Seq
	}
	for _, seq := range seqs {
		if slices.ContainsFunc(s.pieces[seq], func(p piece) bool { return p.placed || s.follows(seq, p) || s.proven(seq, p) }) {
			top = max(top, seq)
		}
	}
	var out []Pick
	var above *Pick
	for _, seq := range slices.Backward(seqs) {
		if above != nil && above.seq != seq+1 {
			above = nil
		}
		best, found := Pick{}, false
		for _, p := range s.pieces[seq] {
			c := Pick{p, seq, s.proven(seq, p)}
			named := above != nil && above.prev == p.hash
			if above != nil && above.proven && !named {
				continue // it is not what the record after it was written on
			}
			c.proven = c.proven || named && above.proven
			if seq > top {
				continue // a spoilt number
			}
			if !c.proven && s.contradicted(seq, p) {
				continue
			}
			if !found || s.weight(c, named) >= s.weight(best, above != nil && above.prev == best.hash) {
				best, found = c, true
			}
		}
		if found {
			out = append(out, best)
			above = &out[len(out)-1]
		} else {
			above = nil
		}
	}
	slices.Reverse(out)
	return out
}

// proven tells whether something else speaks for the bytes of a piece: the record
// after it, the head that the book kept, or a second copy in the journal.
func (s *Scan) proven(seq uint64, p piece) bool {
	if p.file && p.journal || s.kept != nil && *s.kept == (layout.Head{Seq: seq, Hash: p.hash}) {
		return true
	}
	return slices.ContainsFunc(s.pieces[seq+1], func(next piece) bool { return next.prev == p.hash })
}

// contradicted tells whether both neighbours of the last record speak against a piece:
// the head that the book kept, and the record before, which it does not name. In the new
// book, where it would be the end that vouches, that record would be called changed.
func (s *Scan) contradicted(seq uint64, p piece) bool {
	return s.kept != nil && s.kept.Seq == seq && s.kept.Hash != p.hash && len(s.pieces[seq-1]) > 0 && !s.follows(seq, p)
}

// follows tells whether a piece follows on one that was found.
func (s *Scan) follows(seq uint64, p piece) bool {
	if seq == 1 {
		return slices.ContainsFunc(s.ids, func(id string) bool { return record.Genesis(id) == p.prev })
	}
	return slices.ContainsFunc(s.pieces[seq-1], func(before piece) bool { return before.hash == p.prev })
}

// weight orders the pieces of one number.
func (s *Scan) weight(p Pick, named bool) int {
	w := 0
	for i, ok := range []bool{p.file, s.follows(p.seq, p.piece), p.proven, named} {
		if ok {
			w += 1 << i
		}
	}
	return w
}

// Name finds out what the book is called: what its first record was written on.
func (s *Scan) Name(first Pick, out *Salvaged) string {
	for _, id := range s.ids {
		if first.seq == 1 && record.Genesis(id) == first.prev {
			return id
		}
	}
	if first.seq > 1 && len(s.ids) > 0 {
		return s.ids[0]
	}
	out.Lost = append(out.Lost, Fault{Kind: FaultFile, What: "what the book was called is lost: it has a new name, and verify will say that record 1 was written in another book"})
	return rand.Text()
}

// Records reads the chosen pieces one after the other and lists what is missing.
func (s *Scan) Records(chosen []Pick, out *Salvaged) iter.Seq2[record.Record, error] {
	return func(yield func(record.Record, error) bool) {
		last, day := uint64(0), ""
		missing := func(to uint64, until string) {
			if to <= last {
				return
			}
			// The days are put into words as verify does.
			c := chain{tell: func(f Fault) { out.Lost = append(out.Lost, f) }, day: day, waiting: []span{{last + 1, to}}}
			c.settle(until)
		}
		for _, p := range chosen {
			raw, err := s.bytes(p.piece)
			if err != nil {
				yield(record.Record{}, err)
				return
			}
			r, err := s.q.Decode(raw)
			today := r.Stamp.At.Format("2006-01-02")
			missing(p.seq-1, today)
			last, day = p.seq, today
			if !p.proven {
				out.Lost = append(out.Lost, Fault{Kind: FaultUnproven, Seq: p.seq, Day: day, What: "brought back, but nothing shows that it is as it was written"})
			}
			out.Records++
			out.Head = layout.Head{Seq: p.seq, Hash: p.hash}
			if p.file {
				out.File++
			}
			if p.journal {
				out.Journal++
			}
			if !yield(r, err) {
				return
			}
		}
		if s.kept != nil {
			missing(s.kept.Seq, "")
		} else {
			out.Lost = append(out.Lost, Fault{Kind: FaultHead, Seq: last + 1, What: "whether there was a record of this number nobody can say: the book's note of its last one is lost"})
		}
	}
}

// Salvaged says what was brought together, and what was not.
type Salvaged struct {
	Records uint64
	Head    layout.Head
	File    uint64  // of the records, how many stood in the damaged book
	Journal uint64  // and how many in journals; most stand in both
	Lost    []Fault // what could not be brought back, or is not proven to be as it was written
}

// Gone tells how many records are known to be lost.
func (s Salvaged) Gone() (n uint64) {
	for _, f := range s.Lost {
		if f.Kind == FaultMissing {
			n += max(f.To, f.Seq) - f.Seq + 1
		}
	}
	return n
}
