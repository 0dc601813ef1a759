package logbook

import (
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"syscall"
	"time"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Errors of opening and writing; each is wrapped in a line for the person.
var (
	// ErrHeld: another process has the book.
	ErrHeld = errors.New("the logbook is in use")
	// ErrForeign: the file is not a logbook of this program.
	ErrForeign = layout.ErrForeign
	// ErrDamaged: the file is a logbook that cannot be read.
	ErrDamaged = layout.ErrDamaged
	// ErrSpoilt: a record asked for is missing or cannot be read; the book is open all the same.
	ErrSpoilt = errors.New("spoilt")
	// errNewer: the file is of a later format.
	errNewer = layout.ErrNewer
	// ErrNotSaved: the record is not in the book; the book can be written again.
	ErrNotSaved = errors.New("not saved")
	// errNetwork: the file lies on a file system that another computer shares.
	errNetwork = errors.New("the logbook lies on a network file system")
	// ErrNoLocks: the file system cannot keep a second program from the file.
	ErrNoLocks = errors.New("the file system of the logbook cannot lock files")
	// ErrUnknown: the file can no longer be reached, so that nobody can say.
	ErrUnknown = errors.New("cannot tell whether it was saved")
)

// lockPatience is how long Open waits for another process to let go.
const lockPatience = time.Second

// Open opens the logbook at path for writing and makes a new one where there is
// none. The clock is asked for every time that is written. A network file system is
// refused with [errNetwork].
func Open(path string, clock timers.Clock) (*Book, error) {
	if err := notShared(path); err != nil {
		return nil, err
	}
	return openAnywhere(path, clock)
}

func notShared(path string) error {
	if v, err := disk.Of(path); err == nil && v.Kind == disk.Network {
		return fmt.Errorf("%w (%s): %s: locks and memory map cannot be trusted there and records could be lost: keep it on a disk of this computer", errNetwork, v.Type, path)
	}
	return nil
}

// OpenUnmade makes a logbook where there is none, for one long input ([Book.AppendLong]): it gets its
// name when all of that was checked and before any of it is written. So nothing is left of one that is refused.
func OpenUnmade(path string, clock timers.Clock) (*Book, error) {
	err := notShared(path)
	if err == nil {
		err = disk.Private(path)
	}
	if err != nil {
		return nil, err
	}
	tmp, unmake, err := createBeside(path, clock)
	if err != nil {
		return nil, err
	}
	b := &Book{path: tmp, place: path, unmake: unmake, clock: clock}
	if err := b.reopen(); err != nil {
		unmake() // nothing is in it
		return nil, err
	}
	return b, nil
}

// takePlace gives a book that has none its name.
func (b *Book) takePlace() error {
	if b.place == "" {
		return nil
	}
	if err := putInPlace(b.path, b.place); errors.Is(err, os.ErrExist) {
		return fmt.Errorf("another program made the logbook %s meanwhile: nothing was recorded, give the input again", b.place)
	} else if err != nil {
		return err
	}
	_ = os.Remove(b.path) // gone already where it was renamed; a leftover is swept
	b.path, b.place = b.place, ""
	b.furnishBeside()
	return syncDir(filepath.Dir(b.path))
}

// openAnywhere is [Open] for one who takes the risk of a network file system.
func openAnywhere(path string, clock timers.Clock) (*Book, error) {
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		if err := disk.Private(path); err != nil {
			return nil, err
		}
		if err := create(path, clock); err != nil {
			return nil, err
		}
	}
	return open(path, clock, false)
}

// OpenReading opens an existing logbook for reading only.
func OpenReading(path string, clock timers.Clock) (*Book, error) { return open(path, clock, true) }

func open(path string, clock timers.Clock, ro bool) (*Book, error) {
	if !ro {
		if err := disk.Private(path); err != nil {
			return nil, err
		}
	}
	b := &Book{path: path, clock: clock, ro: ro}
	if err := b.reopen(); err != nil {
		return nil, err
	}
	if !ro {
		b.furnishBeside()
	}
	return b, nil
}

// furnishBeside finds what lies beside the book.
func (b *Book) furnishBeside() {
	b.journal.path, b.reserve.path = b.path, reserveFile(b.path)
	b.journal.room = b.makeRoom
	b.journal.look(b.id, b.State().Head, b.noteIn(), func(seq uint64) (h record.Hash, ok bool) {
		err := b.Each(seq, func(r record.Record) (bool, error) {
			h, ok = r.Hash(), r.Seq == seq
			return false, nil
		})
		return h, ok && err == nil
	})
}

// options of the store. The map is asked for large, so that growing never waits
// for a reader; on Windows that would make the file as large, so not there.
func options(ro bool) *bolt.Options {
	o := &bolt.Options{Timeout: lockPatience, ReadOnly: ro, FreelistType: bolt.FreelistMapType}
	if !ro && runtime.GOOS != "windows" {
		o.InitialMmapSize = 256 << 20
	}
	return o
}

// growBytes is the step in which the file grows: some thousand records. The store's own, of 16 MiB, makes
// a book of one day so large for whoever copies it.
const growBytes = 1 << 20

// openStore opens the store at path under the guard, which keeps other programs away.
// Nothing but its first pages is looked at. The error is [ErrHeld], [ErrForeign] or
// [ErrDamaged], or one of the system that says nothing of the file.
func openStore(path string, ro bool) (*bolt.DB, os.FileInfo, error) {
	if err := check.Before(path); err != nil {
		return nil, nil, err
	}
	var db *bolt.DB
	var opened os.FileInfo
	o := options(ro)
	o.OpenFile = func(name string, flag int, perm os.FileMode) (*os.File, error) {
		f, err := os.OpenFile(name, flag&^os.O_CREATE, perm)
		if err == nil {
			opened, err = f.Stat()
		}
		return f, err
	}
	err := guard(func() (err error) {
		if db, err = bolt.Open(path, 0o600, o); err == nil {
			db.AllocSize = growBytes
		}
		return err
	})
	if now, serr := os.Stat(path); err == nil && (serr != nil || !os.SameFile(opened, now)) {
		_ = guard(db.Close) // nothing was read
		return nil, nil, fmt.Errorf("%w: %s was replaced meanwhile: try again", ErrHeld, path)
	}
	switch {
	case errors.Is(err, berrors.ErrTimeout):
		return nil, nil, fmt.Errorf("%w: %s%s", ErrHeld, path, holder(path))
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrVersionMismatch), errors.Is(err, berrors.ErrChecksum):
		return nil, nil, fmt.Errorf("%w: %s: %w", ErrForeign, path, err)
	case err != nil:
		return nil, nil, fmt.Errorf("open logbook %s: %w", path, ofPlace(err))
	}
	return db, opened, nil
}

// spoiltFile tells an error about the file itself from one of the system.
func spoiltFile(err error) bool { return errors.Is(err, ErrDamaged) || errors.Is(err, ErrForeign) }

// reopen opens the file and folds the bench.
func (b *Book) reopen() error {
	db, file, err := openStore(b.path, b.ro)
	if err != nil {
		return err
	}
	err = check.Inside(b.path)
	if err == nil {
		err = guard(func() error {
			if err := db.View(b.goesOn); err != nil {
				return err
			}
			return db.View(b.load)
		})
	}
	if err != nil {
		_ = guard(db.Close) // the reason to close is the error that is told
		return fmt.Errorf("open logbook %s: %w", b.path, err)
	}
	b.db.Store(db)
	b.file.Store(&file)
	return nil
}

// ofPlace says so where an error of opening means that files cannot be locked, or not be
// mapped into memory, where the book lies; and, where nothing can be written there, what
// would be right.
func ofPlace(err error) error {
	if errors.Is(err, os.ErrPermission) || errors.Is(err, syscall.EROFS) {
		return fmt.Errorf("%w: the logbook and its folder must be open to you for writing: see its permissions, or keep it elsewhere with --book FILE", err)
	}
	if disk.Full(err) {
		return fmt.Errorf("%w: free some disk space, or keep the logbook elsewhere with --book FILE", err)
	}
	if errors.Is(err, syscall.ENOLCK) || errors.Is(err, syscall.ENODEV) || errors.Is(err, errors.ErrUnsupported) {
		return fmt.Errorf("%w (%w): keep it on a disk of this computer", ErrNoLocks, err)
	}
	return err
}

// load folds the bench from the live records.
func (b *Book) load(tx *bolt.Tx) error {
	for _, name := range layout.Parts() {
		if tx.Bucket(name) == nil {
			return fmt.Errorf("%w: it has no part %q", ErrForeign, name)
		}
	}
	if err := layout.Readable(string(tx.Bucket(layout.Meta).Get([]byte("format")))); err != nil {
		return err
	}
	if b.id == "" { // it never changes
		b.id = string(tx.Bucket(layout.Meta).Get([]byte("book")))
	}
	st := Snapshot{Head: Head{Hash: record.Genesis(b.id)}}
	if k, v := tx.Bucket(layout.Log).Cursor().Last(); k != nil {
		r, err := record.Decode(v)
		if err != nil {
			return fmt.Errorf("%w: the last record: %w", ErrDamaged, err)
		}
		st.Head = Head{Seq: r.Seq, Hash: record.HashOf(v)}
	}
	if v := tx.Bucket(layout.Meta).Get(layout.KeyHead); v != nil && !bytes.Equal(v, st.Head.Bytes()) {
		return fmt.Errorf("%w: its end is not as it was written: flaskside verify tells more", ErrDamaged)
	}
	if v := tx.Bucket(layout.Beat).Get(layout.KeyLast); v != nil {
		if err := json.Unmarshal(v, &st.Beat); err != nil {
			return fmt.Errorf("%w: the sign of life: %w", ErrDamaged, err)
		}
	}
	if old := b.state.Load(); old != nil {
		st.Beat = old.Beat // the sign of life before this program stays the one that counts
	}
	p := newPast(tx)
	lacks := p.lacks()
	if p.err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, p.err)
	}
	m := tx.Bucket(layout.Meta)
	b.behind, b.format, b.marked = lacks, string(m.Get([]byte("format"))), m.Get(layout.KeyIndexed) != nil
	seqs := map[uint64]bool{}
	for _, r := range lacks.recs {
		seqs[r.Seq] = true
	}
	c := tx.Bucket(layout.Live).Cursor()
	for k, _ := c.First(); k != nil; k, _ = c.Next() {
		if len(k) != 8 {
			return fmt.Errorf("%w: the list of live records", ErrDamaged)
		}
		seqs[binary.BigEndian.Uint64(k)] = true
	}
	recs, err := p.sorted(seqs)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	st.Bench = bench.Fold(recs, p.top(st.Head.Seq))
	b.state.Store(&st)
	return nil
}

// top reads the highest numbers used from the ends of the index.
func (p *past) top(seq uint64) bench.Counters {
	last := func(class byte) int {
		k := prior(p.index(), []byte{class + 1})
		if len(k) == 13 && k[0] == class {
			return int(binary.BigEndian.Uint32(k[1:5]))
		}
		return 0
	}
	return bench.Counters{Flask: last('f'), Mix: last('m'), Load: last('l'), Timer: last('t'), Seq: seq}
}

// newFile has the store make a new file of its own, which nobody laid ready.
func newFile(o *bolt.Options) *bolt.Options {
	o.OpenFile = func(name string, _ int, _ os.FileMode) (*os.File, error) { return disk.CreateOwn(name) }
	return o
}

// create makes an empty logbook under another name and puts it in place whole, so
// that a power cut leaves either a good book or none.
func create(path string, clock timers.Clock) error {
	tmp, unmake, err := createBeside(path, clock)
	if err != nil {
		return err
	}
	defer unmake()                                                                // the name is gone already when all went well
	if err := putInPlace(tmp, path); err != nil && !errors.Is(err, os.ErrExist) { // another program was faster
		return err
	}
	return syncDir(filepath.Dir(path))
}

// createBeside makes an empty logbook under another name and gives that. unmake takes it away again, with the
// folders that were made for it where nothing else lies in them.
func createBeside(path string, clock timers.Clock) (tmp string, unmake func(), err error) {
	unfolder, err := disk.MakeFolder(filepath.Dir(path))
	if err != nil {
		return "", nil, fmt.Errorf("make the folder for the logbook: %w", err)
	}
	disk.Sweep(path)
	made := disk.NewName(path)
	away := func() {
		_ = os.Remove(made) // it may not be there
		unfolder()
	}
	defer func() {
		if err != nil {
			away()
		}
	}()
	db, err := bolt.Open(made, 0o600, newFile(&bolt.Options{Timeout: lockPatience, FreelistType: bolt.FreelistMapType}))
	if err != nil {
		return "", nil, fmt.Errorf("make logbook %s: %w", path, ofPlace(err))
	}
	err = db.Update(func(tx *bolt.Tx) error {
		for _, name := range layout.Parts() {
			if _, err := tx.CreateBucket(name); err != nil {
				return err
			}
		}
		m := tx.Bucket(layout.Meta)
		for k, v := range map[string]string{"format": format, "book": rand.Text(), "created": clock.Read().Wall.Format(time.RFC3339)} {
			if err := m.Put([]byte(k), []byte(v)); err != nil {
				return err
			}
		}
		return nil
	})
	if err := errors.Join(err, db.Close()); err != nil {
		return "", nil, fmt.Errorf("make logbook %s: %w", path, ofPlace(err))
	}
	return made, away, nil
}

// putInPlace gives a logbook its name. A link fails where another program was faster; a rename would not.
func putInPlace(tmp, path string) error {
	err := os.Link(tmp, path)
	if err == nil || errors.Is(err, os.ErrExist) {
		return err
	}
	if err := os.Rename(tmp, path); err != nil {
		return fmt.Errorf("make logbook %s: %w", path, err)
	}
	return nil
}

// syncDir makes a new name in a folder last. Windows has no such call.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync folder %s: %w", dir, err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("sync folder %s: %w", dir, err)
	}
	return nil
}

// guard runs a call of the store and turns its panics, and faults of the memory
// map, into errors: a damaged page must not end the program.
func guard(f func() error) (err error) {
	old := debug.SetPanicOnFault(true)
	defer debug.SetPanicOnFault(old)
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", ErrDamaged, p)
		}
	}()
	return f()
}

// recover finds out what became of a record whose commit failed.
func (b *Book) recover(id string, cause error) error {
	before := b.state.Load()
	unknown := func(err error) error {
		b.state.Store(before) // what nobody can say is saved is not shown
		b.lost = fmt.Errorf("%w, then %w", cause, err)
		return fmt.Errorf("%w: %w", ErrUnknown, b.lost)
	}
	if errors.Is(cause, ErrDamaged) {
		return unknown(errors.New("the store gave up")) // its locks may be held: closing could wait for ever
	}
	if err := guard(b.db.Load().Close); err != nil {
		return unknown(err)
	}
	if err := b.reopen(); err != nil {
		return unknown(err)
	}
	// A record seen after a failed sync can still be lost with the power, unless a
	// later commit goes through to the disk.
	if err := guard(func() error { return b.db.Load().Update(b.beat) }); err != nil {
		return unknown(err)
	}
	_, there, err := b.ByID(id)
	switch {
	case err != nil:
		return unknown(err)
	case !there:
		b.publish(b.State())
		return fmt.Errorf("%w: %w", ErrNotSaved, cause)
	}
	b.publish(b.State())
	return nil
}

// Reopen tries to reach a lost file again; on success the book can be written.
func (b *Book) Reopen() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.lost == nil {
		return nil
	}
	if taken, err := b.backInPlace(); err != nil {
		return err
	} else if taken {
		b.lost, b.kept = nil, false
		b.publish(b.State())
		return nil
	}
	// Where the file was reached again but could not be written, the handle is still
	// open and would keep this one out. One that gave up may wait for ever instead.
	if db := b.db.Load(); db != nil && !errors.Is(b.lost, ErrDamaged) {
		if err := guard(db.Close); err != nil {
			return fmt.Errorf("open logbook %s again: %w", b.path, err)
		}
	}
	if err := b.reopen(); err != nil {
		return err
	}
	b.lost = nil
	b.publish(b.State())
	return nil
}
