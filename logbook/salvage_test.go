package logbook

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
)

// salvaged brings together what is left and gives the records of the new book.
func salvaged(t testing.TB, file string, journals ...string) (check.Salvaged, []record.Record) {
	t.Helper()
	clock := simclock.At(start, "boot-1")
	to := filepath.Join(t.TempDir(), "new.db")
	s, err := Salvage(file, journals, to, nil, clock, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := OpenReading(to, clock)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }() // only read from
	return s, records(t, b)
}

func seqs(rs []record.Record) (out []uint64) {
	for _, r := range rs {
		out = append(out, r.Seq)
	}
	return out
}

// From the journals alone comes the same book: chain, name, bench, what it is found by.
func TestSalvageJournalAlone(t *testing.T) {
	path, recs := shiftFile(t)
	js, err := check.Journals(path)
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "new.db")
	s, err := Salvage(filepath.Join(t.TempDir(), "gone.db"), js, to, nil, simclock.At(start, "boot-1"), func(path string) (check.Report, error) {
		rep := verified(t, path, check.Verifying{})
		if len(rep.Faults) > 0 {
			return rep, errors.New(lines(rep.Faults))
		}
		return rep, nil
	})
	if err != nil || s.Records != uint64(len(recs)) || s.File != 0 || s.Journal != s.Records {
		t.Fatalf("%+v, %v", s, err)
	}
	id, _, err := check.Peek(path)
	if got, head, gerr := check.Peek(to); err != nil || gerr != nil || got != id || head != s.Head {
		t.Errorf("the book is called %q and ends with %v, %v; it was %q", got, head, gerr, id)
	}
	// The work goes on in it.
	h := &hands{t: t, ck: simclock.At(start.AddDate(0, 0, 2), "boot-2"), n: 1000}
	if h.b, err = Open(to, h.ck); err != nil {
		t.Fatal(err)
	}
	h.do(0, action.Note{Flask: 3, Text: "goes on"})
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	if rep := verified(t, to, check.Verifying{}); len(rep.Faults) > 0 {
		t.Errorf("after another record: %v", rep.Faults)
	}
	if _, err := Salvage(path, js, to, nil, h.ck, nil); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("over a file that is there: %v", err)
	}
	if _, err := Salvage(path, js, filepath.Join(t.TempDir(), "x.db"), nil, h.ck, func(string) (check.Report, error) { return check.Report{}, errors.New("no") }); err == nil {
		t.Error("a new book that does not please was kept")
	}
	// Nor is one with a fault that no loss explains.
	for kind, keeps := range map[check.FaultKind]bool{check.FaultMissing: true, check.FaultUnproven: true, check.FaultIndex: false, check.FaultHead: false, check.FaultChanged: false} {
		to := filepath.Join(t.TempDir(), "x.db")
		_, err := Salvage(path, js, to, nil, h.ck, func(string) (check.Report, error) {
			return check.Report{Faults: []check.Fault{{Kind: kind, What: "odd"}}}, nil
		})
		if _, gone := os.Stat(to); (err == nil) != keeps || (gone == nil) != keeps {
			t.Errorf("a new book with a fault of the kind %s: %v", kind, err)
		}
	}
}

// What stands in neither is listed, with its day; what nothing vouches for as well.
func TestSalvageLists(t *testing.T) {
	path, recs := shiftFile(t)
	js, err := check.Journals(path)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := os.ReadFile(js[0])
	if err != nil {
		t.Fatal(err)
	}
	text := strings.SplitAfter(string(plain), "\n") // text[n] is record n
	file := func(ls []string) string {
		name := filepath.Join(t.TempDir(), "x.jsonl")
		if err := os.WriteFile(name, []byte(strings.Join(ls, "")), 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	n := len(recs)
	without := func(nos ...int) []string {
		ls := slices.Clone(text)
		for _, no := range nos {
			ls[no] = ""
		}
		return ls
	}
	changed := func(no int, old, with string) []string {
		ls := slices.Clone(text)
		if !strings.Contains(ls[no], old) {
			t.Fatalf("%q does not stand in %s", old, ls[no])
		}
		ls[no] = strings.Replace(ls[no], old, with, 1)
		return ls
	}
	for _, c := range []struct {
		what    string
		journal []string
		have    int
		lost    []string
	}{
		{"one line missing", without(30), n - 1, []string{"record 30, 2026-11-25: not there", "record 29, 2026-11-25: brought back, but nothing shows"}},
		{"three in a row", without(69, 70, 71), n - 3, []string{"records 69 to 71, from 2026-11-25 to 2026-11-26: not there"}},
		{"the first", without(1), n - 1, []string{"record 1, on 2026-11-25 or before: not there"}},
		{"the heading", without(0), n, []string{"what the book was called is lost"}},
		{"a changed letter", changed(30, `"by":"KT"`, `"by":"XY"`), n - 1, []string{"record 30, 2026-11-25: not there"}},
		{"a changed number", changed(30, `"seq":30`, `"seq":90`), n - 1, []string{"record 30, 2026-11-25: not there"}},
		{"a changed number that is taken", changed(30, `"seq":30`, `"seq":20`), n - 1, []string{"record 30, 2026-11-25: not there"}},
		{"a changed hash", changed(30, recs[29].Prev.String()[:8], "00000000"), n - 1, []string{"record 30, 2026-11-25: not there"}},
		{"half a line", append(slices.Clone(text[:n]), text[n][:40]), n - 1, nil},
		{"the last changed", changed(n, "KT", "XY"), n, []string{fmt.Sprintf("record %d, 2026-11-26: brought back, but nothing shows", n)}},
		// Of two that contradict each other at the end nothing says which is spoilt: both are told of.
		{"the last names another", changed(n, recs[n-1].Prev.String()[:8], "00000000"), n, []string{
			fmt.Sprintf("record %d, 2026-11-26: brought back, but nothing shows", n-1), fmt.Sprintf("record %d, 2026-11-26: brought back, but nothing shows", n)}},
		{"the last but one changed", changed(n-1, "KT", "XY"), n, []string{
			fmt.Sprintf("record %d, 2026-11-26: brought back, but nothing shows", n-1), fmt.Sprintf("record %d, 2026-11-26: brought back, but nothing shows", n)}},
		{"lines in another order", append(append([]string{}, text[40:]...), text[:40]...), n, nil},
		{"every line twice", append(slices.Clone(text), text...), n, nil},
	} {
		s, got := salvaged(t, filepath.Join(t.TempDir(), "gone.db"), file(c.journal))
		if len(got) != c.have {
			t.Errorf("%s: %d records, want %d: %v", c.what, len(got), c.have, seqs(got))
		}
		for _, want := range c.lost {
			if !strings.Contains(lines(s.Lost), want) {
				t.Errorf("%s: not said: %q\n%s", c.what, want, lines(s.Lost))
			}
		}
		for _, r := range got {
			if !strings.HasPrefix(c.what, "the last") && !bytes.Equal(r.Raw, recs[r.Seq-1].Raw) {
				t.Errorf("%s: record %d came back as %s", c.what, r.Seq, r.Raw)
			}
		}
		if len(s.Lost) > len(c.lost)+3 {
			t.Errorf("%s: %d lost:\n%s", c.what, len(s.Lost), lines(s.Lost))
		}
	}
}

// A last record whose note of the one before is spoilt is not brought back as the end of
// the new book: it would have the one before called changed there.
func TestSalvageLastNamesAnother(t *testing.T) {
	path, recs := shiftFile(t)
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	n := len(recs)
	prev := []byte(recs[n-1].Prev.String())
	if bytes.Count(file, prev) != 1 {
		t.Fatalf("%d times in the file", bytes.Count(file, prev))
	}
	other := bytes.Clone(prev)
	if other[5]++; other[5] > '9' { // a digit again, and another one
		other[5] = '0'
	}
	spoilt := filepath.Join(t.TempDir(), "spoilt.db")
	if err := os.WriteFile(spoilt, bytes.Replace(file, prev, other, 1), 0o600); err != nil {
		t.Fatal(err)
	}
	s, got := salvaged(t, spoilt)
	if len(got) != n-1 || s.Gone() != 1 || !strings.Contains(lines(s.Lost), fmt.Sprintf("record %d, on 2026-11-26 or after: not there", n)) {
		t.Errorf("%d records of %d, %d gone:\n%s", len(got), n, s.Gone(), lines(s.Lost))
	}
	for _, r := range got {
		if !bytes.Equal(r.Raw, recs[r.Seq-1].Raw) {
			t.Errorf("record %d came back as %s", r.Seq, r.Raw)
		}
	}
}

// Where journal and book part ways, after records were given up, the book's own way
// counts; what the journal holds beyond its end is brought back too.
func TestSalvageParted(t *testing.T) {
	h := opened(t)
	h.notes(2)
	early, err := os.ReadFile(h.b.Path())
	if err != nil {
		t.Fatal(err)
	}
	h.notes(3) // 4, 5, 6: given up below
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	given := journaled(t, h.b.Path())
	if err := os.WriteFile(h.b.Path(), early, 0o600); err != nil {
		t.Fatal(err)
	}
	js, err := check.Journals(h.b.Path())
	if err != nil {
		t.Fatal(err)
	}
	// As it is, the journal holds more than the book: an older copy was put in its place.
	s, got := salvaged(t, h.b.Path(), js...)
	if len(got) != 6 || !bytes.Equal(got[5].Raw, given[5].Raw) {
		t.Errorf("brought together %v, %v", seqs(got), s.Lost)
	}
	// The work went on from the older copy.
	if h.b, err = Open(h.b.Path(), h.ck); err != nil {
		t.Fatal(err)
	}
	h.notes(5)
	want := records(t, h.b)
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	spoil(t, h.b.Path(), func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Delete(layout.SeqKey(2)) })
	s, got = salvaged(t, h.b.Path(), js...)
	if len(got) != len(want) || len(s.Lost) > 0 {
		t.Errorf("brought together %v, want %v; %v", seqs(got), seqs(want), s.Lost)
	}
	for i, r := range got {
		if !bytes.Equal(r.Raw, want[i].Raw) {
			t.Errorf("record %d came back as\n%s, want\n%s", r.Seq, r.Raw, want[i].Raw)
		}
	}
}
