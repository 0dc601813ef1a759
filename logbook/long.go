package logbook

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"slices"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/disk"
	"flaskside/logbook/record"
)

// Long tells what became of a long input.
type Long struct {
	Recorded int    // how many of its actions are new in the book
	First    uint64 // number of the first of them
	Head     Head   // the last of them
	Again    []repeat
	Repeated int // how many were in the book, or earlier in the input; the first few stand in Again
}

// repeat is an action that was said before.
type repeat struct {
	Index int // from 0
	Seq   uint64
}

// repeatsTold is how many repeats of a long input are named.
const repeatsTold = 6

// Repeat counts an action, from 0, that is a record already.
func (l *Long) Repeat(index int, seq uint64) {
	if l.Repeated++; len(l.Again) < repeatsTold {
		l.Again = append(l.Again, repeat{index, seq})
	}
}

// Parted says that of a long input only the first part is in the book, or nothing; given again, the
// input goes on from there.
type Parted struct {
	Recorded int  // so many of its first actions are in the book for certain, whenever they came there
	Refused  bool // an action behind them was refused, for others had recorded meanwhile
	Err      error
}

// Error says how much is there. What of the rest is there it does not say: it may have been
// given before, or somebody else is giving it.
func (e *Parted) Error() string {
	unknown := errors.Is(e.Err, ErrUnknown)
	there, again := fmt.Sprintf("the first %d records of the input are in the logbook", e.Recorded), "give the whole input again"
	switch {
	case e.Recorded == 0 && unknown:
		there = "nobody can say how much of the input is in the logbook"
	case e.Recorded == 0:
		return fmt.Sprintf("nothing was recorded: give the input again: %v", e.Err)
	case unknown:
		there += ", of those after them nobody can say"
	}
	if e.Refused {
		again = "put right what does not fit any more and " + again
	}
	return fmt.Sprintf("%s: %s, what is there is not recorded twice: %v", there, again, e.Err)
}

// Unwrap gives the reason.
func (e *Parted) Unwrap() error { return e.Err }

// partLength is how many records of a long input go into one transaction.
const partLength = 4000

func (b *Book) partLength() int { return cmp.Or(b.part, partLength) }

// tellEvery is after how many actions of a long input it is told how far it is.
const tellEvery = 1000

// OnProgress has f told how far a long input is: how many of its actions were checked, while of
// is 0, then how many of all its records are written, and 0 of 0 in the end. It is called by whoever records, while
// nothing else can be recorded.
func (b *Book) OnProgress(f func(done, of int)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.progress = f
}

func (b *Book) far(done, of int) {
	if b.progress != nil {
		b.progress(done, of)
	}
}

// AppendLong records an input of any length in memory that does not grow with it, but for the
// bench. All of it is checked before anything is written: where one action is refused (a
// [BadLine], also for an error of the input itself) nothing is. What was checked waits in a file
// beside the book and is then recorded in parts, each of them in a transaction of its own, so
// that a power cut leaves whole parts; a [Parted] tells of an end between them. Nobody else may
// be reading the book's state meanwhile: it is that before the input until all is written.
func (b *Book) AppendLong(actions iter.Seq2[action.Action, error]) (Long, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.writable(); err != nil {
		return Long{}, err
	}
	if err := b.missed(); err != nil {
		return Long{}, err
	}
	wait, err := newWaiting(cmp.Or(b.place, b.path) + ".input")
	if err != nil {
		return Long{}, fmt.Errorf("keep the input beside the logbook: %w", ofPlace(err))
	}
	defer wait.close()
	defer b.far(0, 0) // nothing is left to be told
	l, err := b.checkLong(actions, wait, nil)
	if err == nil {
		err = b.takePlace()
	}
	if err != nil || wait.count() == 0 {
		return l.told, err
	}
	return b.writeLong(l, wait)
}

// RehearseLong tells what [Book.AppendLong] would refuse, and writes nothing into the book. ends is
// asked before each action but the first whether those before it are to be recorded by
// themselves, with [Book.AppendAll], which lets go of what no longer matters; it may be nil.
func (b *Book) RehearseLong(actions iter.Seq2[action.Action, error], ends func() bool) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	wait, err := newWaiting(b.path + ".input")
	if err != nil {
		return fmt.Errorf("keep the input beside the logbook: %w", ofPlace(err))
	}
	defer wait.close()
	defer b.far(0, 0) // nothing is left to be told
	_, err = b.checkLong(actions, wait, ends)
	return err
}

// writable tells why nothing can be written.
func (b *Book) writable() error {
	if b.lost != nil {
		return fmt.Errorf("%w: %w", ErrUnknown, b.lost)
	}
	if b.ro {
		return errors.New("the logbook is open for reading only")
	}
	return nil
}

// long is an input that was checked.
type long struct {
	told  Long
	after *bench.Bench     // when all is written
	back  map[int][]uint64 // by part: records that came back to the bench in it
}

// checkLong checks all actions and lays their records down.
func (b *Book) checkLong(actions iter.Seq2[action.Action, error], wait *waiting, ends func() bool) (*long, error) {
	st := b.State()
	l := &long{back: map[int][]uint64{}}
	c := &checking{b: b, head: st.Head, batch: newBatch(st.Head.Seq, 0, wait.at)}
	c.cur = bench.Fold(st.Bench.Living(), st.Bench.Top)
	c.came = func(was, is *bench.Bench) {
		had, part := liveSet(was), wait.count()/b.partLength()
		for seq := range liveSet(is) {
			if !had[seq] {
				l.back[part] = append(l.back[part], seq)
			}
		}
	}
	err := b.view(func(tx *bolt.Tx) error {
		c.begin(tx)
		i := -1
		for a, err := range actions {
			if i++; i%tellEvery == 0 {
				b.far(i, 0)
			}
			if err != nil {
				return &BadLine{i, err}
			}
			if ends != nil && i > 0 && ends() {
				for range 2 { // where a part ends, and where the next begins
					c.cur = bench.Fold(c.cur.Living(), c.cur.Top)
				}
			}
			rec, keys, seen, err := c.next(a)
			if err != nil {
				return &BadLine{i, err}
			}
			if seen {
				l.told.Repeat(i, rec.Seq)
				continue
			}
			if err := wait.add(i, rec, keys); err != nil {
				return fmt.Errorf("keep the input beside the logbook: %w", ofPlace(err))
			}
			c.cur = c.cur.Extend(rec)
		}
		return nil
	})
	l.after = c.cur
	return l, err
}

// writeLong writes what was laid down, part by part.
func (b *Book) writeLong(l *long, wait *waiting) (Long, error) {
	b.used = true
	was := liveSet(b.State().Bench)
	var w plan
	for i, first := 0, 0; first < wait.count(); i, first = i+1, first+w.given {
		n := min(b.partLength(), wait.count()-first)
		w = plan{given: n}
		if err := w.take(wait, first, n); err != nil {
			return b.parted(l, wait, first, fmt.Errorf("read the input again: %w", err))
		}
		for _, r := range w.fresh {
			w.add = append(w.add, r.Seq)
		}
		w.add = append(w.add, l.back[i]...)
		for _, seq := range w.add {
			was[seq] = true
		}
		if first+n == wait.count() { // what no longer matters leaves the bench, and the live list
			w.pruneTo(was, l.after)
		}
		if err := b.writePart(&w); err != nil {
			return b.parted(l, wait, first, err)
		}
		b.far(first+n, wait.count())
	}
	w.after.Inherit(b.State().Bench)
	b.publish(Snapshot{Bench: w.after, Head: w.head, Beat: b.State().Beat})
	l.told.Recorded, l.told.Head = wait.count(), w.head
	l.told.First = w.head.Seq - uint64(wait.count()) + 1
	return l.told, nil
}

// pruneTo leaves what is no longer alive out of the bench that goes on; listed are the records
// of which the live list has all, with what the plan adds.
func (w *plan) pruneTo(listed map[uint64]bool, after *bench.Bench) {
	is := map[uint64]bool{}
	after.Rests(func(r *record.Record, rests bool) {
		if !rests {
			return
		}
		if is[r.Seq] = true; !listed[r.Seq] {
			w.add = append(w.add, r.Seq)
		}
	})
	w.add = slices.DeleteFunc(w.add, func(seq uint64) bool { return !is[seq] })
	for seq := range listed {
		if !is[seq] {
			w.drop = append(w.drop, seq)
		}
	}
	if w.after = after; len(is) < len(after.Items) {
		w.after = bench.Fold(after.Living(), after.Top)
	}
}

// parted is how an input ends of which a part may be in the book.
func (b *Book) parted(l *long, wait *waiting, recorded int, err error) (Long, error) {
	if there := wait.index[recorded]; there > 0 || errors.Is(err, ErrUnknown) {
		err = &Parted{Recorded: there, Err: err}
	}
	return Long{Recorded: recorded, Again: l.told.Again, Repeated: l.told.Repeated}, err
}

// writePart writes one part in a transaction, again where room was made for it.
func (b *Book) writePart(w *plan) error {
	for {
		err := b.writeOnce(w)
		if err == nil || !errors.Is(err, ErrNotSaved) || !b.roomMade {
			return err
		}
	}
}

func (b *Book) writeOnce(w *plan) error {
	b.roomMade = false
	if err := b.missed(); err != nil {
		return err
	}
	if err := b.keepAsItWas(w.fresh); err != nil {
		return fmt.Errorf("%w: the copy of the logbook before its format goes up could not be made: %w", ErrNotSaved, err)
	}
	note, noted := b.journalNote(false)
	w.lacks = b.behind
	err := guard(func() error {
		return b.db.Load().Update(func(tx *bolt.Tx) error { return errors.Join(w.write(tx), putNote(tx, note)) })
	})
	if err == nil {
		noted()
		err = b.missed()
		if err != nil {
			return err
		}
		b.wrote(w)
	} else {
		b.roomMade = b.makeRoom(err)
		if err := b.recover(w.fresh[0].Action.ID, err); err != nil {
			return err
		}
	}
	b.journal.add(b.id, w.fresh, b.Each)
	return nil
}

// waiting is a file in which records that were checked wait to be written: the record's own
// bytes and the keys it is found by, each behind its length. It is of this run alone.
type waiting struct {
	f     *os.File
	name  string // "" where it has no name any more
	w     *bufio.Writer
	ends  []int64 // of each record with its keys
	index []int   // of the action of each, in the input
	quick *record.Reader
}

// newWaiting makes the file. It loses its name at once where a file may lose it while it is
// open, so that nothing of it is left by any end of the program.
func newWaiting(path string) (*waiting, error) {
	disk.Sweep(path) // a kill between the next two steps leaves one
	name := disk.NewName(path)
	f, err := disk.CreateOwn(name)
	if err != nil {
		return nil, err
	}
	w := &waiting{f: f, name: name, w: bufio.NewWriterSize(f, 1<<16), quick: record.NewReader()}
	if os.Remove(name) == nil {
		w.name = ""
	}
	return w, nil
}

func (w *waiting) close() {
	_ = w.f.Close() // what is in it is thrown away
	if w.name != "" {
		_ = os.Remove(w.name) // left over, the next run takes it away
	}
}

func (w *waiting) count() int { return len(w.ends) }

// add lays the record of an action down.
func (w *waiting) add(index int, r record.Record, keys [][]byte) error {
	var end int64
	if n := len(w.ends); n > 0 {
		end = w.ends[n-1]
	}
	put := func(b []byte) error {
		head := binary.AppendUvarint(w.w.AvailableBuffer(), uint64(len(b)))
		n, err := w.w.Write(head)
		if err == nil {
			_, err = w.w.Write(b)
		}
		end += int64(n + len(b))
		return err
	}
	if err := put(r.Raw); err != nil {
		return err
	}
	for _, k := range keys {
		if err := put(k); err != nil {
			return err
		}
	}
	w.ends, w.index = append(w.ends, end), append(w.index, index)
	return nil
}

// read gives the bytes of some records with their keys.
func (w *waiting) read(first, n int) ([]byte, error) {
	if err := w.w.Flush(); err != nil {
		return nil, err
	}
	var from int64
	if first > 0 {
		from = w.ends[first-1]
	}
	b := make([]byte, w.ends[first+n-1]-from)
	_, err := w.f.ReadAt(b, from)
	return b, err
}

// field takes the next text off.
func field(b []byte) (text, rest []byte, err error) {
	n, size := binary.Uvarint(b)
	if size <= 0 || n > uint64(len(b)-size) {
		return nil, nil, io.ErrUnexpectedEOF
	}
	end := size + int(n)
	return b[size:end:end], b[end:], nil
}

// at gives one record back.
func (w *waiting) at(i int) (r record.Record, err error) {
	b, err := w.read(i, 1)
	if err != nil {
		return r, err
	}
	raw, _, err := field(b)
	if err != nil {
		return r, err
	}
	return w.quick.Decode(bytes.Clone(raw))
}

// take reads the records that one transaction writes.
func (p *plan) take(w *waiting, first, n int) error {
	b, err := w.read(first, n)
	if err != nil {
		return err
	}
	start := int64(0)
	if first > 0 {
		start = w.ends[first-1]
	}
	for i := range n {
		one := b[:w.ends[first+i]-start]
		b, start = b[len(one):], w.ends[first+i]
		raw, one, err := field(one)
		if err != nil {
			return err
		}
		r, err := w.quick.Decode(raw)
		if err != nil {
			return err
		}
		var keys [][]byte
		for len(one) > 0 {
			var k []byte
			if k, one, err = field(one); err != nil {
				return err
			}
			keys = append(keys, k)
		}
		p.fresh, p.index = append(p.fresh, r), append(p.index, keys)
		p.head = Head{Seq: r.Seq, Hash: r.Hash()}
	}
	return nil
}
