package logbook

import (
	"bytes"
	"encoding/binary"
	"maps"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
)

// ByID finds a record by the id of its action.
func (b *Book) ByID(id string) (r record.Record, ok bool, err error) {
	err = b.view(func(tx *bolt.Tx) error {
		r, ok = recordByID(tx, id)
		return nil
	})
	return r, ok, err
}

// Each calls f with every record from number from on, in order, until f says stop
// or gives an error.
func (b *Book) Each(from uint64, f func(r record.Record) (more bool, err error)) error {
	return b.view(func(tx *bolt.Tx) error {
		c := tx.Bucket(bLog).Cursor()
		for k, v := c.Seek(seqKey(from)); k != nil; k, v = c.Next() {
			r, err := record.Decode(bytes.Clone(v))
			if err != nil {
				return err
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
		seqs := map[uint64]bool{}
		between(tx, from, until, seqs)
		recs, err := getSorted(tx, seqs)
		out = recs
		return err
	})
	return out, err
}

func between(tx *bolt.Tx, from, until time.Time, seqs map[uint64]bool) {
	c := tx.Bucket(bIndex).Cursor()
	end := dayKey(until, 0)
	for k, _ := c.Seek(dayKey(from, 0)); len(k) == 17 && k[0] == 'd' && bytes.Compare(k, end) < 0; k, _ = c.Next() {
		seqs[binary.BigEndian.Uint64(k[9:])] = true
	}
}

// Of gives the records about a subject, and about the mixes and loads it had part
// in, in order of the book.
func (b *Book) Of(s action.Subject) ([]record.Record, error) {
	var out []record.Record
	err := b.view(func(tx *bolt.Tx) error {
		seqs := map[uint64]bool{}
		withRelatives(tx, s, seqs)
		recs, err := getSorted(tx, seqs)
		out = recs
		return err
	})
	return out, err
}

// ofSubject adds the numbers of the records about a subject.
func ofSubject(tx *bolt.Tx, s action.Subject, seqs map[uint64]bool) {
	c := tx.Bucket(bIndex).Cursor()
	p := subjectPrefix(s)
	for k, _ := c.Seek(p); len(k) == len(p)+8 && bytes.HasPrefix(k, p); k, _ = c.Next() {
		seqs[binary.BigEndian.Uint64(k[len(p):])] = true
	}
}

// amendments adds the numbers of the corrections and takings back of a record.
func amendments(tx *bolt.Tx, of uint64, seqs map[uint64]bool) {
	c := tx.Bucket(bIndex).Cursor()
	p := amendKey(of, 0)[:9]
	for k, _ := c.Seek(p); len(k) == 17 && bytes.HasPrefix(k, p); k, _ = c.Next() {
		seqs[binary.BigEndian.Uint64(k[9:])] = true
	}
}

// withRelatives adds the records about a subject, and of a flask also those of its
// mixes and loads, without which its own cannot be read.
func withRelatives(tx *bolt.Tx, s action.Subject, seqs map[uint64]bool) {
	own := map[uint64]bool{}
	ofSubject(tx, s, own)
	for seq := range own {
		seqs[seq] = true
		r, err := getRecord(tx, seq)
		if err != nil {
			continue
		}
		for _, rel := range r.Action.Body.Subjects() {
			if rel.Class == 'm' || rel.Class == 'l' {
				ofSubject(tx, rel, seqs)
			}
		}
	}
}

func getSorted(tx *bolt.Tx, seqs map[uint64]bool) ([]record.Record, error) {
	order := make([]uint64, 0, len(seqs))
	for s := range seqs {
		order = append(order, s)
	}
	slices.Sort(order)
	out := make([]record.Record, 0, len(order))
	for _, s := range order {
		r, err := getRecord(tx, s)
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
		seqs := map[uint64]bool{}
		between(tx, from, until, seqs)
		day, err := getSorted(tx, seqs)
		if err != nil {
			return err
		}
		find := func(id string) (action.Body, bool) {
			r, ok := recordByID(tx, id)
			return r.Action.Body, ok
		}
		subjects := atWork(tx, from, b.State().Bench)
		for _, r := range day {
			for _, s := range bench.Subjects(r.Action.Body, find) {
				subjects[s] = true
			}
		}
		for s := range subjects {
			withRelatives(tx, s, seqs)
		}
		if err := readingsBefore(tx, from, seqs); err != nil {
			return err
		}
		for _, seq := range slices.Collect(maps.Keys(seqs)) {
			amendments(tx, seq, seqs)
		}
		recs, err := getSorted(tx, seqs)
		if err != nil {
			return err
		}
		kept := recs[:0]
		for _, r := range recs {
			_, isCorrect := r.Action.Body.(action.Correct)
			_, isBack := r.Action.Body.(action.TakeBack)
			if r.Stamp.At.Before(until) || corrections && (isCorrect || isBack) {
				kept = append(kept, r)
			}
		}
		out = bench.Fold(kept, bench.Counters{})
		return nil
	})
	return out, err
}

// readingsBefore adds the bath temperatures read before an instant that a cure going
// on then may rest on.
func readingsBefore(tx *bolt.Tx, at time.Time, seqs map[uint64]bool) error {
	near := map[uint64]bool{}
	between(tx, at.Add(-bench.ReadingMemory), at, near)
	recs, err := getSorted(tx, near)
	if err != nil {
		return err
	}
	for _, r := range recs {
		if _, ok := r.Action.Body.(action.BathReading); ok {
			seqs[r.Seq] = true
		}
	}
	return nil
}

// lookBack is how many flasks (or timers) opened before an instant are looked at
// for being still at work then.
const lookBack = 2000

// atWork finds what was at work at an instant without reading the history: what
// was begun before it and has a record after it, or is at work still. The settings
// and the crew of the time come with it.
func atWork(tx *bolt.Tx, at time.Time, now *bench.Bench) map[action.Subject]bool {
	out := map[action.Subject]bool{subjectSettings: true, subjectCrew: true}
	first := uint64(1) << 62
	if k, _ := tx.Bucket(bIndex).Cursor().Seek(dayKey(at, 0)); len(k) == 17 && k[0] == 'd' {
		first = binary.BigEndian.Uint64(k[9:])
	}
	for _, it := range now.Items {
		for _, s := range it.Action.Body.Subjects() {
			out[s] = true
		}
	}
	c := tx.Bucket(bIndex).Cursor()
	for _, class := range []byte{'f', 't'} {
		k, _ := c.Seek([]byte{class + 1})
		if k == nil {
			k, _ = c.Last()
		} else {
			k, _ = c.Prev()
		}
		for n := 0; n < lookBack && len(k) == 13 && k[0] == class; {
			no := action.Subject{Class: class, No: int(binary.BigEndian.Uint32(k[1:5]))}
			last := binary.BigEndian.Uint64(k[5:])
			begun, _ := c.Seek(subjectPrefix(no))
			if binary.BigEndian.Uint64(begun[5:]) < first {
				n++
				if last >= first {
					out[no] = true
				}
			}
			k, _ = c.Prev() // the last key of the number before
		}
	}
	return out
}
