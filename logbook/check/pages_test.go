package check

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/layout"
)

// Of a large book only the branches are looked at before the store is let near it, and
// each of them: one that leads anywhere but to a page of its own would keep the store for
// ever, or end the process.
func TestBranches(t *testing.T) {
	path := filepath.Join(t.TempDir(), "book.db")
	db, err := bolt.Open(path, 0o600, &bolt.Options{Timeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Update(func(tx *bolt.Tx) error {
		b, err := tx.CreateBucket(layout.Log)
		for i := 0; i < 600 && err == nil; i++ { // two to a leaf: branches below a branch
			err = b.Put(layout.SeqKey(uint64(i)), make([]byte, 1500))
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	look := func(b []byte) error { return lookThrough(bytes.NewReader(b), int64(len(b)), false) }
	if err := look(whole); err != nil {
		t.Fatalf("a sound book: %v", err)
	}
	// All pages of the trees, and which branch leads where.
	le := binary.LittleEndian
	p, err := openPages(bytes.NewReader(whole), int64(len(whole)), func(string, ...any) {})
	if err != nil {
		t.Fatal(err)
	}
	w := p.walker(func(page uint64, what string) { t.Fatal(pageText(page, what)) })
	above := map[uint64][]uint64{} // of a branch, with itself
	var down func(id uint64, path []uint64)
	down = func(id uint64, path []uint64) {
		b, err := w.load(id)
		if err != nil {
			t.Fatal(err)
		}
		if le.Uint16(b[8:]) == leafPage {
			return
		}
		above[id] = append(path[:len(path):len(path)], id)
		for _, k := range w.kids(id, b) {
			down(k.page, above[id])
		}
	}
	deepest := 0
	for _, tr := range w.buckets() {
		if tr.root != 0 {
			down(tr.root, nil)
		}
	}
	for _, path := range above {
		deepest = max(deepest, len(path))
	}
	if deepest < 2 {
		t.Fatalf("%d branches, none below another: the book is too small for this", len(above))
	}

	rnd := rand.New(rand.NewPCG(26, 5))
	size := int(p.meta.pageSize)
	tried := 0
	try := func(what, says string, change func(page []byte)) {
		t.Helper()
		for id := range above {
			b := bytes.Clone(whole)
			change(b[int(id)*size : (int(id)+1)*size])
			err := look(b)
			if !errors.Is(err, layout.ErrDamaged) || !strings.Contains(err.Error(), says) {
				t.Errorf("%s, page %d: %v", what, id, err)
			}
			tried++
		}
	}
	entryAt := func(page []byte) int { return pageHeader + rnd.IntN(int(le.Uint16(page[10:])))*entryHeader }
	try("all zeros", "is all zeros", func(page []byte) { clear(page) })
	try("a child beyond the file", "", func(page []byte) { le.PutUint64(page[entryAt(page)+8:], 1<<40) })
	try("itself as a child", "", func(page []byte) { le.PutUint64(page[entryAt(page)+8:], le.Uint64(page)) })
	try("the first branch as a child", "", func(page []byte) {
		path := above[le.Uint64(page)]
		le.PutUint64(page[entryAt(page)+8:], path[0])
	})
	try("a child twice", "is reached twice", func(page []byte) {
		n := int(le.Uint16(page[10:]))
		copy(page[pageHeader+(n-1)*entryHeader+8:][:8], page[pageHeader+8:][:8])
	})
	try("another number", "says that it is page", func(page []byte) { page[0] ^= 1 })
	try("another kind", "neither branch nor leaf", func(page []byte) { page[8] = 0x10 })
	try("a leaf", "", func(page []byte) { page[8] = leafPage })
	try("no child", "is empty", func(page []byte) { le.PutUint16(page[10:], 0) })
	try("too many children", "", func(page []byte) { le.PutUint16(page[10:], 0xFFFF) })
	try("a key elsewhere", "outside of itself", func(page []byte) { le.PutUint32(page[entryAt(page):], 1<<30) })
	t.Logf("%d spoilt branches named", tried)
}
