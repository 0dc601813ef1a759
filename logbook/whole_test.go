package logbook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// wholeBook walks a book that is closed and fails the test for every fault: a gap or
// a break in the chain, an index that is not what the records say, a live bench that
// is not the fold of all records, a page the store does not like. It looks for itself,
// so that the program's own Verify, asked as well, is held against something. It gives
// the records.
func wholeBook(t testing.TB, path string) []record.Record {
	t.Helper()
	recs, faults := faultsOf(path)
	for i, f := range faults {
		if i == 10 {
			t.Errorf("and %d more", len(faults)-i)
			break
		}
		t.Error(f)
	}
	if rep, err := Verify(path, check.Verifying{}); err != nil || len(rep.Faults) > 0 {
		t.Errorf("the program's own look at the book: %v, %v", rep.Faults, err)
	}
	return recs
}

func faultsOf(path string) (recs []record.Record, faults []error) {
	fault := func(format string, a ...any) { faults = append(faults, fmt.Errorf(format, a...)) }
	db, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true, Timeout: 5 * time.Second})
	if err != nil {
		fault("verify %s: %w", path, err)
		return nil, faults
	}
	defer func() { _ = db.Close() }() // only read from
	err = db.View(func(tx *bolt.Tx) error {
		for err := range tx.Check() {
			fault("page: %w", err)
		}
		head := record.Genesis(string(tx.Bucket(layout.Meta).Get([]byte("book"))))
		var seq uint64
		err := tx.Bucket(layout.Log).ForEach(func(k, v []byte) error {
			r, err := record.Decode(bytes.Clone(v))
			if err != nil {
				return fmt.Errorf("record %d: %w", seq+1, err)
			}
			if err := r.Next(seq, head); err != nil {
				fault("chain: %w", err)
			}
			if !bytes.Equal(k, layout.SeqKey(r.Seq)) {
				fault("record %d stands under the key %x", r.Seq, k)
			}
			seq, head = r.Seq, r.Hash()
			recs = append(recs, r)
			return nil
		})
		if err != nil {
			return err
		}
		checkIndex(tx, recs, fault)
		checkLive(tx, recs, fault)
		var b timers.Beat
		if v := tx.Bucket(layout.Beat).Get(layout.KeyLast); v != nil {
			if err := json.Unmarshal(v, &b); err != nil || b.Wall.IsZero() {
				fault("the sign of life is %s: %w", v, err)
			}
		}
		return nil
	})
	if err != nil {
		faults = append(faults, err)
	}
	return recs, faults
}

// checkIndex makes the index anew from the records and holds it against the stored.
func checkIndex(tx *bolt.Tx, recs []record.Record, fault func(string, ...any)) {
	byID := map[string]record.Record{}
	want := map[string]string{}
	for _, r := range recs {
		byID[r.Action.ID] = r
		if r.Seq > markOf(tx, recs) {
			continue // not written yet
		}
		want[string(layout.IDKey(r.Action.ID))] = string(layout.SeqKey(r.Seq))
		want[string(layout.DayKey(r.Stamp.At, r.Seq))] = ""
		about := r // looked at through corrections and takings back
		for {
			of := ""
			switch a := about.Action.Body.(type) {
			case action.Correct:
				of = a.Of
			case action.TakeBack:
				of = a.Of
			}
			if of == "" {
				break
			}
			about = byID[of]
		}
		if about.Seq != r.Seq {
			want[string(layout.AmendKey(about.Seq, r.Seq))] = ""
		}
		subjects := about.Action.Body.Subjects()
		switch a := about.Action.Body.(type) {
		case action.Settings:
			subjects = []action.Subject{{Class: 's', No: 1}}
		case action.Crew:
			subjects = []action.Subject{{Class: 's', No: 2}}
		case action.BathReading:
			subjects = []action.Subject{{Class: 'b', No: a.Bath}}
		case action.LotIn:
			subjects = []action.Subject{layout.SubjectRegister(a.Material), layout.SubjectLot(action.LotUse{Material: a.Material, Lot: a.Lot}, about.Stamp.At.Year())}
		case action.LotOut:
			subjects = []action.Subject{layout.SubjectRegister(a.Material), layout.SubjectLot(action.LotUse{Material: a.Material, Lot: a.Lot}, about.Stamp.At.Year())}
		case action.EquipIn:
			subjects = ofPiece(action.Piece{Item: a.Item, Name: a.Name})
			if on, err := action.ParsePiece(a.On); err == nil {
				subjects = append(subjects, layout.SubjectPiece(on))
			}
		case action.EquipCheck:
			subjects = ofPiece(action.Piece{Item: a.Item, Name: a.Name})
		case action.EquipWater:
			subjects = ofPiece(action.Piece(a))
		case action.EquipOut:
			subjects = ofPiece(action.Piece{Item: a.Item, Name: a.Name})
		case action.SignOff:
			subjects = []action.Subject{layout.SubjectSignOff(a)}
		case action.CaseIn:
			subjects = []action.Subject{layout.SubjectCase(a.Case)}
		case action.CaseOff:
			subjects = []action.Subject{layout.SubjectCase(a.Case)}
		case action.CaseDelivered:
			subjects = []action.Subject{layout.SubjectCase(a.Case)}
		case action.CaseStep:
			subjects = []action.Subject{layout.SubjectCase(a.Case)}
		case action.AlarmHeard:
			subjects = ofKey(a.Alarm)
		case action.AlarmShelve:
			subjects = ofKey(a.Alarm)
		}
		for _, s := range subjects {
			want[string(layout.SubjectKey(s, r.Seq))] = ""
		}
	}
	err := tx.Bucket(layout.Index).ForEach(func(k, v []byte) error {
		if w, ok := want[string(k)]; !ok {
			fault("the index has %q too much", k)
		} else if w != string(v) {
			fault("the index says %x of %q, want %x", v, k, w)
		}
		delete(want, string(k))
		return nil
	})
	if err != nil {
		fault("index: %w", err)
	}
	for k := range want {
		fault("the index lacks %q", k)
	}
}

func ofKey(key string) []action.Subject {
	s, ok := bench.SubjectOfKey(key)
	if !ok {
		s, ok = bench.SubjectOfStep(key)
	}
	if !ok {
		return nil
	}
	return []action.Subject{s}
}

// markOf gives the number of the record that the index and the list of live records end with.
func markOf(tx *bolt.Tx, recs []record.Record) uint64 {
	if v := tx.Bucket(layout.Meta).Get(layout.KeyIndexed); v != nil {
		return layout.Number(v)
	}
	return uint64(len(recs))
}

// checkLive folds the live records and holds the bench against the fold of all.
func checkLive(tx *bolt.Tx, recs []record.Record, fault func(string, ...any)) {
	var live []record.Record
	err := tx.Bucket(layout.Live).ForEach(func(k, v []byte) error {
		raw := tx.Bucket(layout.Log).Get(k)
		if raw == nil {
			fault("the live record %x is not in the log", k)
			return nil
		}
		r, err := record.Decode(bytes.Clone(raw))
		live = append(live, r)
		return err
	})
	if err != nil {
		fault("live: %w", err)
		return
	}
	mark := markOf(tx, recs)
	for _, r := range recs {
		if r.Seq > mark {
			live = append(live, r)
		}
	}
	if n := uint64(len(recs)) - mark; n >= pruneEvery {
		fault("the index is %d records behind", n)
	}
	if len(recs) == 0 {
		return
	}
	last := recs[len(recs)-1]
	now := timers.Now{Reading: timers.Reading{Wall: last.Stamp.At, BootID: last.Stamp.BootID, Boot: last.Stamp.Boot}}
	used := bench.Counters{Seq: last.Seq}
	for _, r := range recs {
		switch a := r.Action.Body.(type) {
		case action.FlaskOpen:
			used.Flask = max(used.Flask, a.Flask)
		case action.MixMake:
			used.Mix = max(used.Mix, a.Mix)
		case action.BathLoad:
			used.Load = max(used.Load, a.Load)
		case action.TimerStart:
			used.Timer = max(used.Timer, a.Timer)
		}
	}
	got, want := bench.Fold(live, newPast(tx).top(last.Seq)), bench.Fold(recs, used)
	if d := benchtest.Difference(benchtest.Dump(got, now), benchtest.Dump(want, now)); d != "" {
		fault("the live bench is not the fold of all records:\n%s", d)
	}
}

// The helper itself must see faults, or every test that ends with it proves nothing.
func TestWholeBookSeesFaults(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(tx *bolt.Tx) error
	}{
		{"a changed byte", func(tx *bolt.Tx) error {
			k := layout.SeqKey(2) // the last one no later record vouches for
			v := bytes.Replace(tx.Bucket(layout.Log).Get(k), []byte("KT"), []byte("KR"), 1)
			return tx.Bucket(layout.Log).Put(k, v)
		}},
		{"a record taken out", func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Delete(layout.SeqKey(3)) }},
		{"the first record taken out", func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Delete(layout.SeqKey(1)) }},
		{"another book's name", func(tx *bolt.Tx) error { return tx.Bucket(layout.Meta).Put([]byte("book"), []byte("OTHER")) }},
		{"an index entry missing", func(tx *bolt.Tx) error { return tx.Bucket(layout.Index).Delete(layout.IDKey("a0002")) }},
		{"an index entry too many", func(tx *bolt.Tx) error {
			return tx.Bucket(layout.Index).Put(layout.SubjectKey(action.Subject{Class: 'f', No: 9}, 1), nil)
		}},
		{"an index entry that points elsewhere", func(tx *bolt.Tx) error { return tx.Bucket(layout.Index).Put(layout.IDKey("a0002"), layout.SeqKey(1)) }},
		{"a live record missing", func(tx *bolt.Tx) error { return tx.Bucket(layout.Live).Delete(layout.SeqKey(2)) }},
		{"a live record that is none", func(tx *bolt.Tx) error { return tx.Bucket(layout.Live).Put(layout.SeqKey(99), nil) }},
		{"a spoilt sign of life", func(tx *bolt.Tx) error { return tx.Bucket(layout.Beat).Put(layout.KeyLast, []byte("{}")) }},
	} {
		h := newHands(t)
		h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
		h.do(minute, action.Coat{Flask: 1, Half: "cast"})
		h.do(minute, action.Coat{Flask: 1, Half: "teeth"})
		if err := h.b.Close(); err != nil {
			t.Fatal(err)
		}
		copied := t.TempDir() + "/copy.db"
		v, err := os.ReadFile(h.b.Path())
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(copied, v, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, faults := faultsOf(copied); len(faults) != 0 {
			t.Fatalf("a good book: %v", faults)
		}
		db, err := bolt.Open(copied, 0o600, nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.Update(c.spoil); err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		if _, faults := faultsOf(copied); len(faults) == 0 {
			t.Errorf("%s is not seen", c.name)
		}
	}
}

// What a bath read is at hand also where the cure lies long before the period: how it stands
// is no other then.
func TestCureBeforeThePeriodKeepsItsReadings(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	h.do(minute, action.BathReading{Bath: 1, TempC: 30, Source: "typed"})
	h.do(minute, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "1")
	for range 3 {
		h.do(2*time.Hour, action.BathReading{Bath: 1, TempC: 24, Source: "typed"})
	}
	h.do(4*time.Hour, action.BathUnload{Flasks: []int{1}}, "1")
	h.do(200*time.Hour, action.BathReading{Bath: 1, TempC: 74, Source: "typed"})
	h.do(100*time.Hour, action.Outcome{Flask: 1, Outcome: action.Finished}, "1")
	at := h.ck.Read().Wall
	b, err := h.b.Whole(at.Add(-time.Hour), at.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(b.ReadingsOf(b.Loads[1])); n != 3 {
		t.Errorf("%d readings of the load, want the 3 while it was in", n)
	}
	s, err := b.StandingOf(b.Flasks[1], timers.Now{Reading: h.ck.Read()})
	if err != nil || s.Word != cure.OffTemperature {
		t.Errorf("the cure stands as %q, %v; want %q", s.Word, err, cure.OffTemperature)
	}
}

func ofPiece(p action.Piece) []action.Subject {
	return []action.Subject{layout.SubjectEquipment, layout.SubjectPiece(p)}
}
