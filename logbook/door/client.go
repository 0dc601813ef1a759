package door

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/logbook/units"
)

// How long to wait for the whole of an answer; for a snapshot, as long as the bench
// gives itself.
const (
	dialPatience   = time.Second
	askPatience    = 3 * time.Second
	recordPatience = 20 * time.Second       // for actions, and
	eachPatience   = 100 * time.Millisecond // for each of them
)

// Client asks a running bench. It may be used by several goroutines and needs no
// closing.
type Client struct {
	transport http.RoundTripper
	part      int // actions in one part of a long input; 0 for partActions
}

// Dial finds the bench that runs on a book. The error is [ErrNobody] where none
// does; so is that of the methods when it has ended since.
func Dial(bookPath string) (*Client, error) {
	sock, err := socketPath(bookPath)
	if err != nil {
		return nil, err
	}
	c := &Client{transport: &http.Transport{
		DisableKeepAlives: true,
		DialContext:       func(ctx context.Context, _, _ string) (net.Conn, error) { return knock(ctx, sock) },
	}}
	who, err := c.Who()
	if err != nil {
		return nil, err
	}
	if who.Door != version {
		return nil, fmt.Errorf("the running bench (process %d, version %s) speaks version %d at its door and this program %d: end it and start it again", who.PID, who.Version, who.Door, version)
	}
	return c, nil
}

// unsent marks an error from before anything was asked.
type unsent struct{ error }

func (e unsent) Unwrap() error { return e.error }

func knock(ctx context.Context, sock string) (net.Conn, error) {
	err := checkPlace(sock)
	if err == nil {
		var conn net.Conn
		if conn, err = (&net.Dialer{Timeout: dialPatience}).DialContext(ctx, "unix", sock); err == nil {
			return conn, nil
		}
	}
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, connRefused) {
		err = ErrNobody
	}
	return nil, unsent{err}
}

// Who tells which program answers.
func (c *Client) Who() (who Who, err error) {
	err = c.get("/who", askPatience, func(r io.Reader) error { return json.NewDecoder(r).Decode(&who) })
	return who, err
}

// State gives the bench as it stands, made from the records it rests on: the cost
// does not grow with the history, as that of a snapshot does.
func (c *Client) State() (st logbook.Snapshot, err error) {
	err = c.get("/state", askPatience, func(r io.Reader) error {
		d := json.NewDecoder(r)
		var h stateHead
		if err := d.Decode(&h); err != nil {
			return err
		}
		var recs []record.Record
		for {
			var raw json.RawMessage
			if err := d.Decode(&raw); err == io.EOF {
				break // an end cut short is another error
			} else if err != nil {
				return err
			}
			rec, err := record.Decode(raw)
			if err != nil {
				return err
			}
			recs = append(recs, rec)
		}
		st = logbook.Snapshot{Bench: bench.Fold(recs, h.Top), Head: h.Head, Beat: h.Beat}
		return nil
	})
	return st, err
}

// Snapshot writes a consistent copy of the whole file, as it was after one of its
// records. After an error what was written is worthless.
func (c *Client) Snapshot(w io.Writer) error {
	return c.get("/snapshot", replying, func(r io.Reader) error {
		_, err := io.Copy(w, r)
		return err
	})
}

// Reply says what became of one action.
type Reply struct {
	Line          int // from 1, in the order given
	logbook.Saved     // as recorded, when Err is nil
	Err           error
}

// Append has the bench record actions, at most [MaxActions]: all of them or none,
// and then the error is a [logbook.BadLine] for the first that was refused; or, with
// keepGoing, each that is good, and the answers give the reasons for the others.
// Other errors are those of [logbook.Book.AppendAll]; [logbook.ErrUnknown] also comes
// when the bench fell silent, and sending the same ids again, which is harmless,
// tells. Beside such an error stand the answers that came before it.
func (c *Client) Append(actions []action.Action, keepGoing bool) ([]Reply, error) {
	var body []byte
	for i, a := range actions {
		b, err := lineOf(a)
		if err != nil {
			return nil, &logbook.BadLine{Index: i, Err: err}
		}
		body = append(body, b...)
	}
	return c.send(body, len(actions), keepGoing)
}

// lineOf is an action as it is sent.
func lineOf(a action.Action) ([]byte, error) {
	if a.Body == nil {
		return nil, a.Valid()
	}
	b, err := json.Marshal(a)
	return append(b, '\n'), err
}

// send has the lines of n actions recorded.
func (c *Client) send(body []byte, n int, keepGoing bool) ([]Reply, error) {
	path := "/actions"
	if keepGoing {
		path += "?keep-going"
	}
	out := make([]Reply, 0, n)
	within := recordPatience + time.Duration(n)*eachPatience
	var told error
	err := c.do(http.MethodPost, path, body, within, func(_ int, r io.Reader) error {
		for d := json.NewDecoder(r); len(out) < n; {
			var x replyLine
			if err := d.Decode(&x); err != nil {
				return err
			}
			a := Reply{Line: x.Line}
			if x.Failed != nil {
				a.Err = x.Failed.err()
				if x.Line == 0 {
					told = a.Err
					return nil
				}
				if !keepGoing {
					out, told = nil, &logbook.BadLine{Index: x.Line - 1, Err: a.Err}
					return nil
				}
			} else {
				rec, err := record.Decode(x.Record)
				if err != nil {
					return err
				}
				a.Saved = logbook.Saved{Record: rec, Already: x.Already}
			}
			out = append(out, a)
		}
		return nil
	})
	switch {
	case errors.As(err, &unsent{}):
		return nil, err
	case err != nil:
		return out, fmt.Errorf("%w: %w", logbook.ErrUnknown, err)
	}
	return out, told
}

// get asks for something and has it read.
func (c *Client) get(path string, within time.Duration, read func(io.Reader) error) error {
	return c.do(http.MethodGet, path, nil, within, func(status int, r io.Reader) error {
		if status != http.StatusOK {
			var x replyLine
			if json.NewDecoder(r).Decode(&x) != nil || x.Failed == nil {
				return fmt.Errorf("what answers beside the logbook is not a bench (%d)", status)
			}
			return x.Failed.err()
		}
		if err := read(r); err != nil {
			return fmt.Errorf("read the answer of the bench: %w", err)
		}
		return nil
	})
}

// do asks the bench and has the answer read.
func (c *Client) do(method, path string, body []byte, within time.Duration, read func(status int, r io.Reader) error) error {
	ctx, cancel := context.WithTimeoutCause(context.Background(), within, fmt.Errorf("the bench that runs gave no answer for %s", units.FormatDuration(within)))
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, "http://bench"+path, bytes.NewReader(body))
	if err != nil {
		return err
	}
	resp, err := c.transport.RoundTrip(req)
	if err != nil {
		return err
	}
	defer func() { _ = resp.Body.Close() }() // only read from
	return read(resp.StatusCode, resp.Body)
}
