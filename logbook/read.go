package logbook

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// past reads records inside one transaction, each of them once: what is gathered
// for a day asks for the same ones again and again.
type past struct {
	tx     *bolt.Tx
	quick  *record.Reader
	known  map[uint64]record.Record
	batch  *batch  // of an input, what was checked; may be nil
	behind *behind // what the index lacks, once it was asked for
	err    error   // why that cannot be told
}

func newPast(tx *bolt.Tx) *past {
	return &past{tx: tx, quick: record.NewReader(), known: map[uint64]record.Record{}}
}

// at reads one record and keeps it in mind.
func (p *past) at(seq uint64) (record.Record, error) {
	r, err := p.read(seq)
	if err == nil {
		p.known[seq] = r
	}
	return r, err
}

// read reads one record; its bytes are copied out of the transaction.
func (p *past) read(seq uint64) (record.Record, error) {
	if r, ok := p.known[seq]; ok {
		return r, nil
	}
	if p.batch.has(seq) {
		return p.batch.at(seq)
	}
	raw := p.tx.Bucket(layout.Log).Get(layout.SeqKey(seq))
	if raw == nil {
		return record.Record{}, fmt.Errorf("record %d is %w: it is missing", seq, ErrSpoilt)
	}
	r, err := p.quick.Decode(bytes.Clone(raw))
	if err != nil {
		return record.Record{}, fmt.Errorf("record %d is %w: %w", seq, ErrSpoilt, err)
	}
	return r, nil
}

func (p *past) byID(id string) (record.Record, bool) {
	if seq, ok := p.batch.byID(id); ok {
		r, err := p.at(seq)
		return r, err == nil
	}
	v := p.indexed(layout.IDKey(id))
	if len(v) != 8 {
		return record.Record{}, false
	}
	r, err := p.at(binary.BigEndian.Uint64(v))
	return r, err == nil
}

func (p *past) body(id string) (action.Body, bool) {
	r, ok := p.byID(id)
	return r.Action.Body, ok
}

// ByID finds a record by the id of its action.
func (b *Book) ByID(id string) (r record.Record, ok bool, err error) {
	err = b.view(func(tx *bolt.Tx) error {
		r, ok = newPast(tx).byID(id)
		return nil
	})
	return r, ok, err
}

// Each calls f with every record from number from on, in order, until f says stop
// or gives an error.
func (b *Book) Each(from uint64, f func(r record.Record) (more bool, err error)) error {
	return b.view(func(tx *bolt.Tx) error {
		c := tx.Bucket(layout.Log).Cursor()
		for k, v := c.Seek(layout.SeqKey(from)); k != nil; k, v = c.Next() {
			r, err := record.Decode(bytes.Clone(v))
			if err != nil {
				return fmt.Errorf("record %d is %w: %w", layout.Number(k), ErrSpoilt, err)
			}
			if more, err := f(r); err != nil || !more {
				return err
			}
		}
		return nil
	})
}

// Between gives the records of what was done from one instant until before
// another, in order of the book.
func (b *Book) Between(from, until time.Time) ([]record.Record, error) {
	var out []record.Record
	err := b.view(func(tx *bolt.Tx) error {
		p, seqs := newPast(tx), map[uint64]bool{}
		p.between(from, until, seqs)
		recs, err := p.sorted(seqs)
		out = recs
		return err
	})
	return out, err
}

func (p *past) between(from, until time.Time, seqs map[uint64]bool) {
	c := p.index()
	end := layout.DayKey(until, 0)
	for k := c.Seek(layout.DayKey(from, 0)); len(k) == 17 && k[0] == 'd' && bytes.Compare(k, end) < 0; k = c.Next() {
		seqs[binary.BigEndian.Uint64(k[9:])] = true
	}
}

// Of gives the records about a subject, about the mixes and loads it had part in, and
// about the lots they name, in order of the book.
func (b *Book) Of(s action.Subject) ([]record.Record, error) {
	var out []record.Record
	err := b.view(func(tx *bolt.Tx) error {
		p, seqs := newPast(tx), map[uint64]bool{}
		p.withRelatives(s, seqs)
		p.lots(seqs)
		recs, err := p.sorted(seqs)
		out = recs
		return err
	})
	return out, err
}

// ofSubject adds the numbers of the records about a subject.
func (p *past) ofSubject(s action.Subject, seqs map[uint64]bool) {
	c := p.index()
	prefix := layout.SubjectPrefix(s)
	for k := c.Seek(prefix); len(k) == len(prefix)+8 && bytes.HasPrefix(k, prefix); k = c.Next() {
		seqs[binary.BigEndian.Uint64(k[len(prefix):])] = true
	}
	for _, seq := range p.batch.of(s) {
		seqs[seq] = true
	}
}

// amendments adds the numbers of the corrections and takings back of a record.
func (p *past) amendments(of uint64, seqs map[uint64]bool) {
	c := p.index()
	prefix := layout.AmendKey(of, 0)[:9]
	for k := c.Seek(prefix); len(k) == 17 && bytes.HasPrefix(k, prefix); k = c.Next() {
		seqs[binary.BigEndian.Uint64(k[9:])] = true
	}
	for _, seq := range p.batch.amendmentsOf(of) {
		seqs[seq] = true
	}
}

// withRelatives adds the records about a subject, and of a flask also those of its
// mixes and loads, without which its own cannot be read.
func (p *past) withRelatives(s action.Subject, seqs map[uint64]bool) {
	own := map[uint64]bool{}
	p.ofSubject(s, own)
	for seq := range own {
		seqs[seq] = true
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		for _, rel := range r.Action.Body.Subjects() {
			if rel.Class == 'm' || rel.Class == 'l' {
				p.ofSubject(rel, seqs)
			}
		}
	}
}

func (p *past) sorted(seqs map[uint64]bool) ([]record.Record, error) {
	if p.err != nil {
		return nil, p.err
	}
	order := make([]uint64, 0, len(seqs))
	for s := range seqs {
		order = append(order, s)
	}
	slices.Sort(order)
	out := make([]record.Record, 0, len(order))
	for _, s := range order {
		r, err := p.at(s)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// Whole gives everything needed to read what was done from one instant until
// before another: the records of that time, and with them all records up to its end
// about the flasks, mixes, loads and timers they speak of and about those that were
// at work when it began, with the settings in force. Corrections count whenever
// they were made.
func (b *Book) Whole(from, until time.Time) (*bench.Bench, error) {
	return b.gathered(from, until, true)
}

// AsOf gives the bench as it was known at an instant: from the records of what was
// done up to then, later corrections left out.
func (b *Book) AsOf(t time.Time) (*bench.Bench, error) {
	return b.gathered(t, t.Add(1), false)
}

func (b *Book) gathered(from, until time.Time, corrections bool) (out *bench.Bench, err error) {
	err = b.view(func(tx *bolt.Tx) error {
		p, seqs := newPast(tx), map[uint64]bool{}
		p.between(from, until, seqs)
		day, err := p.sorted(seqs)
		if err != nil {
			return err
		}
		subjects := p.atWork(from, b.State().Bench)
		for _, r := range day {
			for _, s := range bench.Subjects(r.Action.Body, p.body) {
				subjects[s] = true
			}
			// What is about no flask, mix, load or timer, a sign-off say, is told where it was taken back, too.
			if root := layout.RootOf(r, p.byID); root.Seq != r.Seq && len(bench.Subjects(root.Action.Body, p.body)) == 0 {
				seqs[root.Seq] = true
			}
		}
		for s := range subjects {
			p.withRelatives(s, seqs)
		}
		p.casesOnRoutes(from, day, b.State().Bench, seqs)
		p.readingsBefore(from, seqs)
		p.lots(seqs)
		if out, err = p.folded(seqs, until, corrections); err != nil {
			return err
		}
		if n := len(seqs); p.readingsOf(out, from, seqs) > n {
			out, err = p.folded(seqs, until, corrections)
		}
		return err
	})
	return out, err
}

// folded adds what amends the records and gives the bench of all of them.
func (p *past) folded(seqs map[uint64]bool, until time.Time, corrections bool) (*bench.Bench, error) {
	for _, seq := range slices.Collect(maps.Keys(seqs)) {
		p.amendments(seq, seqs)
	}
	recs, err := p.sorted(seqs)
	if err != nil {
		return nil, err
	}
	kept := recs[:0]
	for _, r := range recs {
		_, isCorrect := r.Action.Body.(action.Correct)
		_, isBack := r.Action.Body.(action.TakeBack)
		if r.Stamp.At.Before(until) || corrections && (isCorrect || isBack) {
			kept = append(kept, r)
		}
	}
	return bench.Fold(kept, bench.Counters{}), nil
}

// readingsOf adds what the baths read while loads were in that had been cured long before
// an instant: how their cures stand rests on it. It gives how many records there are then.
func (p *past) readingsOf(b *bench.Bench, at time.Time, seqs map[uint64]bool) int {
	long := at.Add(-bench.ReadingMemory)
	for _, no := range bench.Sorted(b.Loads) {
		l := b.Loads[no]
		if !l.In.At.Before(long) {
			continue
		}
		until := long
		if len(b.StillIn(l)) == 0 && l.Last.At.Before(long) {
			until = l.Last.At.Add(1)
		}
		p.readingsBetween(l.In.At, until, seqs)
	}
	return len(seqs)
}

// readingsBefore adds the bath temperatures read before an instant that a cure going
// on then may rest on.
func (p *past) readingsBefore(at time.Time, seqs map[uint64]bool) {
	p.readingsBetween(at.Add(-bench.ReadingMemory), at, seqs)
}

// readingsBetween adds the bath temperatures read from one instant until before another.
func (p *past) readingsBetween(from, until time.Time, seqs map[uint64]bool) {
	near := map[uint64]bool{}
	p.between(from, until, near)
	first, last := uint64(math.MaxUint64), uint64(0)
	for seq := range near {
		first, last = min(first, seq), max(last, seq)
	}
	c := p.index()
	for k := c.Seek([]byte{'b'}); len(k) == 13 && k[0] == 'b'; {
		bath := action.Subject{Class: 'b', No: int(binary.BigEndian.Uint32(k[1:]))}
		prefix := layout.SubjectPrefix(bath)
		for k = c.Seek(layout.SubjectKey(bath, first)); len(k) == 13 && bytes.HasPrefix(k, prefix); k = c.Next() {
			seq := binary.BigEndian.Uint64(k[5:])
			if seq > last {
				break
			}
			if near[seq] {
				seqs[seq] = true
			}
		}
		bath.No++
		k = c.Seek(layout.SubjectPrefix(bath))
	}
}

// lookBack is how many flasks (or timers) opened before an instant are looked at
// for being still at work then.
const lookBack = 2000

// atWork finds what was at work at an instant without reading the history: what
// was begun before it and has a record after it, or is at work still. The settings
// and the crew of the time come with it. Before and after are by when things were
// done; the book is in order of when they were written, and some were written late.
func (p *past) atWork(at time.Time, now *bench.Bench) map[action.Subject]bool {
	out := map[action.Subject]bool{layout.SubjectSettings: true, layout.SubjectCrew: true}
	for _, it := range now.Items {
		for _, s := range it.Action.Body.Subjects() {
			out[s] = true
		}
	}
	first, late := p.since(at)
	for _, seq := range late {
		if r, err := p.at(seq); err == nil {
			for _, s := range bench.Subjects(r.Action.Body, p.body) {
				out[s] = true
			}
		}
	}
	c := p.index()
	for class, top := range map[byte]int{'f': now.Top.Flask, 't': now.Top.Timer} {
		begun := begunBefore(c, class, top, first)
		for no := begun; no > max(0, begun-lookBack); no-- {
			s := action.Subject{Class: class, No: no}
			k := prior(c, layout.SubjectPrefix(action.Subject{Class: class, No: no + 1})) // the last of this number
			if bytes.HasPrefix(k, layout.SubjectPrefix(s)) && binary.BigEndian.Uint64(k[5:]) >= first {
				out[s] = true
			}
		}
	}
	return out
}

// begunBefore gives the highest number of a class that was begun before a record of the
// book, of top in all. Numbers are given in order of the book, so those begun before come
// first.
func begunBefore(c *indexCursor, class byte, top int, seq uint64) int {
	return sort.Search(top, func(i int) bool {
		k := c.Seek(layout.SubjectPrefix(action.Subject{Class: class, No: i + 1}))
		return len(k) != 13 || k[0] != class || binary.BigEndian.Uint64(k[5:]) >= seq
	})
}

// A clock that once stood far ahead makes everything since look typed late. Past so many
// records only the weeks that follow are asked what was done later.
const (
	lateMost = 20_000
	lateSpan = 60 * 24 * time.Hour
)

// since gives the lowest number of what was done at an instant or after, and the numbers
// of what was done before it but stands behind that one in the book: it was typed late.
// Both come from the index by time alone; no record is read.
func (p *past) since(at time.Time) (first uint64, late []uint64) {
	if first, late = p.sinceUntil(at, time.Time{}); len(late) > lateMost {
		first, late = p.sinceUntil(at, at.Add(lateSpan))
	}
	return first, late
}

func (p *past) sinceUntil(at, end time.Time) (first uint64, late []uint64) {
	first = math.MaxUint64
	c := p.index()
	from, last := layout.DayKey(at, 0), []byte{'e'}
	if !end.IsZero() {
		last = layout.DayKey(end, 0)
	}
	day := func(k []byte) bool { return len(k) == 17 && k[0] == 'd' }
	for k := c.Seek(from); day(k) && bytes.Compare(k, last) < 0; k = c.Next() {
		first = min(first, binary.BigEndian.Uint64(k[9:]))
	}
	for k := prior(c, from); day(k); k = c.Prev() {
		if seq := binary.BigEndian.Uint64(k[9:]); seq > first {
			late = append(late, seq)
		}
	}
	return first, late
}

// OneFlask folds all there is about one flask, under the settings in force.
func (b *Book) OneFlask(no int) (*bench.Bench, error) {
	recs, err := b.Of(action.Subject{Class: 'f', No: no})
	if err != nil {
		return nil, err
	}
	out := bench.Fold(recs, bench.Counters{})
	out.House = b.State().Bench.House
	return out, nil
}
