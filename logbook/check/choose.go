package check

import (
	"bytes"
	"cmp"
	"crypto/rand"
	"fmt"
	"iter"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
	"flaskside/timers/each"
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
	tip := s.followed()
	top := s.spokenFor(seqs, tip)
	var out []Pick
	var above *Pick
	for _, seq := range slices.Backward(seqs) {
		if above != nil && above.seq != seq+1 {
			above = nil
		}
		best, found := s.best(seq, above, tip, top)
		if above = nil; found {
			out = append(out, best)
			above = &out[len(out)-1]
		}
	}
	slices.Reverse(out)
	return out
}

// spokenFor is the last number that something besides the piece itself speaks for.
func (s *Scan) spokenFor(seqs []uint64, tip *layout.Head) (top uint64) {
	if tip != nil {
		return tip.Seq
	}
	if s.kept != nil {
		top = s.kept.Seq
	}
	for _, seq := range seqs {
		if slices.ContainsFunc(s.pieces[seq], func(p piece) bool { return p.placed || s.follows(seq, p) || s.proven(seq, p) }) {
			top = max(top, seq)
		}
	}
	return top
}

// best takes among the pieces of a number the one that the chain speaks for most: above is
// the piece chosen for the number after it, nil where there is none.
func (s *Scan) best(seq uint64, above *Pick, tip *layout.Head, top uint64) (best Pick, found bool) {
	if seq > top {
		return best, false // a spoilt number
	}
	names := func(p piece) bool { return above != nil && above.prev == p.hash }
	for _, p := range s.pieces[seq] {
		if tip != nil && seq == tip.Seq && p.hash != tip.Hash {
			continue // of another history
		}
		if above != nil && above.proven && !names(p) {
			continue // it is not what the record after it was written on
		}
		c := Pick{p, seq, s.proven(seq, p) || names(p) && above.proven}
		if !c.proven && s.contradicted(seq, p) {
			continue
		}
		if !found || s.weight(c, names(p)) >= s.weight(best, names(best.piece)) {
			best, found = c, true
		}
	}
	return best, found
}

// Follow has the history chosen that a record stands in, instead of that of the file.
func (s *Scan) Follow(p Pin) error {
	s.tip = nil
	for _, c := range s.pieces[p.Seq] {
		if !strings.HasPrefix(c.hash.String(), p.Start) {
			continue
		}
		if s.tip != nil {
			return fmt.Errorf("two records are called %s: give more digits", p)
		}
		s.tip = &layout.Head{Seq: p.Seq, Hash: c.hash}
	}
	if s.tip == nil {
		return fmt.Errorf("no record %s was found, whose history could be followed", p)
	}
	return nil
}

// followed is the end of the history to choose: of the one that was asked for, or of the
// one that the file's own head stands in, and what was written on after it. nil where the
// head is lost.
func (s *Scan) followed() *layout.Head {
	at := s.tip
	if at == nil {
		at = s.kept
	}
	if at == nil || !slices.ContainsFunc(s.pieces[at.Seq], func(p piece) bool { return p.hash == at.Hash }) {
		return nil
	}
	end := *at
	for {
		next := each.That(s.pieces[end.Seq+1], func(p piece) bool { return p.prev == end.Hash })
		if len(next) == 0 {
			return &end
		}
		best := next[0]
		if len(next) > 1 {
			best = slices.MaxFunc(next, func(a, b piece) int {
				return cmp.Or(cmp.Compare(s.reach(end.Seq+1, a), s.reach(end.Seq+1, b)), cmp.Compare(s.weight(Pick{piece: a, seq: end.Seq + 1}, true), s.weight(Pick{piece: b, seq: end.Seq + 1}, true)))
			})
		}
		end = layout.Head{Seq: end.Seq + 1, Hash: best.hash}
	}
}

// reach is up to which number records were written on a piece.
func (s *Scan) reach(seq uint64, p piece) uint64 {
	on := []piece{p}
	for {
		next := each.That(s.pieces[seq+1], func(c piece) bool { return slices.ContainsFunc(on, func(p piece) bool { return p.hash == c.prev }) })
		if len(next) == 0 {
			return seq
		}
		on, seq = next, seq+1
	}
}

// Branch is a run of records, each written on the one before, that was found and is not in
// the history that was chosen.
type Branch struct {
	From    uint64      // number of its first record
	End     layout.Head // its last record
	Records int
	Text    string // how many, when, by whom
	Against bool   // the record after it, which was chosen, was written on another
	Knows   bool   // it goes on from a record of the history chosen
	File    string // where its records were written to, "" where they were not
	Lines   [][]byte
}

// Outside gives what was found and is not among the chosen, each branch in order. Another
// copy of a chosen record, spoilt, is none.
func (s *Scan) Outside(chosen []Pick) ([]Branch, error) {
	in := map[uint64]Pick{}
	for _, p := range chosen {
		in[p.seq] = p
	}
	var out []outside
	raws := map[record.Hash][]byte{}
	for seq, ps := range s.pieces {
		for _, p := range ps {
			if c, ok := in[seq]; ok && c.hash == p.hash {
				continue
			}
			raw, err := s.bytes(p)
			if err != nil {
				return nil, err
			}
			r, err := s.q.Decode(raw)
			if err != nil {
				return nil, err
			}
			if c, ok := in[seq]; ok {
				if same, err := s.sameAction(c, r); err != nil {
					return nil, err
				} else if same {
					continue
				}
			}
			raws[p.hash] = raw
			out = append(out, outside{seq: seq, prev: p.prev, hash: p.hash, rec: r})
		}
	}
	slices.SortFunc(out, func(a, b outside) int { return cmp.Or(cmp.Compare(a.seq, b.seq), bytes.Compare(a.hash[:], b.hash[:])) })
	var branches []Branch
	for _, b := range branchesOf(out) {
		first, tip := b.recs[0], b.recs[len(b.recs)-1]
		before, ok := in[first.seq-1]
		br := Branch{From: first.seq, End: layout.Head{Seq: tip.seq, Hash: tip.hash}, Records: len(b.recs), Text: b.text(), Knows: ok && before.hash == first.prev}
		_, there := in[tip.seq]
		_, after := in[tip.seq+1]
		br.Against = !there && after
		for _, o := range b.recs {
			br.Lines = append(br.Lines, raws[o.hash])
		}
		branches = append(branches, br)
	}
	return branches, nil
}

// sameAction tells whether a chosen record and another of its number are of one action: the
// same was said in both histories, or one is a spoilt copy, on which nothing was written.
func (s *Scan) sameAction(c Pick, r record.Record) (bool, error) {
	raw, err := s.bytes(c.piece)
	if err != nil {
		return false, err
	}
	chosen, err := s.q.Decode(raw)
	if err != nil || chosen.Action.ID != r.Action.ID {
		return false, err
	}
	next := slices.ContainsFunc(s.pieces[r.Seq+1], func(p piece) bool { return p.prev == r.Hash() })
	return !next || sayTheSame(chosen, r), nil
}

// Others tells which journals were left out as those of other books.
func (s *Scan) Others() (out []string) {
	for source, owner := range s.of {
		if owner != 0 && owner != s.main && s.found[source] > 0 {
			out = append(out, fmt.Sprintf("%s (%s) is of another book, with %s", filepath.Base(s.sources[source].name), s.owners[owner], words.Count(s.found[source], "record", "records")))
		}
	}
	slices.Sort(out)
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
			c := chain{tell: func(f Fault) { out.Lost = append(out.Lost, f) }, waiting: []span{{last + 1, to}}}
			c.settle(day, until)
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
		switch {
		case s.endsElsewhere(chosen): // its last record is in another history, and told of there
			out.Lost = append(out.Lost, Fault{Kind: FaultHead, Seq: last + 1, What: "whether there was a record of this number in the history that was followed nobody can say: the book's note of its last one is about another"})
		case s.kept != nil:
			missing(s.kept.Seq, "")
		default:
			out.Lost = append(out.Lost, Fault{Kind: FaultHead, Seq: last + 1, What: "whether there was a record of this number nobody can say: the book's note of its last one is lost"})
		}
	}
}

// endsElsewhere tells whether the last record of the file was found, and is not among the
// chosen.
func (s *Scan) endsElsewhere(chosen []Pick) bool {
	if s.tip == nil || s.kept == nil {
		return false
	}
	found := slices.ContainsFunc(s.pieces[s.kept.Seq], func(p piece) bool { return p.hash == s.kept.Hash })
	return found && !slices.ContainsFunc(chosen, func(p Pick) bool { return p.Head() == *s.kept })
}

// Outside tells how many records were found and are not in the new book.
func (s Salvaged) Outside() (n int) {
	for _, b := range s.Branches {
		n += b.Records
	}
	return n
}

// Salvaged says what was brought together, and what was not.
type Salvaged struct {
	Records  uint64
	Head     layout.Head
	File     uint64   // of the records, how many stood in the damaged book
	Journal  uint64   // and how many in journals; most stand in both
	Branches []Branch // what was found and is of another history, beside the new book
	Others   []string // journals of other books, left out
	Lost     []Fault  // what could not be brought back, or is not proven to be as it was written
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
