package check

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// chainOf writes n notes one on the other, in a book of that name.
func chainOf(t testing.TB, book string, n int) (out []record.Record) {
	t.Helper()
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	prev := record.Genesis(book)
	for i := range n {
		at = at.Add(time.Minute)
		r, err := record.Write(uint64(i+1), prev, timers.Reading{Wall: at, BootID: "b", Boot: 5}, timers.Stamp{At: at},
			action.Action{ID: fmt.Sprintf("%s-%d", book, i+1), At: at, By: "KT", Body: action.Note{Flask: 1, Text: "a note"}})
		if err != nil {
			t.Fatal(err)
		}
		out, prev = append(out, r), r.Hash()
	}
	return out
}

// plainly is a journal of records, without its first line.
func plainly(recs []record.Record) (out []byte) {
	for _, r := range recs {
		out = append(append(out, r.Raw...), '\n')
	}
	return out
}

// smallStore is the file of a store with pages of 1 KiB that holds a few records.
func smallStore(t testing.TB, recs []record.Record) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "small.db")
	db, err := bolt.Open(path, 0o600, &bolt.Options{PageSize: 1024, Timeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	err = db.Update(func(tx *bolt.Tx) error {
		for _, name := range layout.Parts() {
			if _, err := tx.CreateBucket(name); err != nil {
				return err
			}
		}
		for _, r := range recs {
			if err := tx.Bucket(layout.Log).Put(layout.SeqKey(r.Seq), r.Raw); err != nil {
				return err
			}
		}
		return tx.Bucket(layout.Meta).Put(layout.KeyBook, []byte("BOOK"))
	})
	if err == nil {
		err = db.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	c, err := ContentsOf(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	return b[:c.Used()]
}

// FuzzScan looks for records in anything: it ends, and what it takes is a chain as far
// as it says so.
func FuzzScan(f *testing.F) {
	recs := chainOf(f, "BOOK", 3)
	plain := plainly(recs)
	f.Add(append(layout.SeqKey(1), recs[0].Raw...), plain)
	f.Add([]byte(nil), append(plain, plain...))
	f.Add(plain[:len(plain)/2], []byte(`{"journal":1,"book":"X"}`+"\n"+`{"v":1,"seq":`))
	f.Fuzz(func(t *testing.T, file, plain []byte) {
		s := newScan()
		for i, b := range [][]byte{file, plain} {
			if err := s.from(fmt.Sprint("source ", i), bytes.NewReader(b), int64(len(b))); err != nil {
				t.Fatal(err)
			}
		}
		s.mendKept()
		picks := s.Choose()
		for i, p := range picks {
			raw, err := s.bytes(p.piece)
			if err != nil {
				t.Fatal(err)
			}
			r, err := record.Decode(raw)
			if err != nil || r.Seq != p.seq || r.Hash() != p.hash || r.Prev != p.prev {
				t.Fatalf("took %q for record %d: %v", raw, p.seq, err)
			}
			if i > 0 && picks[i-1].seq >= p.seq {
				t.Fatalf("record %d stands behind %d", p.seq, picks[i-1].seq)
			}
			if i > 0 && picks[i-1].seq == p.seq-1 && p.proven && p.prev != picks[i-1].hash {
				t.Fatalf("record %d was taken, which %d contradicts", p.seq-1, p.seq)
			}
		}
	})
}

// FuzzPages walks pages that anything may stand in: it ends, and gives nothing that
// lies outside of them.
func FuzzPages(f *testing.F) {
	file := smallStore(f, chainOf(f, "BOOK", 4))
	metas, _ := metasOf(bytes.NewReader(file))
	m := latest(metas)
	f.Add(file[2*m.pageSize:], m.root-2, m.free-2)
	f.Fuzz(func(t *testing.T, file []byte, root, free uint64) {
		const size = 1024
		behind := append(make([]byte, 2*size), file...) // the first two pages are looked at elsewhere
		p := &pageFile{f: bytes.NewReader(behind), size: int64(len(behind))}
		p.meta = storeMeta{pageSize: size, root: root + 2, free: free + 2, high: uint64(len(behind)/size) + 1}
		_ = p.freeList()
		faults := 0
		w := p.walker(func(uint64, string) { faults++ })
		n, keys := 0, 0
		parts := w.buckets()
		for _, tr := range parts {
			w.walk(tr, func(e entry) bool {
				n++
				keys += len(e.key)
				if len(e.key) == 0 {
					t.Fatal("an entry without a key")
				}
				return true
			})
			p.find(tr, []byte("head"))
			if height := w.height(tr.root); tr.root != 0 {
				w.branches(tr.root, 0, height)
			}
		}
		if most := 2 * len(behind) / entryHeader; n > most || keys > 70*len(behind)*len(behind) {
			t.Fatalf("%d entries from %d bytes", n, len(behind))
		}
	})
}
