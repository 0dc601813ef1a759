// Package apart looks through a logbook in a process of its own, so that whatever is wrong with the
// file can neither end nor hold up the one that asks.
package apart

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime/debug"
	"strings"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/check"
	"flaskside/logbook/words"
)

// Look has a file looked through by a process, which is this program called by name and args, and
// has that process call [Serve].
func Look(ctx context.Context, path string, ask check.Verifying, name string, args ...string) (check.Report, error) {
	fi, err := os.Stat(path)
	if err != nil {
		return check.Report{}, fmt.Errorf("verify: %w", err)
	}
	in, err := json.Marshal(asked{ask.Pins, ask.Journals, ask.Beside, ask.Book})
	if err != nil {
		return check.Report{}, fmt.Errorf("verify: %w", err)
	}
	return runApart(ctx, patience(fi.Size()), in, name, args...)
}

// asked is what the process apart is told, sayings what it answers, one a line.
type asked struct {
	Pins     []check.Pin         `json:"pins,omitempty"`
	Journals []check.JournalFile `json:"journals,omitempty"`
	Beside   string              `json:"beside,omitempty"`
	Book     string              `json:"book,omitempty"`
}

type saying struct {
	Fault  *check.Fault  `json:"fault,omitempty"`
	Report *check.Report `json:"report,omitempty"` // without its faults
	Failed string        `json:"failed,omitempty"`
	Held   bool          `json:"held,omitempty"` // another program has the book
	End    bool          `json:"end,omitempty"`
}

// patience is how long a file of a size may take: it takes a second for 100 MB or so.
func patience(size int64) time.Duration {
	return 2*time.Minute + time.Duration(size/(4<<20))*time.Second
}

// runApart runs the process apart, which may die or not end, and takes what it says.
func runApart(ctx context.Context, within time.Duration, in []byte, name string, args ...string) (check.Report, error) {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Stdin = bytes.NewReader(in)
	cmd.WaitDelay = time.Second
	var last firstLine
	cmd.Stderr = &last
	out, err := cmd.StdoutPipe()
	if err != nil {
		return check.Report{}, fmt.Errorf("verify: %w", err)
	}
	if err := cmd.Start(); err != nil {
		return check.Report{}, fmt.Errorf("verify: %w", err)
	}
	hush := context.AfterFunc(ctx, func() { _ = out.Close() }) // whoever still holds the other end
	rep, ended, failed := listen(out)
	hush()
	err = cmd.Wait()
	switch {
	case failed != nil:
		return rep, failed
	case ended:
		return rep, nil
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		rep.Faults = append(rep.Faults, check.Fault{Kind: check.FaultPages, What: fmt.Sprintf("looking through it did not end within %v", within)})
	case ctx.Err() != nil:
		return rep, fmt.Errorf("verify: %w", ctx.Err())
	default:
		how := "it said nothing of the end"
		if err != nil {
			how = err.Error()
		}
		if said := last.String(); said != "" {
			how += ": " + said
		}
		rep.Faults = append(rep.Faults, check.Fault{Kind: check.FaultPages, What: "the process that looked through it ended before it was done (" + how + ")"})
	}
	return rep, nil
}

// firstLine keeps the first line that a dying process writes, which says why; what
// follows are its traces.
type firstLine struct {
	b    []byte
	full bool
}

// Write takes everything.
func (l *firstLine) Write(p []byte) (int, error) {
	for _, c := range p {
		if l.full = l.full || c == '\n' || len(l.b) == 300; !l.full {
			l.b = append(l.b, c)
		}
	}
	return len(p), nil
}

func (l *firstLine) String() string {
	return strings.TrimPrefix(words.Clean(string(l.b)), "flaskside: ")
}

// listen takes what the process apart says until it ends.
func listen(out io.Reader) (rep check.Report, ended bool, failed error) {
	faults := []check.Fault{}
	for d := json.NewDecoder(out); ; {
		var s saying
		if err := d.Decode(&s); err != nil {
			break // cut off, or at its end
		}
		switch {
		case s.Fault != nil:
			faults = append(faults, *s.Fault)
		case s.Report != nil:
			rep = *s.Report
		case s.Held:
			failed = fmt.Errorf("%w%s", logbook.ErrHeld, s.Failed)
		case s.Failed != "":
			failed = errors.New(s.Failed)
		case s.End:
			ended = true
		}
	}
	rep.Faults = faults
	return rep, ended, failed
}

// Bounds of the process apart: its stack is enough for any sound book, and one that is
// not must not take all memory; it makes much garbage and does not live long.
const (
	maxStack  = 64 << 20
	gcPercent = 300
)

// Serve is the process apart: it reads what is asked, looks through the logbook at path and says
// what it finds. It tells whether anything was asked.
func Serve(in io.Reader, out io.Writer, path string) bool {
	debug.SetMaxStack(maxStack)
	debug.SetGCPercent(gcPercent)
	var a asked
	if err := json.NewDecoder(in).Decode(&a); err != nil {
		return false
	}
	enc := json.NewEncoder(out)
	say := func(s saying) { _ = enc.Encode(s) } // nobody listens any more
	sum := func(r check.Report) {
		r.Faults = nil // told one by one
		say(saying{Report: &r})
	}
	rep, err := logbook.Verify(path, check.Verifying{Pins: a.Pins, Journals: a.Journals, Beside: a.Beside, Book: a.Book, Walked: sum,
		Tell: func(f check.Fault) { say(saying{Fault: &f}) }})
	switch {
	case errors.Is(err, logbook.ErrHeld):
		say(saying{Held: true, Failed: err.Error()[len(logbook.ErrHeld.Error()):]})
	case err != nil:
		say(saying{Failed: err.Error()})
	default:
		sum(rep)
		say(saying{End: true})
	}
	return true
}
