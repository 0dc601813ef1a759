package logbook

import (
	"errors"
	"hash/fnv"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/lot"
	"flaskside/logbook/record"
)

// FormatNow is the format of a book from its first record on that a program of format 1
// does not know: a lot taken in or withdrawn, a handover that was read, an hour for the
// backup. Such a program would call the book damaged, and must refuse it as newer instead.
// All else is as in format 1, so that nothing is laid out anew, and a book without them
// stays readable for older programs. A copy of the book as it was is kept.
const FormatNow = "2"

// ofRegister tells whether a record is of the register of lots.
func ofRegister(r record.Record) bool {
	switch r.Action.Body.(type) {
	case action.LotIn, action.LotOut:
		return true
	}
	return false
}

// newer tells whether a program of format 1 does not know a record.
func newer(r record.Record) bool {
	switch a := r.Action.Body.(type) {
	case action.Crew:
		return a.Handover
	case action.Settings:
		return a.House.Backup.At != ""
	}
	return ofRegister(r)
}

// raise gives a book the format that its records want.
func raise(tx *bolt.Tx, recs []record.Record) error {
	if !slices.ContainsFunc(recs, newer) {
		return nil
	}
	return tx.Bucket(bMeta).Put([]byte("format"), []byte(FormatNow))
}

// asItWas is where a copy of a book stays that it was in an older format.
func asItWas(bookPath, format string) string {
	return strings.TrimSuffix(bookPath, ".db") + ".format-" + format + ".db"
}

// keepAsItWas makes a copy of a book of format 1 before its first record that programs of
// that format do not know: they can go on with the copy. A book without records needs none.
func (b *Book) keepAsItWas(recs []record.Record) error {
	if b.State().Head.Seq == 0 || !slices.ContainsFunc(recs, newer) {
		return nil
	}
	old := false
	if err := b.view(func(tx *bolt.Tx) error {
		old = string(tx.Bucket(bMeta).Get([]byte("format"))) == Format
		return nil
	}); err != nil || !old {
		return err
	}
	to := asItWas(b.path, Format)
	if id, head, err := Peek(to); err == nil && id == b.id && head == b.State().Head {
		return nil // made a moment ago, and then the record was not saved
	}
	if there(to) {
		to = freeName(to, b.clock.Read().Wall)
	}
	part := to + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := writeSynced(part, b.Snapshot); err != nil {
		return errors.Join(err, os.Remove(part))
	}
	if err := os.Rename(part, to); err != nil {
		return err
	}
	return syncDir(filepath.Dir(to))
}

// Subjects of the index for lots: the register of a material, and one lot of it, by a
// number made of its name. Two lots may share one: then a little too much is read.
func subjectRegister(material string) action.Subject {
	return action.Subject{Class: 'k', No: slices.Index(action.Materials, material) + 1}
}

func subjectLot(u action.LotUse, year int) action.Subject {
	name := strings.TrimSpace(u.Lot)
	if l, err := lot.Parse(u.Lot, year); err == nil {
		name = l.Name()
	}
	h := fnv.New32a()
	_, _ = h.Write([]byte(u.Material + "\x00" + name)) // a hash takes everything
	return action.Subject{Class: 'j', No: int(h.Sum32() >> 1)}
}

// registerSubjects gives the index entries of a record of the register.
func registerSubjects(body action.Body, year int) []action.Subject {
	var u action.LotUse
	switch a := body.(type) {
	case action.LotIn:
		u = action.LotUse{Material: a.Material, Lot: a.Lot}
	case action.LotOut:
		u = action.LotUse{Material: a.Material, Lot: a.Lot}
	default:
		return nil
	}
	return []action.Subject{subjectRegister(u.Material), subjectLot(u, year)}
}

// lots adds what the register knows of the lots that records name, and the record that
// shows that a register of their material is kept: what was asked about a lot rests on
// these.
func (p *past) lots(seqs map[uint64]bool) {
	want := map[action.Subject]bool{}
	kept := map[string]bool{}
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		for _, s := range registerSubjects(r.Action.Body, r.Stamp.At.Year()) {
			if s.Class == 'j' {
				want[s] = true
			}
		}
		for _, u := range action.LotsUsed(r.Action.Body) {
			if u.Lot != "" {
				want[subjectLot(u, r.Stamp.At.Year())] = true
				kept[u.Material] = true
			}
		}
	}
	for s := range want {
		p.ofSubject(s, seqs)
	}
	for material := range kept {
		p.firstLot(material, seqs)
	}
}

// firstLot adds the first lot of a material that was taken in and not taken back.
func (p *past) firstLot(material string, seqs map[uint64]bool) {
	all := map[uint64]bool{}
	p.ofSubject(subjectRegister(material), all)
	order := make([]uint64, 0, len(all))
	for seq := range all {
		order = append(order, seq)
	}
	slices.Sort(order)
	for _, seq := range order {
		r, err := p.at(seq)
		if err != nil {
			return
		}
		if _, in := r.Action.Body.(action.LotIn); !in {
			continue
		}
		amended := map[uint64]bool{}
		p.amendments(seq, amended)
		back := false
		for a := range amended {
			if r, err := p.at(a); err == nil {
				_, is := r.Action.Body.(action.TakeBack)
				back = back || is
			}
		}
		if !back {
			seqs[seq] = true
			return
		}
	}
}
