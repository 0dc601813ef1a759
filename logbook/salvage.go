package logbook

import (
	"crypto/rand"
	"errors"
	"fmt"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/record"
	"flaskside/timers"
)

// Salvaged says what was brought together, and what was not.
type Salvaged struct {
	Records uint64
	Head    Head
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

// Salvage makes a new book at to, where no file may be, from every record that still
// hashes in the damaged book file and in journals. The file is only read, plainly, and
// need not be there where journals are. check, where it is not nil, looks at the new
// book before it is given its name.
//
// A record is brought back when the record after it, or the head that the book kept,
// names its hash. One that nothing vouches for is brought back too and told of; one
// that is contradicted is not.
func Salvage(file string, journals []string, to string, clock timers.Clock, check func(path string) error) (Salvaged, error) {
	if _, err := os.Lstat(to); err == nil {
		return Salvaged{}, fmt.Errorf("%s is there already: name a new file", to)
	}
	s, err := scanAll(file, journals)
	if err != nil {
		return Salvaged{}, err
	}
	defer s.close()
	chosen := s.choose()
	if len(chosen) == 0 {
		return Salvaged{}, fmt.Errorf("%w: nothing in %s, nor in %d journals, is a record", ErrForeign, file, len(journals))
	}
	out := Salvaged{Lost: []Fault{}}
	if err := readable(s.format); errors.Is(err, ErrNewer) { // or one spoilt bit says so
		out.Lost = append(out.Lost, Fault{Kind: FaultFile, What: fmt.Sprintf("%v: what this one does not know is not brought back", err)})
	}
	id := s.name(chosen[0], &out)
	created := s.created
	if _, err := time.Parse(time.RFC3339, created); err != nil {
		created = clock.Read().Wall.Format(time.RFC3339)
	}
	tmp := fmt.Sprintf("%s.new-%d", to, os.Getpid())
	defer func() { _ = os.Remove(tmp) }() // gone already when all went well
	if err := build(tmp, map[string]string{"format": Format, "book": id, "created": created}, s.beat, s.records(chosen, &out)); err != nil {
		return Salvaged{}, fmt.Errorf("salvage: %w", err)
	}
	if check != nil {
		if err := check(tmp); err != nil {
			return Salvaged{}, fmt.Errorf("salvage: %w", err)
		}
	}
	if err := os.Rename(tmp, to); err != nil {
		return Salvaged{}, fmt.Errorf("salvage: %w", err)
	}
	return out, syncDir(filepath.Dir(to))
}

// pick is a piece that goes into the new book.
type pick struct {
	piece
	seq    uint64
	proven bool
}

// choose takes for each number the piece that the chain speaks for, and gives them in
// order.
func (s *scan) choose() []pick {
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
	var out []pick
	var above *pick
	for _, seq := range slices.Backward(seqs) {
		if above != nil && above.seq != seq+1 {
			above = nil
		}
		best, found := pick{}, false
		for _, p := range s.pieces[seq] {
			c := pick{p, seq, s.proven(seq, p)}
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
func (s *scan) proven(seq uint64, p piece) bool {
	if p.file && p.journal || s.kept != nil && *s.kept == (Head{seq, p.hash}) {
		return true
	}
	return slices.ContainsFunc(s.pieces[seq+1], func(next piece) bool { return next.prev == p.hash })
}

// contradicted tells whether both neighbours of the last record speak against a piece:
// the head that the book kept, and the record before, which it does not name. In the new
// book, where it would be the end that vouches, that record would be called changed.
func (s *scan) contradicted(seq uint64, p piece) bool {
	return s.kept != nil && s.kept.Seq == seq && s.kept.Hash != p.hash && len(s.pieces[seq-1]) > 0 && !s.follows(seq, p)
}

// follows tells whether a piece follows on one that was found.
func (s *scan) follows(seq uint64, p piece) bool {
	if seq == 1 {
		return slices.ContainsFunc(s.ids, func(id string) bool { return record.Genesis(id) == p.prev })
	}
	return slices.ContainsFunc(s.pieces[seq-1], func(before piece) bool { return before.hash == p.prev })
}

// weight orders the pieces of one number.
func (s *scan) weight(p pick, named bool) int {
	w := 0
	for i, ok := range []bool{p.file, s.follows(p.seq, p.piece), p.proven, named} {
		if ok {
			w += 1 << i
		}
	}
	return w
}

// name finds out what the book is called: what its first record was written on.
func (s *scan) name(first pick, out *Salvaged) string {
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

// records reads the chosen pieces one after the other and lists what is missing.
func (s *scan) records(chosen []pick, out *Salvaged) iter.Seq2[record.Record, error] {
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
			r, err := s.q.decode(raw)
			today := r.Stamp.At.Format("2006-01-02")
			missing(p.seq-1, today)
			last, day = p.seq, today
			if !p.proven {
				out.Lost = append(out.Lost, Fault{Kind: FaultUnproven, Seq: p.seq, Day: day, What: "brought back, but nothing shows that it is as it was written"})
			}
			out.Records++
			out.Head = Head{p.seq, p.hash}
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

// buildAtOnce is how many records go into one transaction of a new book.
const buildAtOnce = 4096

// build makes a whole book at path from records in order; gaps between them stay.
// Everything but the log is made anew from them.
func build(path string, meta map[string]string, beat []byte, records iter.Seq2[record.Record, error]) (err error) {
	db, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: lockPatience, FreelistType: bolt.FreelistMapType, NoSync: true}) // synced once, at the end
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	err = db.Update(func(tx *bolt.Tx) error {
		for _, name := range [][]byte{bMeta, bLog, bIndex, bLive, bBeat} {
			if _, err := tx.CreateBucket(name); err != nil {
				return err
			}
		}
		for k, v := range meta {
			if err := tx.Bucket(bMeta).Put([]byte(k), []byte(v)); err != nil {
				return err
			}
		}
		if beat == nil {
			return nil
		}
		return tx.Bucket(bBeat).Put(kLast, beat)
	})
	if err != nil {
		return err
	}
	var run []record.Record
	flush := func() error {
		defer func() { run = run[:0] }()
		return db.Update(func(tx *bolt.Tx) error {
			for _, r := range run { // one by one: a correction finds what it is about
				keys := indexKeys(r, newPast(tx).byID)
				w := plan{fresh: []record.Record{r}, index: [][][]byte{keys}, head: Head{r.Seq, r.Hash()}}
				if err := w.write(tx); err != nil {
					return err
				}
			}
			return nil
		})
	}
	for r, err := range records {
		if err != nil {
			return err
		}
		if run = append(run, r); len(run) == buildAtOnce {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	if err := flush(); err != nil {
		return err
	}
	if err := db.Update(enliven); err != nil {
		return err
	}
	return db.Sync()
}

// enliven makes the list of live records from the log.
func enliven(tx *bolt.Tx) error {
	whole, q := newRefold(tx), newQuick()
	c := tx.Bucket(bLog).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		r, err := q.decode(v)
		if err != nil {
			return err
		}
		whole.add(r)
	}
	b, err := whole.end()
	if err != nil {
		return err
	}
	for _, it := range b.Items {
		if err := tx.Bucket(bLive).Put(seqKey(it.Seq), nil); err != nil {
			return err
		}
	}
	return nil
}
