package logbook

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// checking goes through the actions of one input and makes a record of each that the book does
// not have. It writes nothing.
type checking struct {
	b       *Book
	tx      *bolt.Tx
	p       *past
	reading timers.Reading
	now     timers.Now
	cur     *bench.Bench
	head    Head
	batch   *batch                                 // the input's records
	came    func(was *bench.Bench, a *bench.Bench) // told where records came back to the bench; may be nil
}

// begin has the actions that follow checked inside a transaction, at one moment.
func (c *checking) begin(tx *bolt.Tx) {
	c.tx, c.p, c.reading = tx, nil, c.b.clock.Read()
	c.now = timers.Now{Reading: c.reading, Beat: c.b.State().Beat}
}

// next checks an action and gives its record with the keys that it is found by, or, where it
// was said before, the record that stands for it. Whoever calls puts the record on the bench.
func (c *checking) next(a action.Action) (rec record.Record, keys [][]byte, seen bool, err error) {
	if old, seen, err := c.alreadyThere(a); err != nil || seen {
		return old, nil, seen, err
	}
	was := c.cur
	if c.cur = recall(c.past(), was, a); c.cur != was && c.came != nil {
		c.came(was, c.cur)
	}
	stamp := timers.StampAt(a.At, c.reading)
	if old, said := c.cur.Answered(a.Body, stamp, c.now); said {
		return old, nil, true, nil
	}
	checked, err := c.cur.Check(a, stamp, c.now)
	if err != nil {
		if old, said := c.answered(a.Body, stamp); said {
			return old, nil, true, nil
		}
		return rec, nil, false, err
	}
	if err := c.signable(checked); err != nil {
		return rec, nil, false, err
	}
	if rec, err = record.Write(c.head.Seq+1, c.head.Hash, c.reading, stamp, checked); err != nil {
		return rec, nil, false, err
	}
	keys = layout.IndexKeys(rec, func(id string) (record.Record, bool) {
		it, ok := c.cur.Item(id)
		return it.Record, ok
	})
	c.head = Head{Seq: rec.Seq, Hash: rec.Hash()}
	c.batch.add(rec, keys)
	return rec, keys, false, nil
}

// knownAtOnce is how many records read from the book are kept at hand while an input is checked.
const knownAtOnce = 256

// past reads what is in the book.
func (c *checking) past() *past {
	if c.p == nil || len(c.p.known) > knownAtOnce {
		c.p = newPast(c.tx)
		c.p.behind, c.p.batch = c.b.behind, c.batch
	}
	return c.p
}

// alreadyThere looks for an id that was recorded before.
func (c *checking) alreadyThere(a action.Action) (old record.Record, seen bool, err error) {
	if i, ok := c.batch.ids[a.ID]; ok {
		old, err = c.batch.get(i)
	} else if v := c.past().indexed(layout.IDKey(a.ID)); v != nil {
		old, err = c.past().at(binary.BigEndian.Uint64(v))
	} else {
		return old, false, nil
	}
	if err != nil {
		return old, false, err
	}
	if what := saysElse(a, old); what != "" {
		return old, false, fmt.Errorf("the id %q is that of record %d, which says something else: %s: give each action an id of its own", a.ID, old.Seq, what)
	}
	return old, true, nil
}

// answered looks for an answer to an alarm among the records that the bench no longer rests on: an input that holds two
// for one can be given again when its flask is long finished.
func (c *checking) answered(body action.Body, then timers.Stamp) (old record.Record, said bool) {
	switch body.(type) {
	case action.AlarmHeard, action.AlarmShelve:
	default:
		return old, false
	}
	seqs := map[uint64]bool{}
	for _, s := range bench.Subjects(body, c.past().body) {
		c.p.lessOldNotes(s, seqs)
	}
	recs, err := c.p.sorted(seqs)
	if err != nil {
		return old, false
	}
	return bench.Fold(recs, c.cur.Top).Answered(body, then, c.now)
}

// recall brings back the records that a correction or a taking back speaks of, or a case that
// is taken in, where the bench no longer rests on them.
func recall(p *past, cur *bench.Bench, a action.Action) *bench.Bench {
	seqs := p.related(a.Body, benchHand{cur})
	if len(seqs) == 0 { // of nearly every record; to go through the bench for it costs most of a long input
		return cur
	}
	for i := range cur.Items {
		delete(seqs, cur.Items[i].Seq)
	}
	if len(seqs) == 0 {
		return cur
	}
	recs, err := p.sorted(seqs)
	if err != nil {
		return cur
	}
	for _, it := range cur.Items {
		recs = append(recs, it.Record)
	}
	slices.SortFunc(recs, func(a, b record.Record) int { return cmp.Compare(a.Seq, b.Seq) })
	return bench.Fold(recs, cur.Top)
}
