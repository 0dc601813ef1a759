package logbook

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/house"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

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
	case action.Restored, action.SignOff, action.CaseIn, action.CaseOff, action.CaseDelivered:
		return true
	case action.Settings:
		h := a.House
		return h.Backup.At != "" || len(a.Changed) > 0 || h.Cases != "" || h.Press.MaxPSI != 0 || h.Press.FinalPSI != 0 || h.Remount != (house.Remount{}) || h.Place != (house.Place{}) || h.Plan != (house.Plan{})
	case action.Correct:
		return bytes.Contains(a.Set, []byte(`"gauge"`)) || bytes.Contains(a.Set, []byte(action.Finished))
	case action.Outcome:
		return a.Outcome == action.Finished
	case action.PressAt:
		return a.Gauge != ""
	case action.MetalToMetal:
		return a.Gauge != ""
	}
	return ofRegister(r)
}

// raise gives a book the format that its records want.
func raise(tx *bolt.Tx, recs []record.Record) error {
	if !slices.ContainsFunc(recs, newer) {
		return nil
	}
	return tx.Bucket(layout.Meta).Put([]byte("format"), []byte(formatNow))
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
		old = string(tx.Bucket(layout.Meta).Get([]byte("format"))) == Format
		return nil
	}); err != nil || !old {
		return err
	}
	to := asItWas(b.path, Format)
	if id, head, err := check.Peek(to); err == nil && id == b.id && head == b.State().Head {
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

// lots adds what the register knows of the lots that records name, and the record that
// shows that a register of their material is kept: what was asked about a lot rests on
// these.
func (p *past) lots(seqs map[uint64]bool) {
	want := map[action.Subject]bool{}
	kept := map[action.Material]bool{}
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		for _, s := range layout.RegisterSubjects(r.Action.Body, r.Stamp.At.Year()) {
			if s.Class == 'j' {
				want[s] = true
			}
		}
		for _, u := range action.LotsUsed(r.Action.Body) {
			if u.Lot != "" {
				want[layout.SubjectLot(u, r.Stamp.At.Year())] = true
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
func (p *past) firstLot(material action.Material, seqs map[uint64]bool) {
	all := map[uint64]bool{}
	p.ofSubject(layout.SubjectRegister(material), all)
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
