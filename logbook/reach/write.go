package reach

import (
	"cmp"
	"errors"
	"fmt"
	"iter"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/door"
	"flaskside/timers"
)

// Writer takes actions: a logbook of our own, or the door of the bench that holds it.
type Writer interface {
	// Append records all of the actions or none (a *logbook.BadLine names the first that was
	// refused); with keepGoing each that is good, and the answers tell the reasons for the
	// others.
	Append(as []action.Action, keepGoing bool) ([]door.Reply, error)
	Close() error
}

// Writing opens the logbook for writing and makes it where there is none.
func (at At) Writing() (Writer, error) {
	client, err := door.Dial(at.Path)
	if err == nil {
		return atDoor{client}, nil
	}
	return at.opened(logbook.Open, err)
}

// opened opens the logbook where nobody answers at its door.
func (at At) opened(open func(string, timers.Clock) (*logbook.Book, error), unheard error) (Writer, error) {
	book, err := open(at.Path, at.Clock)
	if err != nil {
		return nil, unanswered(err, unheard)
	}
	book.OnTrouble(func(err error) { at.Tell(err.Error()) })
	if at.Long != nil {
		book.OnProgress(at.Long)
	}
	return ownBook{book}, nil
}

// begin opens the logbook for writing. Where there is none, what is about to be recorded is
// offered to one that is thrown away first: no empty logbook is left behind by what is refused.
func (at At) begin(offer func(*logbook.Book) error) (Writer, error) {
	if !at.Made() {
		if err := at.rehearse(offer); err != nil {
			return nil, err
		}
	}
	return at.Writing()
}

// Record records all of the actions, which are few, or none; a [logbook.BadLine] names the first
// that was refused.
func (at At) Record(as []action.Action) (answers []door.Reply, err error) {
	w, err := at.begin(func(b *logbook.Book) error { return b.Rehearse(as) })
	if err != nil {
		return nil, err
	}
	answers, err = w.Append(as, false)
	return answers, errors.Join(err, w.Close())
}

// RecordAll records all of the actions, however many, or none, as [At.Record] does, and sums up
// what became of them.
func (at At) RecordAll(as []action.Action) (logbook.Long, error) {
	w, err := at.begin(func(b *logbook.Book) error { return b.Rehearse(as) })
	if err != nil {
		return logbook.Long{}, err
	}
	if d, ok := w.(atDoor); ok && len(as) > door.MaxActions {
		return d.AppendLong(func(yield func(action.Action, error) bool) {
			for _, a := range as {
				if !yield(a, nil) {
					return
				}
			}
		}, at.Clock, at.Long)
	}
	answers, err := w.Append(as, false)
	return Sum(answers), cmp.Or(err, w.Close())
}

// RecordLong records an input of any length, as [logbook.Book.AppendLong] does.
func (at At) RecordLong(as iter.Seq2[action.Action, error]) (told logbook.Long, err error) {
	client, err := door.Dial(at.Path)
	var w Writer = atDoor{client}
	if err != nil {
		open := logbook.Open
		if !at.Made() {
			open = logbook.OpenUnmade
		}
		if w, err = at.opened(open, err); err != nil {
			return told, err
		}
	}
	switch w := w.(type) {
	case atDoor: // its own program has the bench record it
		return w.AppendLong(as, at.Clock, at.Long)
	case ownBook:
		told, err = w.AppendLong(as)
	}
	return told, cmp.Or(err, w.Close())
}

// Sum sums up what became of actions.
func Sum(answers []door.Reply) (told logbook.Long) {
	for i, a := range answers {
		switch {
		case a.Err != nil:
		case a.Already:
			told.Repeat(i, a.Seq)
		default:
			if told.Recorded++; told.First == 0 {
				told.First = a.Seq
			}
			told.Head = logbook.Head{Seq: a.Seq, Hash: a.Hash()}
		}
	}
	return told
}

// rehearse offers something to a logbook that is thrown away.
func (at At) rehearse(offer func(*logbook.Book) error) error {
	file, done, err := scratch("scratch.db")
	if err != nil {
		return fmt.Errorf("make a scratch folder: %w", err)
	}
	defer done()
	book, err := logbook.Open(file, at.Clock)
	if err != nil {
		return err
	}
	err = offer(book)
	_ = book.Close() // thrown away
	return err
}

type atDoor struct{ *door.Client }

func (atDoor) Close() error { return nil }

type ownBook struct{ *logbook.Book }

func (b ownBook) Append(as []action.Action, keepGoing bool) ([]door.Reply, error) {
	out := make([]door.Reply, len(as))
	if !keepGoing {
		saved, err := b.AppendAll(as)
		if err != nil {
			return nil, err
		}
		for i, s := range saved {
			out[i] = door.Reply{Line: i + 1, Saved: s}
			saved[i] = logbook.Saved{}
		}
		return out, nil
	}
	for i, a := range as {
		s, err := b.Book.Append(a)
		if errors.Is(err, logbook.ErrUnknown) || errors.Is(err, logbook.ErrNotSaved) {
			return out[:i], err // the book failed, not the action
		}
		out[i] = door.Reply{Line: i + 1, Saved: s, Err: err}
	}
	return out, nil
}
