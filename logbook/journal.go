package logbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// journal is the plain copy of the records beside the book, for the day on which the
// book cannot be read: JSON Lines, a file a month (by the clock that wrote them, UTC),
// the record's own bytes appended after each commit. The first line of a file names
// the book. It is synced with each sign of life and when the book is closed.
//
// The journal never stops a record: what fails is told once, and what it lacks is
// written later from the book.
type journal struct {
	path      string // of the book
	name      string // of the open file
	month     string // of it
	f         *os.File
	size      int64             // of it, as this program left it
	last      Head              // the last record it holds; of number 0 where it holds none
	from      uint64            // first record that the journals hold, as far as is known
	sound     uint64            // last record that was synced at the sign of life before
	noted     check.JournalNote // what the book says of them
	dirty     bool
	lostSight bool // the file was closed for what others did, and what the journals hold is not known
	strange   bool // another program wrote in it
	told      bool // that something fails
	fault     error
	hear      []func(error)
	early     []error                // told before anybody heard
	room      func(cause error) bool // makes room on a full disk
}

// journalMonth is how a month stands in the name of its journal.
const journalMonth = "2006-01"

// look finds out what the journals hold when a book is opened; at gives the hash of
// one of its records.
func (j *journal) look(id string, head Head, note check.JournalNote, at func(seq uint64) (record.Hash, bool)) {
	j.noted, j.from, j.sound = note, note.From, note.To
	last, others, err := check.LastJournaled(j.path, id)
	if err != nil {
		j.trouble(err)
	}
	if head.Seq == 0 && len(others) > 0 {
		j.say(fmt.Errorf("beside this new logbook lies the journal of another one, %s: it is left as it is", filepath.Base(others[len(others)-1])))
	}
	if last == nil {
		if note.To > 0 && err == nil && !j.inPlace(id) { // what stands in its place tells when it is written to
			j.trouble(fmt.Errorf("the journal beside the logbook is gone: it held records from %d on. The logbook still has them, and a new journal begins with the next record. If the old one was moved, put it back", note.From))
		}
		j.from = 0
		return
	}
	j.last = *last
	if last.Seq < note.To && last.Seq < head.Seq {
		j.trouble(fmt.Errorf("the journal beside the logbook ends with record %d and held them up to %d: its end was cut off or taken away, and is written again from the logbook with the next record", last.Seq, note.To))
	} else if last.Seq > head.Seq {
		j.trouble(fmt.Errorf("the journal beside the logbook holds records up to %d, the logbook ends with %d: was an older copy put in its place? flaskside salvage brings them together", last.Seq, head.Seq))
		j.last = head
	} else if h, ok := at(last.Seq); !ok || h != last.Hash {
		j.trouble(fmt.Errorf("the journal beside the logbook has another record %d than the logbook: it is of another book, or of records that were given up", last.Seq))
		j.last = head
	}
}

// inPlace tells whether something that is no file stands where a journal of the book should.
func (j *journal) inPlace(id string) bool {
	names, _ := check.JournalsOf(j.path, id) // a folder that cannot be read was told of
	return slices.ContainsFunc(names, func(name string) bool {
		fi, err := os.Lstat(name)
		return err == nil && !fi.Mode().IsRegular()
	})
}

// trouble is told once.
func (j *journal) trouble(err error) {
	j.fault = err
	if !j.told {
		j.say(err)
	}
	j.told = true
}

// say tells whoever wants to hear of trouble, or will.
func (j *journal) say(err error) {
	if len(j.hear) == 0 {
		j.early = append(j.early, err)
	}
	for _, f := range j.hear {
		f(err)
	}
}

// catchUp is how many records are written from the book where the journal lacks some:
// a power cut takes a minute of them at most, a restored book may have none.
const catchUp = 5000

// add appends records that the book holds now; each gives those from a number on.
func (j *journal) add(id string, fresh []record.Record, each func(from uint64, f func(record.Record) (bool, error)) error) {
	err := j.stillThere()
	if err != nil {
		j.trouble(err)
	}
	if j.lostSight {
		j.holds(id, fresh[0].Prev, fresh[0].Seq, each)
	}
	first := fresh[0].Seq
	if lacks := first - 1 - j.last.Seq; j.last.Seq < first-1 {
		if lacks > catchUp {
			j.trouble(fmt.Errorf("the journal beside the logbook lacks the records %d to %d and goes on with %d", j.last.Seq+1, first-1, first))
			j.from = first
		} else if err := each(j.last.Seq+1, func(r record.Record) (bool, error) {
			if r.Seq >= first {
				return false, nil
			}
			return true, j.put(id, r)
		}); err != nil {
			j.trouble(fmt.Errorf("the journal beside the logbook is not written: %w", bare(err)))
			return
		}
	}
	for _, r := range fresh {
		if err := j.put(id, r); err != nil {
			j.trouble(fmt.Errorf("the journal beside the logbook is not written: %w", bare(err)))
			return
		}
	}
}

// bare leaves the name of a file out of an error: it is known, and long.
func bare(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// put appends one record, with room made for it where the disk is full.
func (j *journal) put(id string, r record.Record) error {
	err := j.write(id, r)
	for err != nil && j.room != nil && j.room(err) {
		err = j.write(id, r)
	}
	return err
}

// write appends one record.
func (j *journal) write(id string, r record.Record) error {
	if month := r.Written.UTC().Format(journalMonth); j.f == nil || month != j.month {
		if err := j.open(month, id); err != nil {
			return err
		}
	}
	n, err := j.f.Write(append(bytes.Clone(r.Raw), '\n'))
	j.size += int64(n)
	if err != nil {
		_ = j.f.Close() // the error of the write is the one that is told
		j.f = nil       // opened anew, it is mended
		return err
	}
	j.dirty, j.last = true, Head{Seq: r.Seq, Hash: r.Hash()}
	if j.from == 0 || r.Seq < j.from {
		j.from = r.Seq
	}
	return nil
}

// open opens the journal of a month. One that names another book is left alone: this book
// has its own beside it, with its identity in the name. Where the first line does not say
// whose it is, a line that does is written before what follows. A line that was cut off is
// ended first.
func (j *journal) open(month, id string) error {
	j.close()
	name := check.JournalName(j.path, month, id, false)
	if owner, err := ownerOf(name); err != nil {
		return err
	} else if owner != "" && owner != id {
		name = check.JournalName(j.path, month, id, true)
	}
	f, err := disk.OpenOwn(name, os.O_RDWR|os.O_CREATE|os.O_APPEND)
	if err != nil {
		return err
	}
	begin, size, err := j.beginning(f, name, id)
	if err == nil && len(begin) > 0 {
		_, err = f.Write(begin)
	}
	if err != nil {
		_ = f.Close() // the error above is the one that is told
		return err
	}
	j.f, j.name, j.month, j.size, j.strange = f, name, month, size+int64(len(begin)), false
	return nil
}

// ownerOf is [check.Owner], "" also where there is no such file yet.
func ownerOf(name string) (string, error) {
	if fi, err := os.Lstat(name); err != nil || fi.Size() == 0 || !fi.Mode().IsRegular() {
		return "", nil //nolint:nilerr // opening it tells
	}
	return check.Owner(name)
}

// beginning is what must be written to a journal before its next record, and how long it
// is before that.
func (j *journal) beginning(f *os.File, name, id string) (begin []byte, size int64, err error) {
	fi, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	if fi.Size() > 0 {
		last := make([]byte, 1)
		if _, err := f.ReadAt(last, fi.Size()-1); err != nil {
			return nil, 0, err
		}
		if last[0] != '\n' {
			begin = append(begin, '\n')
		}
		switch owner, err := ownerOf(name); {
		case err != nil:
			return nil, 0, err
		case owner == id && !j.strange:
			return begin, fi.Size(), nil
		case owner == id: // what others wrote may name another book
		case owner != "": // its own name, and yet of another: nothing of either may be mixed
			return nil, 0, fmt.Errorf("%s is of another logbook", filepath.Base(name))
		}
	}
	head, err := json.Marshal(check.JournalHead{Journal: 1, Book: id})
	return append(append(begin, head...), '\n'), fi.Size(), err
}

// stillThere tells whether the open file still stands under its name, as long as this
// program left it. Where it does not, it is closed; the next record opens anew.
func (j *journal) stillThere() error {
	if j.f == nil {
		return nil
	}
	fi, err := j.f.Stat()
	if err != nil {
		return err
	}
	there, err := os.Lstat(j.name)
	switch {
	case err != nil || !os.SameFile(fi, there):
		err = fmt.Errorf("the journal %s was taken away or replaced: a new one goes on with the next record", filepath.Base(j.name))
	case fi.Size() != j.size:
		j.strange = true
		err = fmt.Errorf("the journal %s was changed by another program: it has %d bytes and should have %d. flaskside verify tells what is wrong in it", filepath.Base(j.name), fi.Size(), j.size)
	default:
		return nil
	}
	_ = j.f.Close() // what it holds is out of reach, or read anew
	j.f, j.dirty, j.lostSight = nil, false, true
	return err
}

// holds finds out anew what the journals hold, before a record of a number that names the
// one before it.
func (j *journal) holds(id string, prev record.Hash, next uint64, each func(from uint64, f func(record.Record) (bool, error)) error) {
	j.lostSight = false
	last, _, err := check.LastJournaled(j.path, id)
	if err != nil || last == nil {
		j.last, j.from = Head{}, 0
		return
	}
	is := last.Seq < next && last.Seq == next-1 && last.Hash == prev
	if last.Seq < next-1 {
		err := each(last.Seq, func(r record.Record) (bool, error) { is = r.Hash() == last.Hash; return false, nil })
		is = is && err == nil
	}
	if is {
		j.last = *last
		return
	}
	j.last = Head{Seq: next - 1, Hash: prev} // another history: told when the book is opened, and by verify
}

// sync makes what was written last, and sees whether the file is still there.
func (j *journal) sync() error {
	if j.f == nil {
		return nil
	}
	if err := j.stillThere(); err != nil {
		return err
	}
	if !j.dirty {
		return nil
	}
	if err := j.f.Sync(); err != nil {
		return err
	}
	j.dirty = false
	return syncDir(filepath.Dir(j.name))
}

// beat is the sync with a sign of life.
func (j *journal) beat() {
	if err := j.sync(); err != nil {
		j.trouble(fmt.Errorf("the journal beside the logbook: %w", err))
	}
}

// close syncs and closes the open file; the book goes on without it.
func (j *journal) close() {
	j.beat()
	if j.f != nil {
		if err := j.f.Close(); err != nil {
			j.trouble(fmt.Errorf("the journal beside the logbook: %w", err))
		}
		j.f = nil
	}
}

// OnTrouble has f told of what is wrong with the journal beside the book, once; where
// that is known already, now; and of a disk that runs full, also where it did before f
// was there to be told. The records are in the book
// all the same. f is called as those of [Book.OnChange] are.
func (b *Book) OnTrouble(f func(error)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	defer func() { b.journal.hear = append(b.journal.hear, f) }()
	if b.journal.told {
		f(b.journal.fault)
	}
	for _, err := range b.journal.early {
		if err != b.journal.fault { //nolint:errorlint // the very one that was told just now
			f(err)
		}
	}
	b.journal.early = nil
}

// OnFurtherTrouble is [Book.OnTrouble] for one who comes when all that is known was told.
func (b *Book) OnFurtherTrouble(f func(error)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.journal.hear = append(b.journal.hear, f)
}

// journalNote gives what the book should say of its journals, nil where it says so already,
// and what is to be done when it has. Between signs of life only a first note is made; full
// brings it up to what was synced at the sign of life before, so that whoever looks at
// journals first and then at the book finds no less in them than it says.
func (b *Book) journalNote(full bool) (note *check.JournalNote, noted func()) {
	j := &b.journal
	n := check.NoteFor(b.path, *b.file.Load())
	n.From, n.To = j.from, j.noted.To
	if n.Name != j.noted.Name || n.File != j.noted.File || n.From != j.noted.From {
		n.To = 0
	}
	if full && !j.dirty && !j.lostSight {
		n.To = max(n.To, j.sound)
		j.sound = j.last.Seq
	}
	n.To = max(n.To, n.From)
	if n.From == 0 || n == j.noted {
		return nil, func() {}
	}
	if j.beat(); j.dirty || j.lostSight {
		return nil, func() {} // nothing is said of what is not on the disk
	}
	return &n, func() { j.noted = n }
}

func putNote(tx *bolt.Tx, n *check.JournalNote) error {
	if n == nil {
		return nil
	}
	v, err := json.Marshal(n)
	if err != nil {
		return fmt.Errorf("note of the journal: %w", err)
	}
	return tx.Bucket(layout.Meta).Put(layout.KeyJournal, v)
}

// noteIn gives what the book says of its journals, where that holds for this file.
func (b *Book) noteIn() (n check.JournalNote) {
	_ = b.view(func(tx *bolt.Tx) error { // without it nothing is expected
		if got, ok := check.ReadNote(tx.Bucket(layout.Meta).Get(layout.KeyJournal), b.path); ok {
			n = got
		}
		return nil
	})
	return n
}
