package logbook

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"flaskside/logbook/disk"
)

// The reserve is a file beside the book that holds nothing but room. When the disk is
// full it is given up step by step, so that what is going on at the bench can still be
// recorded, and it is made again when there is room. By steps, for whatever filled the
// disk may take what is given up, too.
const (
	reserveBytes = 32 << 20 // some weeks of records, and room for a backup of a small book
	reserveStep  = 4 << 20
	reserveSpare = 32 << 20 // room that must be left over before it is made again

	tellAgain = 15 * time.Minute // how often a disk that stays full is told of again
)

// reserveHead begins the file, for whoever comes upon it; a file without it is another's
// and left alone.
const reserveHead = "Room for a full disk, kept by flaskside for the logbook beside it.\n"

// reserve is that file; its lock is held for work on the file, never together with a
// wait for the lock of the book.
type reserve struct {
	mu     sync.Mutex
	path   string
	kept   bool      // it is to be made where it is not whole
	told   time.Time // when it was last said that it is not
	failed bool      // making it failed, which was told
}

// reserveFile is the name of the reserve of a book.
func reserveFile(bookPath string) string { return strings.TrimSuffix(bookPath, ".db") + ".reserve" }

// size is how much of it there is; not ok: there is a file of another kind.
func (r *reserve) size() (n int64, ok bool) {
	f, err := disk.OpenOwn(r.path, os.O_RDONLY)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, true
	}
	if err != nil {
		return 0, false
	}
	defer func() { _ = f.Close() }() // only read from
	fi, err := f.Stat()
	head := make([]byte, len(reserveHead))
	if _, rerr := io.ReadFull(f, head); err != nil || rerr != nil || string(head) != reserveHead {
		return 0, false
	}
	return fi.Size(), true
}

// give gives a step of the reserve up; false where none is left.
func (r *reserve) give() (left int64, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	had, ours := r.size()
	if had == 0 || !ours {
		return 0, false
	}
	if left = had - reserveStep; left < reserveStep {
		return 0, os.Remove(r.path) == nil
	}
	f, err := disk.OpenOwn(r.path, os.O_RDWR)
	if err != nil {
		return left, false
	}
	return left, errors.Join(f.Truncate(left), f.Close()) == nil
}

// mend makes the reserve whole where there is room, and tells what a person should
// know of.
func (r *reserve) mend(now time.Time) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.kept {
		return nil
	}
	size, ours := r.size()
	if !ours {
		return r.once(fmt.Errorf("no reserve for a full disk is kept: %s is a file of another kind, or cannot be read", r.path))
	}
	v, err := disk.Of(filepath.Dir(r.path))
	if err != nil {
		return r.once(fmt.Errorf("how much space is left on the disk of the logbook is not known: %w", err))
	}
	if size < reserveBytes && v.Free >= reserveBytes-size+reserveSpare {
		if err := makeReserve(r.path); err != nil {
			return r.once(fmt.Errorf("the reserve for a full disk could not be made: %w", err))
		}
		size = reserveBytes
		v.Free -= reserveBytes
	}
	if v.Free >= disk.LowFree || now.Sub(r.told) < tellAgain && !now.Before(r.told) {
		return nil
	}
	r.told = now
	if size < reserveBytes {
		return fmt.Errorf("the disk is nearly full: %s free, %s left of the reserve; free some disk space soon", disk.Size(v.Free), disk.Size(size))
	}
	return fmt.Errorf("little space left on the disk of the logbook: %s free", disk.Size(v.Free))
}

// once tells an error a single time.
func (r *reserve) once(err error) error {
	if r.failed {
		return nil
	}
	r.failed = true
	return err
}

// makeReserve writes the file anew. Its bytes are chance: a file system that packs or
// leaves out zeros would hold no room for it.
func makeReserve(path string) (err error) {
	part := path + ".part"
	f, err := disk.CreateOwn(part)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreMissing(os.Remove(part)))
		}
	}()
	src := rand.NewChaCha8([32]byte{})
	block := make([]byte, 1<<20)
	for n := 0; n < reserveBytes; n += len(block) {
		_, _ = src.Read(block) // never fails
		if n == 0 {
			copy(block, reserveHead)
		}
		if _, err := f.Write(block); err != nil {
			return errors.Join(err, f.Close())
		}
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(part, path)
}

func ignoreMissing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// KeepReserve has a reserve kept beside the book for the day on which the disk is full,
// from now on and with each sign of life; for the program that runs a bench. Where there
// is no room for it, or little room left, that is told as trouble.
func (b *Book) KeepReserve() {
	b.reserve.mu.Lock()
	b.reserve.kept = true
	b.reserve.mu.Unlock()
	b.mendReserve()
}

// mendReserve makes the reserve whole where it can be; not to be called with the
// writer's lock held.
func (b *Book) mendReserve() {
	if err := b.reserve.mend(b.clock.Read().Wall); err != nil {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.journal.say(err)
	}
}

// makeRoom gives up a step of the reserve where a commit failed for want of room. The
// writer's lock is held.
func (b *Book) makeRoom(cause error) bool {
	if !disk.Full(cause) {
		return false
	}
	left, ok := b.reserve.give()
	if ok {
		b.journal.say(fmt.Errorf("the disk is full: %s left of the reserve; free some disk space soon", disk.Size(left)))
	}
	return ok
}
