package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"runtime/debug"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/timers"
)

// wholeInput is an input that was read whole, before the logbook is opened: whoever writes it may
// take his time. A short one stays in memory, a long one lies in a file that has no name.
type wholeInput struct {
	head []byte // in memory
	f    *os.File
	name string
	size int64
}

// shortInput is how much of an input is wholeInput in memory, bytes.
const shortInput = 1 << 20

// keepInput reads an input to its end.
func keepInput(r io.Reader) (*wholeInput, error) {
	k := &wholeInput{}
	in := &bounded{r: r, left: maxInput}
	var b bytes.Buffer
	if _, err := io.CopyN(&b, in, shortInput); err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the standard input: %w", err)
	}
	k.head, k.size = b.Bytes(), int64(b.Len())
	if b.Len() < shortInput {
		return k, nil
	}
	f, err := os.CreateTemp("", "flaskside-input-")
	if err != nil {
		return nil, fmt.Errorf("keep the input: %w", err)
	}
	k.f, k.name = f, f.Name()
	if os.Remove(k.name) == nil {
		k.name = ""
	}
	n, err := io.Copy(toFile{f}, in)
	if k.size += n; err != nil {
		k.close()
		var full *writeFailed
		if errors.As(err, &full) {
			return nil, fmt.Errorf("keep the input: %w", full.err)
		}
		return nil, fmt.Errorf("read the standard input: %w", err)
	}
	return k, nil
}

// toFile tells an error of writing from one of reading.
type toFile struct{ f *os.File }

type writeFailed struct{ err error }

func (e *writeFailed) Error() string { return e.err.Error() }

// Write gives an error of its own kind.
func (t toFile) Write(b []byte) (int, error) {
	n, err := t.f.Write(b)
	if err != nil {
		err = &writeFailed{err}
	}
	return n, err
}

// long tells whether the input is one that is recorded in parts.
func (k *wholeInput) long() bool { return k.f != nil }

// reader reads the input from its beginning.
func (k *wholeInput) reader() io.Reader {
	if k.f == nil {
		return bytes.NewReader(k.head)
	}
	return io.MultiReader(bytes.NewReader(k.head), io.NewSectionReader(k.f, 0, k.size-int64(len(k.head))))
}

func (k *wholeInput) close() {
	if k.f == nil {
		return
	}
	_ = k.f.Close() // thrown away
	if k.name != "" {
		_ = os.Remove(k.name) // a leftover in the folder for such
	}
}

// unread is an error of the input as a whole and not of a line.
type unread struct{ err error }

func (u unread) Error() string { return u.err.Error() }

// actions gives those of the input in turn; lines gets the line of each.
func (k *wholeInput) actions(by string, lines *[]int) iter.Seq2[action.Action, error] {
	return func(yield func(action.Action, error) bool) {
		*lines = (*lines)[:0]
		for l, err := range linesOf(k.reader(), by) {
			*lines = append(*lines, l.No)
			if err != nil {
				yield(action.Action{}, unread{err})
				return
			}
			if !yield(l.Action, l.Err) {
				return
			}
		}
	}
}

// memoryOfLong is what the program should keep to while it records a long input, bytes. A
// bench that needs more gets it.
const memoryOfLong = 80 << 20

// recordLong records a long input, checked as a whole and written in parts.
func recordLong(raw *wholeInput, o *options, clock timers.Clock, out io.Writer) error {
	debug.SetMemoryLimit(memoryOfLong)
	debug.SetGCPercent(50)
	var lines []int
	named := func(err error) error {
		var bad *logbook.BadLine
		var whole unread
		switch {
		case errors.As(err, &whole):
			return whole.err
		case errors.As(err, &bad):
			return badLine{lines[bad.Index], bad.Err}
		}
		return err
	}
	if _, err := os.Stat(o.book); errors.Is(err, fs.ErrNotExist) {
		scratch := func(b *logbook.Book) error { return b.RehearseLong(raw.actions(o.by, &lines), nil) }
		if err := rehearse(clock, scratch); err != nil {
			return named(err) // and no empty logbook is left behind
		}
	}
	w, err := writing(o.book, clock)
	if err != nil {
		return err
	}
	var told logbook.Long
	switch w := w.(type) {
	case atDoor: // its own program has the bench record it
		told, err = w.AppendLong(raw.actions(o.by, &lines), clock, howFar())
	case ownBook:
		told, err = w.AppendLong(raw.actions(o.by, &lines))
	}
	if cerr := w.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return namedPart(err, named)
	}
	t := tallyOf(told, lines)
	return cmp.Or(t.tell(out), t.tellDoubts(o.book, clock, out))
}

// tallyOf counts what became of a long input; lines has the line of each action.
func tallyOf(told logbook.Long, lines []int) (t tally) {
	t.fresh, t.repeated = told.Recorded, told.Repeated
	if told.Recorded > 0 {
		t.head, t.first = told.Head.String(), told.First
	}
	for _, r := range told.Again[:min(len(told.Again), repeatsTold)] {
		t.again = append(t.again, fmt.Sprintf("line %d is record %d", lines[r.Index], r.Seq))
	}
	return t
}

// namedPart is named for an input of which a part may be recorded.
func namedPart(err error, named func(error) error) error {
	var parted *logbook.Parted
	if errors.As(err, &parted) {
		return &logbook.Parted{Recorded: parted.Recorded, Refused: parted.Refused, Err: named(parted.Err)}
	}
	return named(err)
}
