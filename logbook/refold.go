package logbook

import (
	"cmp"
	"slices"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// refold folds a whole book anew, from its first record on, in memory that does not
// grow with it: what no longer matters is left out between one run of records and
// the next, as it is when a book is written.
type refold struct {
	tx   *bolt.Tx // where a taking back finds what was left out
	cur  *bench.Bench
	run  []record.Record
	lots bool  // a register of lots is kept, or a list of cases: corrections may be about it
	err  error // the store could not be read
}

// runLength is how many records are folded at a time. The readers of [check.Verify] are that far ahead, so that they
// read while it is folded.
const runLength = 4096

func newRefold(tx *bolt.Tx) *refold { return &refold{tx: tx, cur: bench.Fold(nil, bench.Counters{})} }

func (f *refold) fold() {
	if err := guard(func() error { f.foldRun(); return nil }); err != nil {
		f.err = err
	}
	f.run = f.run[:0]
}

func (f *refold) foldRun() {
	recs := append(f.cur.Living(), f.run...)
	b := bench.Fold(recs, f.cur.Top)
	opened := map[int]bool{}
	for _, r := range f.run {
		if a, ok := r.Action.Body.(action.FlaskOpen); ok {
			opened[a.Flask] = true
		}
		f.lots = f.lots || ofRegister(r) || ofCases(r.Action.Body)
	}
	back := map[uint64]bool{}
	for _, r := range f.run {
		_, takesBack := r.Action.Body.(action.TakeBack)
		if takesBack && !whole(b, opened, r) || f.lots && amendsRegister(f.tx, b, r) {
			for seq := range newPast(f.tx).related(r.Action.Body, emptyHand{}) {
				back[seq] = seq <= recs[len(recs)-1].Seq
			}
		}
	}
	for _, r := range recs {
		delete(back, r.Seq)
	}
	past := newPast(f.tx)
	for seq, before := range back {
		if r, err := past.at(seq); err == nil && before {
			recs = append(recs, r)
		}
	}
	if len(back) > 0 {
		slices.SortFunc(recs, func(a, b record.Record) int { return cmp.Compare(a.Seq, b.Seq) })
		b = bench.Fold(recs, f.cur.Top)
	}
	f.cur = b
}

// whole tells whether everything that a taking back speaks of is in the bench: that
// is so of a flask at work, and of one opened in this run.
func whole(b *bench.Bench, opened map[int]bool, r record.Record) bool {
	root := layout.RootOf(r, func(id string) (record.Record, bool) {
		it, ok := b.Item(id)
		return it.Record, ok
	})
	if root.Seq == r.Seq || action.IsAmendment(root.Action.Body) { // what it is about in the end was left out
		return false
	}
	subjects := bench.Subjects(root.Action.Body, nil)
	for _, s := range subjects {
		if f := b.Flasks[s.No]; s.Class != 'f' || f == nil || f.Stage == bench.Finished && !opened[s.No] {
			return false
		}
	}
	return len(subjects) > 0
}

// amendsRegister tells whether a record corrects one of the register of lots or one that
// the list of cases rests on, also one that was left out: a lot by another name may be in
// it again, a case on it.
func amendsRegister(tx *bolt.Tx, b *bench.Bench, r record.Record) bool {
	if _, ok := r.Action.Body.(action.Correct); !ok {
		return false
	}
	root := layout.RootOf(r, func(id string) (record.Record, bool) {
		if it, ok := b.Item(id); ok {
			return it.Record, true
		}
		return newPast(tx).byID(id)
	})
	return ofRegister(root) || movesCases(root.Action.Body)
}

// End gives the bench after the last record.
func (f *refold) End() (*bench.Bench, error) {
	f.fold()
	return bench.Fold(f.cur.Living(), f.cur.Top), f.err
}
