package door

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"

	"flaskside/logbook/action"
)

// Parsed is one line of a JSON Lines text: an action, or why it is none.
type Parsed struct {
	No     int // from 1, blank lines counted
	Action action.Action
	Err    error
}

// Lines reads actions, one a line. Blank lines, a byte order mark at the beginning
// and a missing last line end are nothing wrong. However long a line is, little
// more than [action.MaxLine] of it is held. A failure to read comes as the error,
// with no line, and is the last thing that comes.
func Lines(r io.Reader) iter.Seq2[Parsed, error] {
	return func(yield func(Parsed, error) bool) {
		in := bufio.NewReaderSize(r, action.MaxLine+len("\r\n"))
		for no := 1; ; no++ {
			b, size, err := nextLine(in)
			if err != nil && !errors.Is(err, io.EOF) {
				yield(Parsed{}, err)
				return
			}
			l := Parsed{No: no}
			if no == 1 {
				b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
			}
			b = bytes.Trim(b, " \t\r") // JSON's white space
			if size > action.MaxLine {
				l.Err = fmt.Errorf("an action has at most %d bytes, this line has %d", action.MaxLine, size)
			} else if len(b) > 0 {
				l.Action, l.Err = action.Decode(b)
			}
			if (l.Err != nil || len(b) > 0) && !yield(l, nil) {
				return
			}
			if errors.Is(err, io.EOF) {
				return
			}
		}
	}
}

// nextLine gives a line without its end, and its size; of a line that is too long
// only the size counts. The bytes are good until the next call.
func nextLine(in *bufio.Reader) (b []byte, size int, err error) {
	b, err = in.ReadSlice('\n')
	dropped := 0
	for errors.Is(err, bufio.ErrBufferFull) {
		dropped += len(b)
		b, err = in.ReadSlice('\n')
	}
	b = bytes.TrimSuffix(bytes.TrimSuffix(b, []byte("\n")), []byte("\r"))
	return b, dropped + len(b), err
}
