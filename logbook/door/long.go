package door

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/disk"
	"flaskside/timers"
)

// A part of a long input: so many actions are one transaction of the bench, and between two of
// them its keys and other screens come in.
const (
	partActions = 1000
	partBytes   = 4 << 20
)

// AppendLong has the bench record an input of any length. It is checked as a whole first, on a copy
// of the book: where one action is refused (a [logbook.BadLine]) nothing is recorded. It is then
// handed over in parts, each of them whole or not at all. Others may record between two parts, so
// that the bench may refuse in a later one what the copy allowed; a [logbook.Parted] tells of that, and
// of a bench that ended. actions is gone through twice; far is told how far it is, as that of
// [logbook.Book.OnProgress] is, and may be nil.
func (c *Client) AppendLong(actions iter.Seq2[action.Action, error], clock timers.Clock, far func(done, of int)) (told logbook.Long, err error) {
	if far == nil {
		far = func(int, int) {}
	}
	all, err := c.rehearse(actions, clock, far)
	if err != nil {
		return told, asPart(err, 0)
	}
	defer far(0, 0) // nothing is left to be told
	p := c.parts()
	first := 0 // place of the first action of the part
	send := func() error {
		answers, err := c.send(p.body, p.n, false)
		if err != nil {
			return asPart(err, first)
		}
		for i, a := range answers {
			if a.Already {
				told.Repeat(first+i, a.Seq)
				continue
			}
			if told.Recorded++; told.Recorded == 1 {
				told.First = a.Seq
			}
			told.Head = logbook.Head{Seq: a.Seq, Hash: a.Hash()}
		}
		first += p.n
		far(first, all)
		return nil
	}
	for a, err := range actions {
		var line []byte
		if err == nil {
			line, err = lineOf(a)
		}
		if err != nil {
			return told, asPart(&logbook.BadLine{Index: p.n, Err: err}, first)
		}
		if p.full(line) {
			if err := send(); err != nil {
				return told, err
			}
			p.begin()
		}
		p.add(line)
	}
	if p.n > 0 {
		err = send()
	}
	return told, err
}

// parts cuts an input.
type parts struct {
	most int // actions
	n    int
	body []byte
}

func (c *Client) parts() *parts { return &parts{most: cmp.Or(c.part, partActions)} }

// full tells whether a part ends before an action.
func (p *parts) full(line []byte) bool {
	return p.n == p.most || p.n > 0 && len(p.body)+len(line) > partBytes
}

func (p *parts) begin() { p.n, p.body = 0, p.body[:0] }

func (p *parts) add(line []byte) { p.n, p.body = p.n+1, append(p.body, line...) }

// asPart is the error of a part that begins with an action of the whole input: those before it
// are in the book.
func asPart(err error, first int) error {
	var bad *logbook.BadLine
	refused := errors.As(err, &bad)
	if refused {
		err = &logbook.BadLine{Index: first + bad.Index, Err: bad.Err}
	}
	if first > 0 || !refused {
		err = &logbook.Parted{Recorded: first, Refused: refused, Err: err}
	}
	return err
}

// rehearse checks an input on a copy of the book, and counts it.
func (c *Client) rehearse(actions iter.Seq2[action.Action, error], clock timers.Clock, far func(done, of int)) (n int, err error) {
	file, clean, err := c.Copy()
	if err != nil {
		return 0, err
	}
	defer clean()
	book, err := logbook.OpenReading(file, clock)
	if err != nil {
		return 0, fmt.Errorf("read the copy of the running bench: %w", err)
	}
	defer func() { _ = book.Close() }() // only read from
	book.OnProgress(far)
	p, full := c.parts(), false
	err = book.RehearseLong(func(yield func(action.Action, error) bool) {
		for a, err := range actions {
			var line []byte
			if err == nil && a.Body != nil {
				line, err = lineOf(a)
			}
			if full = p.full(line); full {
				p.begin()
			}
			p.add(line)
			if n++; !yield(a, err) {
				return
			}
		}
	}, func() bool { return full })
	return n, err
}

// Copy has the bench hand out a copy of its logbook; done removes it.
func (c *Client) Copy() (file string, done func(), err error) {
	dir, err := os.MkdirTemp("", "flaskside-")
	if err != nil {
		return "", nil, fmt.Errorf("make a folder for a copy of the logbook: %w", err)
	}
	done = func() { _ = os.RemoveAll(dir) } // a copy left over harms nobody
	file = filepath.Join(dir, "copy.db")
	if err := disk.Save(file, c.Snapshot); err != nil {
		done()
		return "", nil, fmt.Errorf("copy the logbook of the running bench: %w", err)
	}
	return file, done, nil
}
