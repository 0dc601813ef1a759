// Package reach is the way to a logbook for whoever does not keep it: it may lie free, a bench
// that runs may hold it, or it may be damaged. Each is read and written through the same few
// functions. A logbook that a bench holds is asked for at its door ([door]), and what the door
// does not tell is read from a copy that the bench hands out; of a damaged one what is left is
// read, and that is told.
package reach

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"flaskside/logbook"
	"flaskside/logbook/check"
	"flaskside/logbook/door"
	"flaskside/logbook/house"
	"flaskside/timers"
)

// At is a logbook at a path, whoever has it.
type At struct {
	Path  string
	Clock timers.Clock
	Tell  func(line string)  // of what a person must know beside the answer
	Long  func(done, of int) // of how far a long input is; nil where nobody looks
}

// Made tells whether there is a logbook.
func (at At) Made() bool {
	_, err := os.Stat(at.Path)
	return !errors.Is(err, fs.ErrNotExist)
}

// Read opens a logbook for reading and gives what f finds in it; of a damaged one, or where f
// comes upon a spoilt record, what it finds in all that is left.
func Read[T any](at At, f func(book *logbook.Book) (T, error)) (found T, err error) {
	book, done, err := at.open()
	if err != nil {
		return found, err
	}
	found, err = f(book)
	done()
	if !errors.Is(err, logbook.ErrSpoilt) && !errors.Is(err, logbook.ErrDamaged) {
		return found, err
	}
	journals, jerr := check.Journals(at.Path)
	if jerr != nil {
		return found, errors.Join(err, jerr)
	}
	if book, done, err = at.whatIsLeft(journals, err); err != nil {
		return found, err
	}
	defer done()
	return f(book)
}

// open opens the logbook for reading, or what is left of it.
func (at At) open() (book *logbook.Book, done func(), err error) {
	book, done, err = at.Undamaged()
	journals, jerr := check.Journals(at.Path)
	if errors.Is(err, logbook.ErrDamaged) || errors.Is(err, logbook.ErrForeign) && len(journals) > 0 && jerr == nil {
		return at.whatIsLeft(journals, err)
	}
	return book, done, err
}

// Undamaged opens the logbook for reading: the file itself or, where a bench holds it, a copy
// that the bench hands out. done is called when nothing more is read.
func (at At) Undamaged() (book *logbook.Book, done func(), err error) {
	client, err := door.Dial(at.Path)
	if err != nil {
		book, oerr := logbook.OpenReading(at.Path, at.Clock)
		switch {
		case errors.Is(oerr, fs.ErrNotExist):
			return nil, nil, at.nothing()
		case oerr != nil:
			return nil, nil, unanswered(oerr, err)
		}
		return book, func() { _ = book.Close() }, nil // only read from
	}
	file, clean, err := client.Copy()
	if err != nil {
		return nil, nil, err
	}
	book, err = logbook.OpenReading(file, at.Clock)
	if err != nil {
		clean()
		return nil, nil, fmt.Errorf("read the copy of the running bench: %w", err)
	}
	return book, func() { _ = book.Close(); clean() }, nil
}

// whatIsLeft opens what is left of a damaged logbook for reading, and says so.
func (at At) whatIsLeft(journals []string, cause error) (book *logbook.Book, done func(), err error) {
	file, clean, err := scratch("copy.db")
	if err != nil {
		return nil, nil, errors.Join(cause, err)
	}
	s, err := logbook.Salvage(at.Path, journals, file, nil, at.Clock, nil)
	if err == nil {
		book, err = logbook.OpenReading(file, at.Clock)
	}
	if err != nil {
		clean()
		return nil, nil, fmt.Errorf("%w; nor can anything be read beside that: %w", cause, err)
	}
	other := ""
	if n := s.Outside(); n > 0 {
		other = fmt.Sprintf(", of another history: %d", n)
	}
	at.Tell(cause.Error())
	at.Tell(fmt.Sprintf("what follows is read from what is left; records left: %d, lost: %d%s; see flaskside verify", s.Records, s.Gone(), other))
	return book, func() { _ = book.Close(); clean() }, nil
}

// State gives the bench as it stands now.
func (at At) State() (logbook.Snapshot, error) {
	if client, err := door.Dial(at.Path); err == nil {
		return client.State()
	}
	book, done, err := at.open()
	if err != nil {
		return logbook.Snapshot{}, err
	}
	defer done()
	return book.State(), nil
}

// House gives the settings in force; those of a logbook not yet made are the defaults.
func (at At) House() (house.House, error) {
	if !at.Made() {
		return house.Default(), nil
	}
	st, err := at.State()
	if err != nil {
		return house.House{}, err
	}
	return st.Bench.House, nil
}

// Snapshot gives what writes a copy of the logbook: the bench that runs, or its file.
func (at At) Snapshot() (snapshot func(io.Writer) error, done func(), err error) {
	client, err := door.Dial(at.Path)
	if err == nil {
		return client.Snapshot, func() {}, nil
	}
	book, done, err := at.Undamaged()
	if err != nil {
		return nil, nil, err
	}
	return book.Snapshot, done, nil
}

// nothing says that there is no logbook.
func (at At) nothing() error {
	return fmt.Errorf("there is no logbook at %s: the bench makes one when it is first opened", at.Path)
}

// unanswered adds to the error of a logbook that is held why nobody answers at its door.
func unanswered(opening, dialling error) error {
	if errors.Is(opening, logbook.ErrHeld) && !errors.Is(dialling, door.ErrNobody) {
		return fmt.Errorf("%w; its door: %w", opening, dialling)
	}
	return opening
}

// scratch names a file in a folder of its own, which done removes.
func scratch(name string) (file string, done func(), err error) {
	dir, err := os.MkdirTemp("", "flaskside-")
	return filepath.Join(dir, name), func() { _ = os.RemoveAll(dir) }, err // a folder left over harms nobody
}
