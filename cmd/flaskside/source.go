package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/charmbracelet/x/term"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/door"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// reading opens a logbook for reading: the file itself or, where a bench holds it,
// a copy that the bench hands out; of a damaged one what is left, and that is said.
// done is called when nothing more is read.
func reading(path string, clock timers.Clock) (book *logbook.Book, done func(), err error) {
	book, done, err = undamaged(path, clock)
	journals, jerr := check.Journals(path)
	if errors.Is(err, logbook.ErrDamaged) || errors.Is(err, logbook.ErrForeign) && len(journals) > 0 && jerr == nil {
		return readingDamaged(path, journals, clock, err)
	}
	return book, done, err
}

// readFrom opens a logbook for reading, as [reading] does, and gives what f finds in it;
// where f comes upon a spoilt record, what it finds in all that is left.
func readFrom[T any](path string, clock timers.Clock, f func(book *logbook.Book) (T, error)) (found T, err error) {
	book, done, err := reading(path, clock)
	if err != nil {
		return found, err
	}
	found, err = f(book)
	done()
	if !errors.Is(err, logbook.ErrSpoilt) && !errors.Is(err, logbook.ErrDamaged) {
		return found, err
	}
	journals, jerr := check.Journals(path)
	if jerr != nil {
		return found, errors.Join(err, jerr)
	}
	if book, done, err = readingDamaged(path, journals, clock, err); err != nil {
		return found, err
	}
	defer done()
	return f(book)
}

// undamaged opens a logbook for reading as it is.
func undamaged(path string, clock timers.Clock) (book *logbook.Book, done func(), err error) {
	client, err := door.Dial(path)
	if err != nil {
		book, oerr := logbook.OpenReading(path, clock)
		switch {
		case errors.Is(oerr, fs.ErrNotExist):
			return nil, nil, fmt.Errorf("there is no logbook at %s: the bench makes one when it is first opened", path)
		case errors.Is(oerr, logbook.ErrHeld) && !errors.Is(err, door.ErrNobody):
			return nil, nil, fmt.Errorf("%w; its door: %w", oerr, err)
		case oerr != nil:
			return nil, nil, oerr
		}
		return book, func() { _ = book.Close() }, nil // only read from
	}
	file, clean, err := client.Copy()
	if err != nil {
		return nil, nil, err
	}
	book, err = logbook.OpenReading(file, clock)
	if err != nil {
		clean()
		return nil, nil, fmt.Errorf("read the copy of the running bench: %w", err)
	}
	return book, func() { _ = book.Close(); clean() }, nil
}

// standing gives the bench as it stands now.
func standing(path string, clock timers.Clock) (logbook.Snapshot, error) {
	if client, err := door.Dial(path); err == nil {
		return client.State()
	}
	book, done, err := reading(path, clock)
	if err != nil {
		return logbook.Snapshot{}, err
	}
	defer done()
	return book.State(), nil
}

// writer takes actions: a logbook of our own, or the door of the bench that holds
// it.
type writer interface {
	// Append records all of the actions or none (a *logbook.BadLine names the first
	// that was refused); with keepGoing each that is good, and the answers tell the
	// reasons for the others.
	Append(as []action.Action, keepGoing bool) ([]door.Reply, error)
	Close() error
}

// writing opens a logbook for writing and makes it where there is none.
func writing(path string, clock timers.Clock) (writer, error) {
	client, err := door.Dial(path)
	if err == nil {
		return atDoor{client}, nil
	}
	book, oerr := logbook.Open(path, clock)
	if errors.Is(oerr, logbook.ErrHeld) && !errors.Is(err, door.ErrNobody) {
		return nil, fmt.Errorf("%w; its door: %w", oerr, err)
	}
	if oerr != nil {
		return nil, oerr
	}
	book.OnTrouble(func(err error) { fmt.Fprintln(os.Stderr, "flaskside: "+oneLine(err)) })
	book.OnProgress(howFar())
	return ownBook{book}, nil
}

// howFar tells on a terminal how far a long input is; nil where there is none.
func howFar() func(done, of int) {
	if !term.IsTerminal(os.Stderr.Fd()) {
		return nil
	}
	return progress(os.Stderr)
}

// recordOne records one thing that is done now.
func recordOne(body action.Body, why string, o *options, clock timers.Clock) (r record.Record, err error) {
	answers, err := recordSeveral([]action.Body{body}, why, o, clock)
	var bad *logbook.BadLine
	if errors.As(err, &bad) {
		return r, bad.Err
	}
	if err != nil {
		return r, err
	}
	return answers[0].Record, nil
}

// recordSeveral records things that are done now, all of them or none; a
// [logbook.BadLine] names the first that was refused.
func recordSeveral(bodies []action.Body, why string, o *options, clock timers.Clock) (answers []door.Reply, err error) {
	now := clock.Read().Wall
	as := make([]action.Action, len(bodies))
	for i, body := range bodies {
		as[i] = action.Action{ID: newID(), At: now, By: o.by, Body: body, Why: why}
	}
	if _, serr := os.Stat(o.book); errors.Is(serr, fs.ErrNotExist) {
		err = rehearse(clock, offered(as)) // no empty logbook is left behind by what is refused
	}
	if err != nil {
		return nil, err
	}
	w, err := writing(o.book, clock)
	if err != nil {
		return nil, err
	}
	answers, err = w.Append(as, false)
	return answers, errors.Join(err, w.Close())
}

// progress tells on a terminal how far a long input is, on one line that is taken away in
// the end.
func progress(out io.Writer) func(done, of int) {
	widest := 0
	return func(done, of int) {
		line := ""
		switch {
		case of == 0 && done > 0:
			line = fmt.Sprintf("%d checked", done)
		case done < of:
			line = fmt.Sprintf("%d of %d recorded", done, of)
		case widest == 0:
			return
		}
		widest = max(widest, len(line))
		fmt.Fprintf(out, "\r%-*s", widest, line)
		if line == "" {
			fmt.Fprint(out, "\r")
		}
	}
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

// notAsWritten holds what is about to be shown against the chain of the logbook, and says
// in a line each which records are not as they were written, or that nothing vouches for.
func notAsWritten(path string, items []bench.Item) (lines []string, err error) {
	recs := make([]record.Record, len(items))
	for i, it := range items {
		recs[i] = it.Record
	}
	var faults []check.Fault
	for range 3 { // a page read while a bench writes it makes no sense, and soon it does
		c, err := check.OpenContents(path)
		if err != nil {
			return nil, err
		}
		faults = c.AsWritten(recs)
		c.Close()
		if len(faults) == 0 {
			return nil, nil
		}
	}
	for _, f := range faults {
		lines = append(lines, words.Clean(f.String())+".")
	}
	return lines, nil
}

// spoiltSheet is the end of a command that showed something not as it was written.
func spoiltSheet(spoilt []string, err error) error {
	if err != nil || len(spoilt) == 0 {
		return err
	}
	return exitCode{fmt.Errorf("not as it was written: %s flaskside verify tells more", spoilt[0]), faultsFound}
}
