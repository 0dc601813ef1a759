package logbook

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"sort"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// In a book of the newest format the index and the list of live records may stop short of the
// log, by less than [pruneEvery] records: the mark says with which record they end. What they
// lack is made from those records wherever it is asked for, in the same transaction, and is
// written with the next sign of life at the latest. So a record costs the pages of the log alone.

// entry of the index.
type entry struct{ key, value []byte }

func byKey(a, b entry) int { return bytes.Compare(a.key, b.key) }

// behind is what the index of a book lacks.
type behind struct {
	recs    []record.Record // with numbers one after the other, up to the last
	entries []entry         // of them, in the order of the keys
}

// entriesOf makes the entries of a record from its keys.
func entriesOf(r record.Record, keys [][]byte) []entry {
	out := make([]entry, len(keys))
	for i, k := range keys {
		out[i].key = k
	}
	if len(out) > 0 {
		out[0].value = layout.SeqKey(r.Seq) // of the id alone
	}
	return out
}

// add puts the next record to those that the index lacks.
func (h *behind) add(r record.Record, keys [][]byte) {
	h.recs = append(h.recs, r)
	for _, e := range entriesOf(r, keys) {
		i, _ := slices.BinarySearchFunc(h.entries, e, byKey)
		h.entries = slices.Insert(h.entries, i, e)
	}
}

// get gives the value of an entry.
func (h *behind) get(key []byte) []byte {
	if i, ok := slices.BinarySearchFunc(h.entries, entry{key: key}, byKey); ok {
		return h.entries[i].value
	}
	return nil
}

// readBehind finds what the index lacks in a transaction.
func readBehind(tx *bolt.Tx) (*behind, error) {
	h := &behind{}
	v := tx.Bucket(layout.Meta).Get(layout.KeyIndexed)
	if v == nil {
		return h, nil // it lacks nothing
	}
	mark := layout.Number(v)
	c := tx.Bucket(layout.Log).Cursor()
	last, _ := c.Last()
	if len(v) != 8 || layout.Number(last) < mark {
		return h, fmt.Errorf("%w: its index ends with record %d, and its log with %d", ErrDamaged, mark, layout.Number(last))
	}
	if layout.Number(last) == mark {
		return h, nil
	}
	p := &past{tx: tx, quick: record.NewReader(), known: map[uint64]record.Record{}, behind: h}
	for seq := mark + 1; seq <= layout.Number(last); seq++ {
		r, err := p.at(seq)
		if err != nil {
			return h, err
		}
		h.add(r, layout.IndexKeys(r, p.byID))
	}
	return h, nil
}

// behindIn is readBehind for one who may know already: what he knows is used where it goes from the mark to the very
// record that is the last.
func behindIn(tx *bolt.Tx, known *behind) (*behind, error) {
	v := tx.Bucket(layout.Meta).Get(layout.KeyIndexed)
	if known == nil || len(v) != 8 {
		return readBehind(tx)
	}
	last, _ := tx.Bucket(layout.Log).Cursor().Last()
	mark, n := layout.Number(v), uint64(len(known.recs))
	if mark+n != layout.Number(last) {
		return readBehind(tx)
	}
	if n == 0 {
		return known, nil
	}
	head, ok := layout.ParseHead(tx.Bucket(layout.Meta).Get(layout.KeyHead))
	if known.recs[0].Seq != mark+1 || !ok || head.Seq != mark+n || head.Hash != known.recs[n-1].Hash() {
		return readBehind(tx)
	}
	return known, nil
}

// bringUp brings the index up to the log.
func bringUp(tx *bolt.Tx) error {
	lacks, err := readBehind(tx)
	if err != nil || len(lacks.recs) == 0 {
		return err
	}
	if err := (&plan{}).writeIndex(tx, lacks); err != nil {
		return err
	}
	return putMark(tx, lacks.recs[len(lacks.recs)-1].Seq)
}

// putMark says how far the index goes, in a format that knows of it.
func putMark(tx *bolt.Tx, seq uint64) error {
	m := tx.Bucket(layout.Meta)
	if string(m.Get([]byte("format"))) < formatNow {
		return nil
	}
	if err := m.Put(layout.KeyIndexed, layout.SeqKey(seq)); err != nil {
		return fmt.Errorf("how far the index goes: %w", err)
	}
	return nil
}

// mayLag tells whether a record may go into the log alone.
func (b *Book) mayLag() bool { return b.marked && b.format == formatNow }

// wrote notes what became of the index with a plan that was carried out.
func (b *Book) wrote(w *plan) {
	b.format = max(b.format, wanted(w.fresh))
	if w.lags {
		b.behind.add(w.fresh[0], w.index[0])
		return
	}
	b.behind, b.marked = &behind{}, b.format == formatNow
}

// lacks gives what the index lacks.
func (p *past) lacks() *behind {
	if p.behind == nil {
		h, err := readBehind(p.tx)
		if err != nil {
			p.err = cmp.Or(p.err, err)
		}
		p.behind = h
	}
	return p.behind
}

// indexed gives the value of an entry of the index.
func (p *past) indexed(key []byte) []byte {
	if v := p.lacks().get(key); v != nil {
		return v
	}
	return p.tx.Bucket(layout.Index).Get(key)
}

// index walks over the index with what it lacks.
func (p *past) index() *indexCursor {
	return &indexCursor{c: p.tx.Bucket(layout.Index).Cursor(), more: p.lacks().entries}
}

// indexCursor goes through stored entries and others as if they were one; none is in both.
// Its methods are those of a cursor of the store.
type indexCursor struct {
	c      *bolt.Cursor
	more   []entry
	stored []byte // the nearest stored key from where it stands, nil for none
	at     int    // the nearest of more
	on     []byte // the key it stands on
	back   bool   // nearest is before, not behind
}

// ahead stands on the nearer of both, forwards.
func (x *indexCursor) ahead() []byte {
	x.back, x.on = false, x.stored
	if x.at < len(x.more) && (x.stored == nil || bytes.Compare(x.more[x.at].key, x.stored) < 0) {
		x.on = x.more[x.at].key
	}
	return x.on
}

// behind does so backwards.
func (x *indexCursor) before() []byte {
	x.back, x.on = true, x.stored
	if x.at >= 0 && (x.stored == nil || bytes.Compare(x.more[x.at].key, x.stored) > 0) {
		x.on = x.more[x.at].key
	}
	return x.on
}

func (x *indexCursor) search(key []byte) int {
	return sort.Search(len(x.more), func(i int) bool { return bytes.Compare(x.more[i].key, key) >= 0 })
}

// Seek goes to the first key that is not before another, nil where there is none.
func (x *indexCursor) Seek(key []byte) []byte {
	x.stored, _ = x.c.Seek(key)
	x.at = x.search(key)
	return x.ahead()
}

// Last goes to the last key.
func (x *indexCursor) Last() []byte {
	x.stored, _ = x.c.Last()
	x.at = len(x.more) - 1
	return x.before()
}

// Next goes to the key behind the one it stands on.
func (x *indexCursor) Next() []byte {
	if x.on == nil {
		return nil
	}
	if x.back {
		x.Seek(bytes.Clone(x.on))
	}
	if x.at < len(x.more) && bytes.Equal(x.more[x.at].key, x.on) {
		x.at++
	} else {
		x.stored, _ = x.c.Next()
	}
	return x.ahead()
}

// Prev goes to the key before the one it stands on.
func (x *indexCursor) Prev() []byte {
	if x.on == nil {
		return nil
	}
	if !x.back {
		on := bytes.Clone(x.on)
		switch x.stored, _ = x.c.Seek(on); {
		case x.stored == nil:
			x.stored, _ = x.c.Last()
		case !bytes.Equal(x.stored, on):
			x.stored, _ = x.c.Prev()
		}
		if x.at = x.search(on); x.at == len(x.more) || !bytes.Equal(x.more[x.at].key, on) {
			x.at--
		}
		x.on = on
	}
	if x.at >= 0 && bytes.Equal(x.more[x.at].key, x.on) {
		x.at--
	} else {
		x.stored, _ = x.c.Prev()
	}
	return x.before()
}

// prior gives the last key that stands before another.
func prior(c *indexCursor, key []byte) []byte {
	if k := c.Seek(key); k == nil {
		return c.Last()
	}
	return c.Prev()
}
