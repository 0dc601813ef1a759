package logbook

import (
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// A cursor over stored entries and others goes through them as if all of them were stored,
// forwards, backwards and from any key on.
func TestIndexCursor(t *testing.T) {
	t.Parallel()
	db, err := bolt.Open(filepath.Join(inMemory(t), "x.db"), 0o600, &bolt.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }() // thrown away
	rapid.Check(t, func(rt *rapid.T) {
		keys := rapid.SliceOfDistinct(rapid.StringMatching(`[a-d]{1,3}`), func(s string) string { return s }).Draw(rt, "keys")
		slices.Sort(keys)
		tx, err := db.Begin(true)
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = tx.Rollback() }() // thrown away
		b, err := tx.CreateBucket([]byte("b"))
		if err != nil {
			rt.Fatal(err)
		}
		var more []entry
		for _, k := range keys {
			if rapid.Bool().Draw(rt, "stored") {
				if err := b.Put([]byte(k), nil); err != nil {
					rt.Fatal(err)
				}
			} else {
				more = append(more, entry{key: []byte(k)})
			}
		}
		c, at := &indexCursor{c: b.Cursor(), more: more}, -1
		for range rapid.IntRange(1, 40).Draw(rt, "moves") {
			var got []byte
			var did string
			switch k := rapid.IntRange(0, 5).Draw(rt, "move"); {
			case k == 0:
				did, got, at = "last", c.Last(), len(keys)-1
			case k == 1 || at < 0 || at >= len(keys): // past an end only these two say where it stands
				to := rapid.StringMatching(`[a-d]{0,3}`).Draw(rt, "to")
				at, _ = slices.BinarySearch(keys, to)
				did, got = "seek "+to, c.Seek([]byte(to))
			case k < 4:
				at++
				did, got = "next", c.Next()
			default:
				at--
				did, got = "prev", c.Prev()
			}
			want := ""
			if at >= 0 && at < len(keys) {
				want = keys[at]
			}
			if string(got) != want || (got == nil) != (want == "") {
				rt.Fatalf("%s gives %q, want %q of %v, not stored %s", did, got, want, keys, more)
			}
		}
	})
}

// raiseFormat makes a new book one of the newest format by a record that wants it.
func raiseFormat(t testing.TB, b *Book, ck *simclock.Hand) {
	t.Helper()
	if _, err := b.Append(action.Action{ID: "join", At: ck.Read().Wall, By: "KT", Body: action.Screen{What: "joined", Role: "work"}}); err != nil {
		t.Fatal(err)
	}
}

// makeNewest makes a book without records that is of the newest format, so that its index may
// be left behind from the first record on. One that is there stays as it is.
func makeNewest(path string, ck timers.Clock) error {
	if there(path) {
		return nil
	}
	if err := create(path, ck); err != nil {
		return err
	}
	db, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: time.Second})
	if err != nil {
		return err
	}
	return errors.Join(db.Update(func(tx *bolt.Tx) error {
		m := tx.Bucket(layout.Meta)
		return errors.Join(m.Put([]byte("format"), []byte(formatNow)), m.Put(layout.KeyIndexed, layout.SeqKey(0)))
	}), db.Close())
}

// knowsWhatItLacks holds what a book keeps in mind of what its index lacks against what its file says, and has nothing
// else believed.
func knowsWhatItLacks(t *testing.T, b *Book) {
	t.Helper()
	if err := b.view(func(tx *bolt.Tx) error {
		read, err := readBehind(tx)
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(b.behind, read) {
			t.Fatalf("it keeps in mind\n%v\nand lacks\n%v", b.behind, read)
		}
		n := len(read.recs)
		for what, known := range map[string]*behind{"all": b.behind, "nothing": {}, "unknown": nil, "less": {recs: read.recs[:max(0, n-1)]}, "another end": {recs: append(slices.Clone(read.recs[:max(0, n-1)]), record.Record{Seq: 1})}} {
			if got, err := behindIn(tx, known); err != nil || !reflect.DeepEqual(got, read) {
				t.Fatalf("by one who knows %s it lacks\n%v, %v\nwant\n%v", what, got, err, read)
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// Whatever the index of a book lacks, the book answers as one whose index is whole, also where
// it was copied in the middle or its program was killed; and verify finds nothing.
func TestIndexLeftBehind(t *testing.T) {
	t.Parallel()
	dir, lagged := inMemory(t), 0
	for seed := range longrun.Times(4, 100) {
		path := filepath.Join(dir, fmt.Sprint(seed, ".db"))
		ck := simclock.At(start, "boot-1")
		b, err := Open(path, ck)
		if err != nil {
			t.Fatal(err)
		}
		raiseFormat(t, b, ck)
		s := newBusy(b, ck, uint64(seed))
		for range 40 + seed*37%90 {
			if _, err := b.Append(s.next()); err != nil {
				t.Fatal(err)
			}
			if s.rnd.IntN(50) == 0 {
				if err := b.Beat(); err != nil {
					t.Fatal(err)
				}
			}
			knowsWhatItLacks(t, b)
		}
		lagged += len(b.behind.recs)
		cut := path + ".cut.db"
		copyTo(t, cut, path) // as a kill leaves it
		wholeBook(t, cut)
		ask := func(b *Book) string {
			var out strings.Builder
			from := start.Add(time.Hour)
			whole, err := b.Whole(from, from.Add(24*time.Hour))
			fmt.Fprintln(&out, len(whole.Items), err)
			asOf, err := b.AsOf(from)
			fmt.Fprintln(&out, len(asOf.Items), err)
			for no := range b.State().Bench.Top.Flask {
				of, err := b.Of(action.Subject{Class: 'f', No: no + 1})
				fmt.Fprintln(&out, no+1, len(of), err)
			}
			fmt.Fprint(&out, benchtest.DumpWork(b.State().Bench, b.Now()), b.State().Bench.Top)
			return out.String()
		}
		left, err := OpenReading(cut, ck)
		if err != nil {
			t.Fatal(err)
		}
		got, lacked := ask(left), ask(b)
		if err := left.Close(); err != nil {
			t.Fatal(err)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
		if b, err = Open(path, ck); err != nil {
			t.Fatal(err)
		}
		if n := len(b.behind.recs); n > 0 {
			t.Errorf("%d records are not in the index of a book that was closed", n)
		}
		if want := ask(b); lacked != want || got != want {
			t.Fatalf("seed %d: with an index left behind %d and %d bytes of answers, want %d", seed, len(lacked), len(got), len(want))
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if lagged == 0 {
		t.Error("no index was behind: nothing was tried")
	}
}

// A mark that cannot be is told of, and the book is not opened on it.
func TestIndexMarkSpoilt(t *testing.T) {
	t.Parallel()
	dir := inMemory(t)
	for name, c := range map[string]struct {
		mark  []byte
		opens bool
	}{
		"beyond the end":  {layout.SeqKey(500), false},
		"no number":       {[]byte("x"), false},
		"long before it":  {layout.SeqKey(3), true}, // what it would lack is there: verify says so
		"as it should be": {layout.SeqKey(101), true},
	} {
		path := filepath.Join(dir, name+".db")
		ck := simclock.At(start, "boot-1")
		b, err := Open(path, ck)
		if err != nil {
			t.Fatal(err)
		}
		raiseFormat(t, b, ck)
		s := newBusy(b, ck, 3)
		for range 100 {
			if _, err := b.Append(s.next()); err != nil {
				t.Fatal(err)
			}
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
		spoil(t, path, func(tx *bolt.Tx) error { return tx.Bucket(layout.Meta).Put(layout.KeyIndexed, c.mark) })
		rep, err := Verify(path, check.Verifying{})
		if err != nil {
			t.Fatal(err)
		}
		if sound := name == "as it should be"; (len(rep.Faults) == 0) != sound {
			t.Errorf("%s: verify finds %v", name, rep.Faults)
		}
		b, err = Open(path, ck)
		if (err == nil) != c.opens {
			t.Errorf("%s: opening gives %v", name, err)
		}
		if err == nil {
			_ = b.Close() // only looked at
		}
	}
}
