package logbook

import (
	"fmt"
	"os"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/record"
)

// Verify has the book at path looked through from outside, as [check.Verify] does, under
// the lock that keeps other programs away, and lends it the store for what only the store
// can tell. The error says that the file cannot be read, or that it is in use; faults are
// no error.
func Verify(path string, ask check.Verifying) (check.Report, error) {
	if fi, err := os.Stat(path); err == nil && !fi.Mode().IsRegular() { // to open a pipe would wait for whoever writes to it
		return check.Report{Faults: []check.Fault{}}, fmt.Errorf("verify: %s is not a file", path)
	}
	db, _, closed := openStore(path, true)
	if closed != nil && !spoiltFile(closed) { // why the file itself cannot be opened will be found
		return check.Report{Faults: []check.Fault{}}, closed
	}
	var store check.Store
	if db != nil {
		store = lent{db}
	}
	rep, ended, err := check.Verify(path, ask, store, closed)
	if db != nil && ended { // a check that has not ended still reads
		_ = guard(db.Close) // only read from
	}
	return rep, err
}

// lent is the store in the hands of one who only looks.
type lent struct{ db *bolt.DB }

func (l lent) View(f func(check.Within) error) error {
	return guard(func() error { return l.db.View(func(tx *bolt.Tx) error { return f(inside{tx}) }) })
}

type inside struct{ tx *bolt.Tx }

func (w inside) Refold() check.Refold { return newRefold(w.tx) }
func (w inside) Check() <-chan error  { return w.tx.Check() }
func (w inside) Bench() (*bench.Bench, error) {
	b := &Book{}
	if err := b.load(w.tx); err != nil {
		return nil, err
	}
	return b.State().Bench, nil
}

var _ check.Refold = (*refold)(nil)

// Add takes the next record; it is kept.
func (f *refold) Add(r record.Record) {
	if f.run = append(f.run, r); len(f.run) == runLength {
		f.fold()
	}
}
