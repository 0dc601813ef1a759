package logbook

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	bolt "go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// verified gives what Verify finds in a book.
func verified(t testing.TB, path string, ask check.Verifying) check.Report {
	t.Helper()
	rep, err := Verify(path, ask)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// shiftFile is the invented shift in a closed book.
func shiftFile(t testing.TB) (path string, recs []record.Record) {
	t.Helper()
	b := shift(t)
	recs = records(t, b)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Path(), recs
}

func TestVerifySound(t *testing.T) {
	path, recs := shiftFile(t)
	last := recs[len(recs)-1]
	rep := verified(t, path, check.Verifying{})
	if len(rep.Faults) != 0 {
		t.Errorf("faults of a sound book: %v", rep.Faults)
	}
	if rep.Head != (Head{Seq: last.Seq, Hash: last.Hash()}) || rep.Records != last.Seq || rep.Format != layout.FormatNow || rep.First != "2026-11-25" || rep.Last != "2026-11-26" {
		t.Errorf("report %+v, want the head %d:%s", rep, last.Seq, last.Hash().Short())
	}
	empty := filepath.Join(t.TempDir(), "empty.db")
	b, err := Open(empty, newHands(t).ck)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if rep := verified(t, empty, check.Verifying{}); len(rep.Faults) != 0 || rep.Records != 0 {
		t.Errorf("of a book without records: %+v", rep)
	}
	if _, err := Verify(filepath.Join(t.TempDir(), "none.db"), check.Verifying{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a file that is not there: %v", err)
	}
	if _, err := Verify(t.TempDir(), check.Verifying{}); err == nil {
		t.Error("a folder was looked through")
	}
}

// A sound book has no faults, whatever was done: the other eye is checkLive, checkIndex
// and the model of the random walk. check.Salvaged from its journal alone it is the same book.
func TestVerifyRandomBooks(t *testing.T) {
	dir := inMemory(t)
	rapid.Check(t, func(rt *rapid.T) {
		path := bookIn(t, dir)
		random(t, rt, path, rapid.IntRange(1, 12).Draw(rt, "records"))
		rep, err := Verify(path, check.Verifying{})
		if err != nil || len(rep.Faults) > 0 {
			rt.Fatalf("a sound book: %v, %v", err, rep.Faults)
		}
	})
}

// spoil changes a closed book through the store.
func spoil(t testing.TB, path string, change func(tx *bolt.Tx) error) {
	t.Helper()
	db, err := bolt.Open(path, 0o600, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Update(change); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// copyOf copies a file to a folder of its own.
func copyOf(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), filepath.Base(path))
	if err := os.WriteFile(to, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return to
}

// Each way of spoiling a book whose pages are sound is named, with the record.
func TestVerifyNames(t *testing.T) {
	path, recs := shiftFile(t)
	last := recs[len(recs)-1].Seq
	edit := func(seq uint64, old, with string) func(tx *bolt.Tx) error {
		return func(tx *bolt.Tx) error {
			v := tx.Bucket(layout.Log).Get(layout.SeqKey(seq))
			if !bytes.Contains(v, []byte(old)) {
				return fmt.Errorf("%q does not stand in %s", old, v)
			}
			return tx.Bucket(layout.Log).Put(layout.SeqKey(seq), bytes.Replace(v, []byte(old), []byte(with), 1))
		}
	}
	in := func(bucket, key, value []byte) func(tx *bolt.Tx) error {
		return func(tx *bolt.Tx) error { return tx.Bucket(bucket).Put(key, value) }
	}
	out := func(bucket, key []byte) func(tx *bolt.Tx) error {
		return func(tx *bolt.Tx) error { return tx.Bucket(bucket).Delete(key) }
	}
	id := func(seq uint64) []byte { return layout.IDKey(recs[seq-1].Action.ID) }
	prev := recs[29].Prev.String()
	for _, c := range []struct {
		name  string
		spoil func(tx *bolt.Tx) error
		want  []string
	}{
		{"a changed value", edit(30, `"by":"KT"`, `"by":"XY"`), []string{"record 30, 2026-11-25: was changed after it was written: record 31 was written on other bytes"}},
		{"a changed time", edit(30, `"at":"2026-11-25`, `"at":"2026-11-24`), []string{"record 30, 2026-11-24: was changed"}},
		{"a changed hash of the one before", edit(30, prev[:8], "00000000"), []string{"record 30, 2026-11-25: was changed", "record 29, 2026-11-25: nothing shows that it is as it was written: record 30, which would, is spoilt itself"}},
		{"another number in it", edit(30, `"seq":30`, `"seq":31`), []string{"record 30, on 2026-11-25 or after: cannot be read: it says that it is record 31"}},
		{"no JSON", edit(30, `{`, `[`), []string{"record 30, on 2026-11-25 or after: cannot be read", "record 29, 2026-11-25: nothing shows"}},
		{"an unknown act", edit(30, `"act":"`, `"act":"x`), []string{"record 30, on 2026-11-25 or after: cannot be read"}},
		{"two of them", func(tx *bolt.Tx) error {
			return errors.Join(edit(30, `KT`, `XY`)(tx), edit(31, `KT`, `XY`)(tx))
		}, []string{"record 30, 2026-11-25: nothing shows", "record 31, 2026-11-25: was changed"}},
		{"the first", edit(1, `KT`, `XY`), []string{"record 1, 2026-11-25: was changed"}},
		{"the last", edit(last, `KT`, `XY`), []string{fmt.Sprintf("record %d, 2026-11-26: was changed after it was written: the book says", last)}},
		{"one taken out", out(layout.Log, layout.SeqKey(30)), []string{"record 30, 2026-11-25: not there", "record 29, 2026-11-25: nothing shows"}},
		{"the first taken out", out(layout.Log, layout.SeqKey(1)), []string{"record 1, on 2026-11-25 or before: not there"}},
		{"the last two taken out", func(tx *bolt.Tx) error {
			return errors.Join(out(layout.Log, layout.SeqKey(last))(tx), out(layout.Log, layout.SeqKey(last-1))(tx))
		}, []string{fmt.Sprintf("records %d to %d, on 2026-11-26 or after: not there", last-1, last)}},
		{"one too many", in(layout.Log, layout.SeqKey(last+1), recs[3].Raw), []string{fmt.Sprintf("record %d, on 2026-11-26 or after: cannot be read", last+1), "beyond the end of the book"}},
		{"a number 0", in(layout.Log, layout.SeqKey(0), recs[3].Raw), []string{"stands where it does not belong"}},
		{"a key that is not a number", in(layout.Log, []byte("x"), recs[3].Raw), []string{"stands where it does not belong"}},
		{"another name of the book", in(layout.Meta, []byte("book"), []byte("OTHER")), []string{"the book is not called what it was when record 1 was written"}},
		{"no note of the head", out(layout.Meta, layout.KeyHead), []string{fmt.Sprintf("record %d, 2026-11-26: nothing shows", last)}},
		{"another note of the head", in(layout.Meta, layout.KeyHead, Head{Seq: last, Hash: recs[0].Prev}.Bytes()), []string{fmt.Sprintf("record %d, 2026-11-26: was changed", last)}},
		{"a head with another number", in(layout.Meta, layout.KeyHead, Head{Seq: last + 1<<23, Hash: recs[last-1].Hash()}.Bytes()), []string{fmt.Sprintf("the book's note of its last record has the hash of record %d and the number %d, which is spoilt", last, last+1<<23)}},
		{"a head before the end", in(layout.Meta, layout.KeyHead, Head{Seq: last - 2, Hash: recs[last-3].Hash()}.Bytes()), []string{fmt.Sprintf("records %d to %d, 2026-11-26: beyond the end", last-1, last)}},
		{"no format", out(layout.Meta, []byte("format")), []string{"the book does not say its format"}},
		{"a later format", in(layout.Meta, []byte("format"), []byte("4")), []string{"the logbook was written by a newer flaskside: format 4, this one reads up to 3: use a newer program"}},
		{"no day of birth", in(layout.Meta, []byte("created"), []byte("long ago")), []string{"the book does not say when it was made"}},
		{"no id", out(layout.Index, id(30)), []string{"record 30, 2026-11-25: cannot be found by its id"}},
		{"ids of three in a row", func(tx *bolt.Tx) error {
			return errors.Join(out(layout.Index, id(30))(tx), out(layout.Index, id(31))(tx), out(layout.Index, id(32))(tx))
		}, []string{"records 30 to 32, 2026-11-25: cannot be found by its id"}},
		{"an id that leads elsewhere", in(layout.Index, id(30), layout.SeqKey(7)), []string{"record 30, 2026-11-25: cannot be found by its id", "record 7, 2026-11-25: an index entry too many, by its id"}},
		{"no day", out(layout.Index, layout.DayKey(recs[29].Stamp.At, 30)), []string{"record 30, 2026-11-25: cannot be found by its day"}},
		{"another flask", in(layout.Index, layout.SubjectKey(action.Subject{Class: 'f', No: 9}, 30), nil), []string{"record 30, 2026-11-25: an index entry too many, by flask 9"}},
		{"an entry with a value", in(layout.Index, layout.DayKey(recs[29].Stamp.At, 30), []byte("x")), []string{"record 30, 2026-11-25: cannot be found by its day"}},
		{"an entry of no kind", in(layout.Index, []byte("zzz"), nil), []string{"an index entry too many, of no kind known"}},
		{"a live record missing", out(layout.Live, layout.SeqKey(last)), []string{fmt.Sprintf("record %d, 2026-11-26: the bench rests on it, but", last)}},
		{"a live record that is none", in(layout.Live, layout.SeqKey(999), nil), []string{"record 999: in the list of live records, but not there"}},
		{"a live record that is not a number", in(layout.Live, []byte("x"), nil), []string{"is not a number"}},
		{"a spoilt sign of life", in(layout.Beat, layout.KeyLast, []byte("{")), []string{"the sign of life cannot be read"}},
		{"a bucket too many", func(tx *bolt.Tx) error { _, err := tx.Bucket(layout.Beat).CreateBucket([]byte("x")); return err }, []string{`has a bucket within "beat"`}},
		{"a bucket missing", func(tx *bolt.Tx) error { return tx.DeleteBucket(layout.Live) }, []string{`the part "live" of the book cannot be reached`}},
		{"no log", func(tx *bolt.Tx) error { return tx.DeleteBucket(layout.Log) }, []string{`the part "log" of the book cannot be reached`, fmt.Sprintf("records 1 to %d", last)}},
	} {
		file := copyOf(t, path)
		spoil(t, file, c.spoil)
		rep := verified(t, file, check.Verifying{})
		for _, want := range c.want {
			ok := false
			for _, f := range rep.Faults {
				ok = ok || strings.Contains(f.String(), want)
			}
			if !ok {
				t.Errorf("%s: no fault says %q:\n%v", c.name, want, lines(rep.Faults))
			}
		}
		if len(rep.Faults) > len(c.want)+2 {
			t.Errorf("%s: %d faults:\n%v", c.name, len(rep.Faults), lines(rep.Faults))
		}
	}
}

func lines(fs []check.Fault) string {
	var b strings.Builder
	for _, f := range fs {
		fmt.Fprintf(&b, "  %s: %s\n", f.Kind, f)
	}
	return b.String()
}

// A head that was told before is in the book, or it is said that it is not.
func TestVerifyPins(t *testing.T) {
	path, recs := shiftFile(t)
	hash := func(seq int) string { return recs[seq-1].Hash().String() }
	for _, c := range []struct {
		pin string
		ok  bool
	}{
		{"30:" + hash(30)[:8], true},
		{"30:" + hash(30), true},
		{"30:" + strings.ToUpper(hash(30)[:20]), true},
		{"0:" + recs[0].Prev.String()[:16], true},
		{"30:" + hash(31)[:16], false},
		{"0:" + hash(1)[:16], false},
		{"9999:" + hash(30)[:16], false},
	} {
		p, err := check.ParsePin(c.pin)
		if err != nil {
			t.Fatal(err)
		}
		rep := verified(t, path, check.Verifying{Pins: []check.Pin{p}})
		if (len(rep.Faults) == 0) != c.ok || len(rep.Faults) > 1 {
			t.Errorf("%s: %v, want it to be in the book: %v", c.pin, rep.Faults, c.ok)
		}
		if slices.Contains(rep.Proven, p) != c.ok {
			t.Errorf("%s: proven are %v", c.pin, rep.Proven)
		}
	}
	// Each head is judged by itself; one behind a spoilt record is not proven, however
	// much its own hash fits.
	right, wrong := check.Pin{Seq: 30, Start: hash(30)}, check.Pin{Seq: 20, Start: hash(21)}
	if rep := verified(t, path, check.Verifying{Pins: []check.Pin{wrong, right}}); len(rep.Proven) != 1 || rep.Proven[0] != right {
		t.Errorf("with a wrong one beside it: proven %v", rep.Proven)
	}
	for what, spoilt := range map[string]func(tx *bolt.Tx) error{
		"one before it changed": func(tx *bolt.Tx) error {
			raw := bytes.Replace(recs[9].Raw, []byte("KT"), []byte("XY"), 1)
			return tx.Bucket(layout.Log).Put(layout.SeqKey(10), raw)
		},
		"one before it missing":  func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Delete(layout.SeqKey(10)) },
		"another name":           func(tx *bolt.Tx) error { return tx.Bucket(layout.Meta).Put([]byte("book"), []byte("OTHER")) },
		"no log to be looked at": func(tx *bolt.Tx) error { return tx.DeleteBucket(layout.Log) },
	} {
		file := copyOf(t, path)
		spoil(t, file, spoilt)
		if rep := verified(t, file, check.Verifying{Pins: []check.Pin{right}}); len(rep.Proven) > 0 || len(rep.Faults) == 0 {
			t.Errorf("%s: proven %v, faults %v", what, rep.Proven, rep.Faults)
		}
	}
	later := copyOf(t, path)
	spoil(t, later, func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Delete(layout.SeqKey(40)) })
	if rep := verified(t, later, check.Verifying{Pins: []check.Pin{right}}); len(rep.Proven) != 1 || len(rep.Faults) == 0 {
		t.Errorf("a later record missing: proven %v, faults %v", rep.Proven, rep.Faults)
	}
	for _, bad := range []string{"", "30", "30:", "30:1234567", "30:1234567g", "-1:12345678", "x:12345678", "30:" + strings.Repeat("a", 65), "30 :12345678"} {
		if p, err := check.ParsePin(bad); err == nil {
			t.Errorf("%q was taken for %v", bad, p)
		}
	}
}

// A branch page that names the wrong beginning of a page below it leaves every record in
// its place, where whoever goes through all finds it and whoever asks by number does not.
func TestVerifyNotFoundByNumber(t *testing.T) {
	path, _ := shiftFile(t)
	var root uint64
	spoil(t, path, func(tx *bolt.Tx) error { root = uint64(tx.Bucket(layout.Log).Root()); return nil })
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page := file[root*pageBytes:][:pageBytes]
	if kind := binary.LittleEndian.Uint16(page[8:]); kind != branchPage {
		t.Fatalf("the root of the log is a page of kind %d", kind)
	}
	at := pageHeader + entryHeader // the second entry
	key := page[at+int(binary.LittleEndian.Uint32(page[at:])):][:8]
	first := binary.BigEndian.Uint64(key)
	binary.BigEndian.PutUint64(key, first+2)
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	rep := verified(t, path, check.Verifying{})
	for seq := first - 1; seq <= first+2; seq++ {
		told := slices.ContainsFunc(rep.Faults, func(f check.Fault) bool {
			return f.Seq == seq && f.What == "stands in the book and is not found by its number"
		})
		if hidden := seq == first || seq == first+1; told != hidden {
			t.Errorf("record %d: told to be hidden: %v\n%s", seq, told, lines(rep.Faults))
		}
	}
}

// beside measures the journals of a book.
func beside(t testing.TB, path string) []check.JournalFile {
	t.Helper()
	fs, err := check.JournalFiles(path)
	if err != nil {
		t.Fatal(err)
	}
	return fs
}

// The journal beside a book is held against it line by line: what was changed in it, taken
// out of it or is too much is told as a fault of the journal, what is only behind is not.
func TestVerifyReadsWholeJournals(t *testing.T) {
	path, recs := shiftFile(t)
	n := uint64(len(recs))
	name := check.JournalName(path, "2026-11", "", false)
	whole, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	ahead, err := record.Write(n+1, recs[n-1].Hash(), timers.Reading{Wall: recs[n-1].Written}, recs[n-1].Stamp, action.Action{ID: "more", At: recs[n-1].Action.At, Body: action.Note{Flask: 1, Text: "more"}})
	if err != nil {
		t.Fatal(err)
	}
	other, err := record.Write(n, recs[n-2].Hash(), timers.Reading{Wall: recs[n-1].Written}, recs[n-1].Stamp, action.Action{ID: "other", At: recs[n-1].Action.At, By: "MR", Body: action.Note{Flask: 1, Text: "other"}})
	if err != nil {
		t.Fatal(err)
	}
	line := func(seq uint64) []byte { return append(bytes.Clone(recs[seq-1].Raw), '\n') }
	change := func(seq uint64, with []byte) []byte { return bytes.Replace(whole, line(seq), with, 1) }
	for _, c := range []struct {
		what    string
		journal []byte
		want    []string
	}{
		{"as it is", whole, nil},
		{"cut off at its end", whole[:len(whole)-700], nil},
		{"a line out of the middle", change(20, nil), []string{"record 20, 2026-11-25: stands in the book and not in the journal beside it"}},
		{"three lines out of the middle", bytes.Replace(whole, slices.Concat(line(20), line(21), line(22)), nil, 1), []string{"records 20 to 22, 2026-11-25: stands in the book and not"}},
		{"a line spoilt", change(20, []byte("spoilt\n")), []string{"record 20, 2026-11-25: line 21 of " + filepath.Base(name) + " cannot be read: the record stands in the book only"}},
		{"two lines spoilt", bytes.Replace(change(20, []byte("spoilt\n")), line(21), []byte("{}\n"), 1), []string{"record 20, 2026-11-25: line 21 of " + filepath.Base(name), "record 21, 2026-11-25: line 22 of " + filepath.Base(name)}},
		{"a line spoilt and one gone", bytes.Replace(change(20, []byte("spoilt\n")), line(21), nil, 1), []string{"line 21 of " + filepath.Base(name) + " cannot be read", "records 20 to 21, 2026-11-25: stands in the book and not"}},
		{"a line changed", change(20, bytes.Replace(line(20), []byte(`"at":"2026-11-25T`), []byte(`"at":"2026-11-24T`), 1)), []string{"line 21 of " + filepath.Base(name) + " holds it with other bytes than the book"}},
		{"one line ahead", append(bytes.Clone(whole), append(ahead.Raw, '\n')...), []string{fmt.Sprintf("record %d, 2026-11-26: the journal beside the book holds them, the book does not", n+1)}},
		{"another last record", change(n, append(bytes.Clone(other.Raw), '\n')), []string{fmt.Sprintf("record %d, 2026-11-26: another history: one record, of ", n), "by MR"}},
		{"another record beside the last", append(bytes.Clone(whole), append(other.Raw, '\n')...), []string{fmt.Sprintf("record %d, 2026-11-26: another history: one record", n)}},
		{"of another book", bytes.Replace(whole, []byte(`"book":"`), []byte(`"book":"A`), 1), nil},
		{"without its first line", whole[bytes.IndexByte(whole, '\n')+1:], nil},
	} {
		if err := os.WriteFile(name, c.journal, 0o600); err != nil {
			t.Fatal(err)
		}
		rep := verified(t, path, check.Verifying{Journals: beside(t, path)})
		got := lines(rep.Faults)
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: %q, want %q", c.what, got, want)
			}
		}
		if most := max(1, len(c.want)); len(rep.Faults) > most { // one thing done, one fault told
			t.Errorf("%s: %d faults:\n%s", c.what, len(rep.Faults), got)
		}
		for _, f := range rep.Faults {
			if len(c.want) == 0 || f.Kind != check.FaultJournal && f.Kind != check.FaultFork {
				t.Errorf("%s: %s", c.what, f)
			}
		}
		if others := len(rep.Others); (others > 0) != (c.what == "of another book") {
			t.Errorf("%s: of other books %q", c.what, rep.Others)
		}
	}
}
