package intake

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"

	"flaskside/logbook/door"
)

// Bounds of one input; a day has some hundred actions.
const (
	maxInput   = 64 << 20 // bytes
	maxActions = 100_000
	shortInput = 1 << 20 // how much of it stays in memory, bytes
)

// Input is an input that was read whole, before the logbook is opened: whoever writes it may
// take his time. A short one stays in memory, a long one lies in a file that has no name.
type Input struct {
	head []byte // in memory
	f    *os.File
	name string
	size int64
}

// Keep reads an input to its end.
func Keep(r io.Reader) (*Input, error) {
	k := &Input{}
	in := &bounded{r: r, left: maxInput}
	var b bytes.Buffer
	if _, err := io.CopyN(&b, in, shortInput); err != nil && !errors.Is(err, io.EOF) {
		return nil, unreadable(err)
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
	to := &toFile{f: f}
	n, err := io.Copy(to, in)
	if k.size += n; err != nil {
		k.Close()
		if to.err != nil {
			return nil, fmt.Errorf("keep the input: %w", to.err)
		}
		return nil, unreadable(err)
	}
	return k, nil
}

func unreadable(err error) error { return fmt.Errorf("read the standard input: %w", err) }

// toFile keeps an error of writing, to tell it from one of reading.
type toFile struct {
	f   *os.File
	err error
}

// Write gives the error of the file.
func (t *toFile) Write(b []byte) (n int, err error) {
	n, t.err = t.f.Write(b)
	return n, t.err
}

// Long tells whether the input is one that is recorded in parts.
func (k *Input) Long() bool { return k.f != nil }

// reader reads the input from its beginning.
func (k *Input) reader() io.Reader {
	if k.f == nil {
		return bytes.NewReader(k.head)
	}
	return io.MultiReader(bytes.NewReader(k.head), io.NewSectionReader(k.f, 0, k.size-int64(len(k.head))))
}

// Close throws away what was kept.
func (k *Input) Close() {
	if k.f == nil {
		return
	}
	_ = k.f.Close() // thrown away
	if k.name != "" {
		_ = os.Remove(k.name) // a leftover in the folder for such
	}
}

// lines gives the lines in turn, and an error where there are too many or none can be read.
// by stands in where an action names nobody.
func (k *Input) lines(by string) iter.Seq2[door.Parsed, error] {
	return func(yield func(door.Parsed, error) bool) {
		n := 0
		for l, err := range door.Lines(&bounded{r: k.reader(), left: maxInput}) {
			if err != nil {
				yield(l, unreadable(err))
				return
			}
			if n++; n > maxActions {
				yield(l, fmt.Errorf("the input has more than %d lines: give it in parts", maxActions))
				return
			}
			if l.Action.By == "" {
				l.Action.By = by
			}
			if !yield(l, nil) {
				return
			}
		}
	}
}

// bounded reads no more than it may and says so.
type bounded struct {
	r    io.Reader
	left int
}

// Read gives an error where more is there than may be read.
func (b *bounded) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, fmt.Errorf("it has more than %d MiB: give it in parts", maxInput>>20)
	}
	n, err := b.r.Read(p[:min(len(p), b.left)])
	b.left -= n
	return n, err
}
