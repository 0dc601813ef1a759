package logbook

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/layout"
)

// ErrTaken: the name of the book no longer leads to the file that is open. What is written
// goes into a file that nobody finds again.
var ErrTaken = errors.New("the file of the logbook was taken away")

// taken tells whether the file that is open is still the one that the name of the book
// leads to: by device and number of the file, not by what stands in it.
func (b *Book) taken() error {
	now, err := os.Stat(b.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%w: %s was deleted or moved, or its disk taken out. Put it back. Until then keep what is known by flaskside backup FILE on another disk, before the bench is left", ErrTaken, b.path)
	case err != nil:
		return fmt.Errorf("%w: %s: %w", ErrTaken, b.path, bare(err))
	case !os.SameFile(*b.file.Load(), now):
		return fmt.Errorf("%w: another file stands at %s. Move it aside and put the logbook back. Until then keep what is known by flaskside backup FILE on another disk, before the bench is left", ErrTaken, b.path)
	}
	return nil
}

// missed notes that the file was taken away, and tells it once. The handle is kept: only
// through it can what was in the file still be copied. The writer's lock is held.
func (b *Book) missed() error {
	err := b.taken()
	if err == nil {
		return nil
	}
	b.lost, b.kept = err, true
	b.journal.say(err)
	return fmt.Errorf("%w: %w", ErrUnknown, err)
}

// backInPlace ends a loss of the file where its name leads to it again; another one in its
// place is not opened. ok is false where the handle must be opened anew.
func (b *Book) backInPlace() (ok bool, err error) {
	if !b.kept {
		return false, nil
	}
	if err := b.taken(); err != nil {
		return true, err
	}
	if err := b.view(b.load); err != nil { // with what a commit left whose answer was not given
		return true, fmt.Errorf("open logbook %s again: %w", b.path, err)
	}
	return true, nil
}

// goesOn refuses a file that is opened again and is not the one that was open: of another
// book, or one that lacks what was acknowledged.
func (b *Book) goesOn(tx *bolt.Tx) error {
	st := b.state.Load()
	if st == nil {
		return nil
	}
	if id := string(tx.Bucket(layout.Meta).Get(layout.KeyBook)); id != b.id {
		return fmt.Errorf("%w: %s is another logbook now", ErrTaken, filepath.Base(b.path))
	}
	if st.Head.Seq == 0 {
		return nil
	}
	if r, err := newPast(tx).at(st.Head.Seq); err != nil || r.Hash() != st.Head.Hash {
		return fmt.Errorf("%w: what stands at %s lacks record %d as it was saved: an older copy?", ErrTaken, filepath.Base(b.path), st.Head.Seq)
	}
	return nil
}
