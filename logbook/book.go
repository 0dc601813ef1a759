// Package logbook keeps the records of a bench in one file and lets nothing be
// lost. It is the only package that touches the store (bbolt). How the parts of the file are
// named and keyed stands in package layout; package check looks at it from outside.
//
// # The file
//
// Buckets:
//
//	meta    format ("1"; "2" or "3" from the first record on that those before do not know),
//	        book (a random identity), created (RFC 3339),
//	        head (number, 8 bytes, and hash of the last record),
//	        journal (which records its journals held, by what file; see check.JournalNote)
//	        indexed (the record that index and live end with, in format 3; see behind.go)
//	log     number (8 bytes, big endian) -> the exact bytes of the record
//	index   'i' id -> number
//	        'd' instant (8 bytes) number -> nothing      (by the time of the act)
//	        'f' 'm' 'l' 't' 'b' 's' no (4 bytes) number -> nothing
//	        (by flask, mix, load, timer, bath read, settings 1 or crew 2)
//	        'g' day (4 bytes, 20261125) number -> nothing      (sign-offs of a day)
//	        'k' 'j' no (4 bytes) number -> nothing
//	        (the register of lots by material, from 1, and by a hash of material and lot;
//	        that of equipment by 64, and by a hash of kind and name)
//	        'n' no (4 bytes) number -> nothing
//	        (the list of cases, by a hash of the case number)
//	        'o' no (4 bytes) number -> nothing
//	        (answers to the alarms of a step of a case, by a hash of the id of its record)
//	        'c' number (8 bytes) number -> nothing
//	        (corrections and takings back, by the record they are about in the end)
//	live    number -> nothing      (the records that the bench as it stands rests on)
//	beat    last -> the clocks at the last sign of life
//
// One action is one record is one transaction, synced before [Book.Append]
// returns. The bench is a fold of the live records, so that opening a book costs
// by what is at work and not by its history; everything but log and meta can be
// made anew from log.
//
// # When a commit fails
//
// An error of the store at commit does not mean that nothing was stored: the last
// sync can fail after the record is in the file. Append then closes the file,
// opens it again, proves that it can be written, and looks for the id of the
// action: the answer is saved, [ErrNotSaved], or [ErrUnknown] when the file cannot
// be reached any more.
package logbook

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"sync/atomic"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Format is the version of the file that this program makes, and [formatNow] that of one
// with records that only newer programs know.
const (
	format    = layout.Format
	formatNow = layout.FormatNow
)

// Head is the end of the chain.
type Head = layout.Head

// logFill packs the pages of the log: it only ever grows at its end.
const logFill = 0.9

// Snapshot is a book at one moment: it never changes and may be handed about.
type Snapshot struct {
	Bench *bench.Bench
	Head  Head
	Beat  timers.Beat // the last sign of life before this program opened the book
}

// Book is an open logbook with one writer.
type Book struct {
	path  string
	place string // where it will lie, while it has no name yet
	clock timers.Clock
	ro    bool

	unmake func() // takes away what was made for a book that never got its name

	mu       sync.Mutex                  // held by whoever writes or reopens
	db       atomic.Pointer[bolt.DB]     // replaced by reopen while readers go on
	file     atomic.Pointer[os.FileInfo] // of the open file, as it was opened
	state    atomic.Pointer[Snapshot]
	lost     error // why the file can no longer be reached
	kept     bool  // it was taken away, and the handle is still open
	used     bool  // something was written since it was opened
	roomMade bool  // the last commit failed for want of room, and some was made
	hear     []func(Snapshot)
	progress func(done, of int)
	part     int // records of a long input in one transaction; 0 for partLength

	id      string // identity of the book
	format  string
	marked  bool    // the book says how far its index goes
	behind  *behind // what that lacks
	journal journal
	reserve reserve
}

// Saved is a record that is on the disk.
type Saved struct {
	record.Record
	Already bool // it was there before: the same id was said twice
}

// State gives the book as it stands.
func (b *Book) State() Snapshot { return *b.state.Load() }

// ID is the identity of the book, given when it was made.
func (b *Book) ID() string { return b.id }

// Path of the file.
func (b *Book) Path() string { return b.path }

// Now reads the clocks, with the last sign of life before this program.
func (b *Book) Now() timers.Now { return timers.Now{Reading: b.clock.Read(), Beat: b.State().Beat} }

// OnChange has f called after each change, in order, before Append returns. The
// writer's lock is held meanwhile: f must not wait for anyone who may be writing,
// and must not write itself. It is meant to pass the newest state on.
func (b *Book) OnChange(f func(Snapshot)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hear = append(b.hear, f)
}

// Append checks one action against the bench and records it. When it returns
// without an error the record is on the disk.
func (b *Book) Append(a action.Action) (Saved, error) {
	out, err := b.AppendAll([]action.Action{a})
	if err != nil {
		var bad *BadLine
		if errors.As(err, &bad) {
			return Saved{}, bad.Err
		}
		return Saved{}, err
	}
	return out[0], nil
}

// BadLine says which of several actions was refused, and why.
type BadLine struct {
	Index int // from 0
	Err   error
}

// Error counts for people, from 1.
func (e *BadLine) Error() string { return fmt.Sprintf("action %d: %v", e.Index+1, e.Err) }

// Unwrap gives the reason.
func (e *BadLine) Unwrap() error { return e.Err }

// AppendAll records all of the actions in one transaction or none of them; a
// [BadLine] names the first that was refused.
func (b *Book) AppendAll(as []action.Action) ([]Saved, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.lost != nil {
		return nil, fmt.Errorf("%w: %w", ErrUnknown, b.lost)
	}
	if b.ro {
		return nil, errors.New("the logbook is open for reading only")
	}
	for {
		out, err := b.appendAll(as)
		if err == nil || !errors.Is(err, ErrNotSaved) || !b.roomMade {
			return out, err
		}
	}
}

// Rehearse tells what [Book.AppendAll] would refuse, and writes nothing.
func (b *Book) Rehearse(as []action.Action) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	_, err := b.plan(as)
	return err
}

// appendAll does so once; [Book.roomMade] then tells whether it is worth another try.
func (b *Book) appendAll(as []action.Action) ([]Saved, error) {
	b.roomMade = false
	if err := b.missed(); err != nil {
		return nil, err
	}
	w, err := b.plan(as)
	if err != nil || len(w.fresh) == 0 {
		return w.saved(), err
	}
	if err := b.keepAsItWas(w.fresh); err != nil { // the reserve is for records, not for this
		return nil, fmt.Errorf("%w: the copy of the logbook before its format goes up could not be made: %w", ErrNotSaved, err)
	}
	b.used = true
	next := w.bench() // before it is stored: what the bench cannot bear is not in the book then
	note, noted := b.journalNote(false)
	w.lacks = b.behind
	err = guard(func() error {
		return b.db.Load().Update(func(tx *bolt.Tx) error { return errors.Join(w.write(tx), putNote(tx, note)) })
	})
	if err == nil { // saved is what somebody finds again
		if err := b.missed(); err != nil {
			return nil, err
		}
	}
	if err != nil {
		b.roomMade = b.makeRoom(err) // before anything is written to find out what became of it
		if err := b.recover(w.fresh[0].Action.ID, err); err != nil {
			return nil, err
		}
		b.journal.add(b.id, w.fresh, b.Each)
		return w.saved(), nil // the record was in the file after all, and is synced now
	}
	noted()
	b.wrote(w)
	b.journal.add(b.id, w.fresh, b.Each)
	next.Inherit(b.State().Bench)
	b.publish(Snapshot{Bench: next, Head: w.head, Beat: b.State().Beat})
	w.index = nil // of a long input it is much
	return w.saved(), nil
}

func (b *Book) publish(s Snapshot) {
	b.state.Store(&s)
	for _, f := range b.hear {
		f(s)
	}
}

// plan is what one transaction will write, worked out before it begins.
type plan struct {
	given int                   // how many actions
	again map[int]record.Record // those of them that were in the book before, or earlier in the input
	fresh []record.Record       // of the others, in order
	index [][][]byte            // keys of each fresh record
	after *bench.Bench          // nil: fold gives it
	on    *bench.Bench          // what the only record was checked on
	head  Head
	add   []uint64 // into live
	drop  []uint64 // out of live
	lags  bool     // index and live list are left behind
	lacks *behind  // what they lack before it; nil where that is not known
}

func (b *Book) plan(as []action.Action) (*plan, error) {
	st := b.State()
	w := &plan{given: len(as), again: map[int]record.Record{}}
	single := len(as) == 1
	cur := st.Bench
	if !single {
		cur = bench.Fold(cur.Living(), cur.Top)
	}
	w.fresh, w.index = make([]record.Record, 0, len(as)), make([][][]byte, 0, len(as))
	c := &checking{b: b, cur: cur, head: st.Head, batch: newBatch(st.Head.Seq, len(as), func(i int) (record.Record, error) { return w.fresh[i], nil })}
	err := b.view(func(tx *bolt.Tx) error {
		c.begin(tx)
		for i, a := range as {
			rec, keys, seen, err := c.next(a)
			switch {
			case err != nil:
				return &BadLine{i, err}
			case seen:
				w.again[i] = rec
				continue
			}
			w.index, w.fresh = append(w.index, keys), append(w.fresh, rec)
			if !single {
				c.cur = c.cur.Extend(rec)
			}
		}
		return nil
	})
	if err != nil {
		return &plan{}, err
	}
	cur, w.head = c.cur, c.head
	if len(w.fresh) == 0 {
		return w, nil
	}
	switch r := w.fresh[0]; {
	case !single:
		w.prune(st.Bench, cur)
	case action.IsAmendment(r.Action.Body), cur != st.Bench, r.Seq%pruneEvery == 0: // what was called back may come alive again
		w.on = cur
		w.prune(st.Bench, w.fold())
	default:
		w.on, w.add = cur, []uint64{r.Seq}
		w.lags = b.mayLag()
	}
	return w, nil
}

// saved gives what became of each action. It is made when all is written: of a long input it
// is as large as all that was written.
func (w *plan) saved() []Saved {
	if w.given == 0 {
		return nil
	}
	out, next := make([]Saved, w.given), 0
	for i := range out {
		if r, ok := w.again[i]; ok {
			out[i] = Saved{Record: r, Already: true}
			continue
		}
		out[i].Record = w.fresh[next]
		next++
	}
	return out
}

// pruneEvery is how many records may go by until those that the bench no longer rests
// on are taken out of the live list: to find them costs as much as the fold.
const pruneEvery = layout.MostBehind

// bench gives the bench after all that is written.
func (w *plan) bench() *bench.Bench {
	if w.after != nil {
		return w.after
	}
	return w.fold()
}

// fold makes the bench after a single record.
func (w *plan) fold() *bench.Bench { return w.on.MovedOn(w.fresh[0]) }

// prune leaves what is no longer alive out of the bench that goes on, and the live
// list as it must become for that.
func (w *plan) prune(before, after *bench.Bench) {
	was, is := liveSet(before), map[uint64]bool{}
	living := after.Living()
	for _, r := range living {
		is[r.Seq] = true
		if !was[r.Seq] {
			w.add = append(w.add, r.Seq)
		}
	}
	for seq := range was {
		if !is[seq] {
			w.drop = append(w.drop, seq)
		}
	}
	w.after = after
	if len(living) < len(after.Items) {
		w.after = bench.Fold(living, after.Top)
	}
}

func liveSet(b *bench.Bench) map[uint64]bool {
	m := make(map[uint64]bool, len(b.Items))
	for _, it := range b.Items {
		m[it.Seq] = true
	}
	return m
}

// write is the transaction.
func (w *plan) write(tx *bolt.Tx) error {
	lacks := &behind{}
	if !w.lags {
		var err error
		if lacks, err = behindIn(tx, w.lacks); err != nil {
			return err
		}
	}
	log := tx.Bucket(layout.Log)
	log.FillPercent = logFill
	for _, r := range w.fresh {
		if err := log.Put(layout.SeqKey(r.Seq), r.Raw); err != nil {
			return fmt.Errorf("write record %d: %w", r.Seq, err)
		}
	}
	if !w.lags {
		if err := w.writeIndex(tx, lacks); err != nil {
			return err
		}
	}
	if err := raise(tx, w.fresh); err != nil {
		return fmt.Errorf("format: %w", err)
	}
	if !w.lags {
		if err := putMark(tx, w.head.Seq); err != nil {
			return err
		}
	}
	// Nothing else vouches for the last record: the chain does for those before it.
	if err := tx.Bucket(layout.Meta).Put(layout.KeyHead, w.head.Bytes()); err != nil {
		return fmt.Errorf("head: %w", err)
	}
	return nil
}

// writeIndex brings the index and the list of live records up to the last record.
func (w *plan) writeIndex(tx *bolt.Tx, lacks *behind) error {
	index, live := tx.Bucket(layout.Index), tx.Bucket(layout.Live)
	// In the order of the keys: the store keeps what one transaction adds in long lists, and
	// to put into the middle of them would cost with the square of a long input.
	n := len(lacks.entries)
	for _, keys := range w.index {
		n += len(keys)
	}
	entries := append(make([]entry, 0, n), lacks.entries...)
	for i, r := range w.fresh {
		entries = append(entries, entriesOf(r, w.index[i])...)
	}
	slices.SortFunc(entries, byKey)
	for _, e := range entries {
		if err := index.Put(e.key, e.value); err != nil {
			return fmt.Errorf("index: %w", err)
		}
	}
	add := w.add
	for _, r := range lacks.recs {
		add = append(add, r.Seq)
	}
	slices.Sort(add)
	for _, s := range add {
		if err := live.Put(layout.SeqKey(s), nil); err != nil {
			return fmt.Errorf("live: %w", err)
		}
	}
	for _, s := range w.drop { // also what was behind until now
		if err := live.Delete(layout.SeqKey(s)); err != nil {
			return fmt.Errorf("live: %w", err)
		}
	}
	return nil
}
