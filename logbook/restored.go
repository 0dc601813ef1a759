package logbook

import (
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// noteRestored leaves a record in the book at path, which has not got its place yet: from
// which record it goes on (its last one, where what does not say), up to which others were
// given up, and where those are. It is the first record of the new history.
func noteRestored(path string, what action.Restored, by string, now time.Time) (r record.Record, err error) {
	db, _, err := openStore(path, false)
	if err != nil {
		return r, err
	}
	b := &Book{path: path}
	err = guard(func() error { return db.View(b.load) })
	if err == nil {
		st := b.State()
		reading := timers.Reading{Wall: now}
		what.From = cmp.Or(what.From, st.Head.String())
		a := action.Action{ID: rand.Text(), At: now, By: by, Body: what}
		stamp := timers.StampAt(a.At, reading)
		if a, err = st.Bench.Check(a, stamp, timers.Now{Reading: reading, Beat: st.Beat}); err == nil {
			r, err = record.Write(st.Head.Seq+1, st.Head.Hash, reading, stamp, a)
		}
		if err == nil {
			w := plan{fresh: []record.Record{r}, head: Head{Seq: r.Seq, Hash: r.Hash()}, add: []uint64{r.Seq},
				index: [][][]byte{layout.IndexKeys(r, func(string) (record.Record, bool) { return record.Record{}, false })}}
			err = guard(func() error {
				return db.Update(func(tx *bolt.Tx) error {
					// Its journals are set aside with what is given up.
					return errors.Join(w.write(tx), tx.Bucket(layout.Meta).Delete(layout.KeyJournal))
				})
			})
		}
	}
	if err = errors.Join(err, guard(db.Close)); err != nil {
		return r, fmt.Errorf("leave a record of it: %w", err)
	}
	return r, nil
}
