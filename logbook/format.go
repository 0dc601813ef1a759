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

// newer tells whether a program of format 1 does not know a record.
func newer(r record.Record) bool {
	switch a := r.Action.Body.(type) {
	case action.Crew:
		return a.Handover
	case action.Restored, action.SignOff, action.CaseIn, action.CaseOff, action.CaseDelivered:
		return true
	case action.Settings:
		h := a.House
		return h.Backup.At != "" || len(a.Changed) > 0 || h.Cases != "" || h.Press.MaxPSI != 0 || h.Press.FinalPSI != 0 || h.Remount != (house.RemountRule{}) || h.Place != (house.Site{}) || h.Plan != (house.Planning{})
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

// newest tells whether a program of format 2 does not know a record.
func newest(r record.Record) bool {
	switch a := r.Action.Body.(type) {
	case action.Screen, action.DayPlan, action.CaseStep:
		return true
	case action.Restored:
		return a.Salvaged
	case action.CaseIn:
		return a.Route != "" || a.Ends != "" || a.Made > 0
	case action.CaseDelivered:
		return len(a.Missing) > 0
	case action.Caution:
		return !slices.Contains(cautionsOfOld, a.Hazard)
	case action.Correct:
		return bytes.Contains(a.Set, []byte(`"route"`)) || bytes.Contains(a.Set, []byte(`"ends"`)) || bytes.Contains(a.Set, []byte(`"missing"`)) || bytes.Contains(a.Set, []byte(`"off_place"`)) || bytes.Contains(a.Set, []byte(`"places"`)) || bytes.Contains(a.Set, []byte(`"clamp"`))
	case action.Settings:
		return len(a.House.People)+len(a.House.Routes)+a.House.Pots+a.House.Ovens > 0 || a.House.Mirror != (house.Mirror{}) || a.House.NoNotes
	case action.BathLoad:
		return a.OffPlace || len(a.Doubts) > 0
	case action.BathUnload:
		return len(a.Places) > 0
	case action.TakeBack:
		return len(a.NoPlace) > 0
	case action.Clamp:
		return a.Clamp != ""
	}
	_, piece := action.PieceOf(r.Action.Body)
	return piece || len(action.DoubtsOf(r.Action.Body)) > 0
}

// cautionsOfOld are the cautions that format 2 has.
var cautionsOfOld = []string{"monomer", "press", "bath", "deflask"}

// wanted is the least format of a book that holds some records.
func wanted(recs []record.Record) string {
	out := format
	for _, r := range recs {
		switch {
		case newest(r):
			return formatNow
		case newer(r):
			out = layout.Format2
		}
	}
	return out
}

// raise gives a book the format that its records want.
func raise(tx *bolt.Tx, recs []record.Record) error {
	to := wanted(recs)
	if meta := tx.Bucket(layout.Meta); to > string(meta.Get([]byte("format"))) {
		return meta.Put([]byte("format"), []byte(to))
	}
	return nil
}

// asItWas is where a copy of a book stays that it was in an older format.
func asItWas(bookPath, format string) string {
	return strings.TrimSuffix(bookPath, ".db") + ".format-" + format + ".db"
}

// keepAsItWas makes a copy of a book before its first record that programs of its format do
// not know: they can go on with the copy. A book without records needs none.
func (b *Book) keepAsItWas(recs []record.Record) error {
	to := wanted(recs)
	if b.State().Head.Seq == 0 || to == format {
		return nil
	}
	var format string
	if err := b.view(func(tx *bolt.Tx) error {
		format = string(tx.Bucket(layout.Meta).Get([]byte("format")))
		return nil
	}); err != nil || format >= to {
		return err
	}
	return b.copyAsItWas(asItWas(b.path, format))
}

func (b *Book) copyAsItWas(to string) error {
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
