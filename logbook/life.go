package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/layout"
	"flaskside/timers"
)

// Beat leaves a sign of life: the clocks as they stand. The error is [ErrUnknown] where the
// file was taken away: nobody can say then what became of the last records.
func (b *Book) Beat() error {
	b.foldAnew()
	err := b.signOfLife(false)
	b.mendReserve()
	return err
}

// foldAnew holds the bench, which is moved on record by record, against the fold of its
// records. Where they differ the fold is what counts, and whoever hears of trouble is told.
func (b *Book) foldAnew() {
	b.mu.Lock()
	defer b.mu.Unlock()
	st := b.State()
	anew := st.Bench.Anew()
	if st.Bench.Same(anew) {
		return
	}
	b.journal.say(errors.New("the bench as shown differed from its records: it was made anew from them, and nothing that was recorded is lost; look at each flask once more"))
	st.Bench = anew
	b.publish(st)
}

// signOfLife syncs the journal first: what the book then says that it holds is on the disk.
func (b *Book) signOfLife(last bool) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.lost != nil || b.ro {
		return nil
	}
	if err := b.missed(); err != nil {
		return err
	}
	b.used = true
	b.journal.beat()
	note, noted := b.journalNote(true)
	if last {
		note, noted = b.journalNote(true) // nothing follows that could note the rest
	}
	err := guard(func() error {
		return b.db.Load().Update(func(tx *bolt.Tx) error { return errors.Join(b.beat(tx), putNote(tx, note), bringUp(tx)) })
	})
	if err == nil {
		noted()
		b.behind = &behind{}
	}
	return err
}

func (b *Book) beat(tx *bolt.Tx) error {
	r := b.clock.Read()
	v, err := json.Marshal(timers.Beat{Wall: r.Wall, BootID: r.BootID, Boot: r.Boot})
	if err != nil {
		return fmt.Errorf("beat: %w", err)
	}
	return tx.Bucket(layout.Beat).Put(layout.KeyLast, v)
}

// Close ends the use of the book, with a last sign of life where anything was
// written: a book that was only looked at keeps every byte.
func (b *Book) Close() error {
	b.mu.Lock()
	used := b.used
	b.mu.Unlock()
	if used {
		_ = b.signOfLife(true) // the record is complete without it
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.lost == nil && !b.ro && b.place == "" { // also where nothing was written: what was in it before is gone too
		_ = b.missed() // told below
	}
	b.journal.close()
	if b.place != "" { // it never got its name
		defer b.unmake()
	}
	if b.lost != nil {
		if !errors.Is(b.lost, ErrDamaged) {
			_ = guard(b.db.Load().Close) // the handle may still be open; why it was lost is what is told
		}
		return b.lost
	}
	b.lost = errors.New("the logbook is closed")
	return guard(b.db.Load().Close)
}

// Snapshot writes a consistent copy of the whole file. An error of w comes back as w gave
// it: the store would make words of it.
func (b *Book) Snapshot(w io.Writer) error {
	to := &failing{w: w}
	err := b.view(func(tx *bolt.Tx) error {
		_, err := tx.WriteTo(to)
		return err
	})
	if to.err != nil {
		return to.err
	}
	return err
}

// failing keeps the first error of a writer.
type failing struct {
	w   io.Writer
	err error
}

func (f *failing) Write(p []byte) (int, error) {
	n, err := f.w.Write(p)
	if f.err == nil {
		f.err = err
	}
	return n, err
}

// view reads under the guard.
func (b *Book) view(f func(tx *bolt.Tx) error) error {
	return guard(func() error { return b.db.Load().View(f) })
}
