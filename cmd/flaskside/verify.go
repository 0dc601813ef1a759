package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/door"
	"flaskside/logbook/seal"
	"flaskside/logbook/words"
)

// faultsFound is the exit code of a logbook with faults.
const faultsFound = 3

// apartName is the hidden command that looks through a file in a process of its own.
const apartName = "verify-apart"

// verifyCommand looks through the whole logbook.
func verifyCommand(o *options) *cobra.Command {
	var heads []string
	var sealFile, key string
	c := &cobra.Command{
		Use:   "verify",
		Short: "Look through the whole logbook: every record, its hash, and the indexes",
		Long: "Looks through every record, the chain of hashes, the indexes, the bench as\n" +
			"it is folded and the pages of the file, in a process of its own, and repairs nothing. Ends with\n" +
			"3 where there are faults. With --head it proves that the logbook still holds what a sheet said\n" +
			"that was printed with that head; with --seal the same of a seal.",
		Example: "flaskside verify\nflaskside verify --head 48213:9f3a00c1\nflaskside verify --seal november.seal --key lab.pub",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var told []toldHead
			for _, h := range heads {
				p, err := check.ParsePin(h)
				if err != nil {
					return usageError{err}
				}
				told = append(told, heading(p))
			}
			if (sealFile == "") != (key == "") {
				return wrongUsage("--seal FILE and --key PUB go together")
			}
			ask := check.Verifying{}
			if sealFile != "" {
				h, err := openSeal(sealFile, key)
				if err != nil {
					return err
				}
				ask.Book = h.Book
				told = append(told, sealed(h))
			}
			for _, t := range told {
				ask.Pins = append(ask.Pins, t.pin)
			}
			return verify(c.Context(), o.book, ask, told, c.OutOrStdout())
		},
	}
	c.Flags().StringArrayVar(&heads, "head", nil, "number and hash as printed, 48213:9f3a00c1, at least 8 digits of it; may be repeated")
	c.Flags().StringVar(&sealFile, "seal", "", "a seal made by flaskside seal")
	c.Flags().StringVar(&key, "key", "", "the public key of the seal, or a file that holds it")
	return c
}

// toldHead is a head from outside, and what it is called.
type toldHead struct {
	pin  check.Pin
	name string
}

func heading(p check.Pin) toldHead { return toldHead{p, "head " + p.String()} }

func sealed(h seal.Head) toldHead {
	return toldHead{check.Pin{Seq: h.Seq, Start: h.Hash.String()}, fmt.Sprintf("seal of %s on head %s", h.At.Format("2006-01-02 15:04:05 -07:00"), logbook.Head{Seq: h.Seq, Hash: h.Hash})}
}

// openSeal opens a seal with a public key, or with the file that holds it.
func openSeal(file, key string) (seal.Head, error) {
	b, err := disk.ReadSmall(file)
	if err != nil {
		return seal.Head{}, fmt.Errorf("read the seal: %w", err)
	}
	if _, err := os.Stat(key); err == nil {
		if key, err = disk.ReadSmall(key); err != nil {
			return seal.Head{}, fmt.Errorf("read the key: %w", err)
		}
	}
	public, err := seal.ParsePublic(key)
	if err != nil {
		return seal.Head{}, usageError{err}
	}
	h, err := public.Open([]byte(b))
	if err != nil {
		return seal.Head{}, exitCode{fmt.Errorf("%s: %w", filepath.Base(file), err), faultsFound}
	}
	return h, nil
}

// lookThrough looks through a logbook and holds it against the journals beside it.
func lookThrough(ctx context.Context, path string, ask check.Verifying) (rep check.Report, err error) {
	journals, jerr := check.JournalFiles(path) // before the copy is made, so that they cannot be ahead
	ask.Journals, ask.Beside = journals, path
	file, done, err := suspect(path)
	if err != nil {
		return rep, err
	}
	defer done()
	if rep, err = apart(ctx, file, ask); err != nil {
		return rep, err
	}
	if jerr != nil {
		rep.Faults = append(rep.Faults, check.Fault{Kind: check.FaultJournal, What: jerr.Error()})
	}
	return rep, nil
}

// verify looks through a logbook and says what was found.
func verify(ctx context.Context, path string, ask check.Verifying, heads []toldHead, out io.Writer) error {
	rep, err := lookThrough(ctx, path, ask)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(out)
	line := func(format string, a ...any) { fmt.Fprintln(w, words.Clean(fmt.Sprintf(format, a...))) } // a spoilt file may hold anything
	what := ""
	if rep.Book != "" {
		what = fmt.Sprintf(", book %s, format %s, made %s", rep.Book, rep.Format, rep.Created)
	}
	line("logbook  %s, %d bytes%s", path, rep.Bytes, what)
	if what = ""; rep.Records > 0 {
		what = fmt.Sprintf(", from %s to %s", rep.First, rep.Last)
	}
	line("records  %d%s", rep.Records, what)
	line("head     %s", rep.Head)
	if rep.Journal != nil {
		line("journal  up to record %d", rep.Journal.Seq)
	}
	for _, o := range rep.Others {
		line("journal  %s: left as it is", o)
	}
	for _, t := range heads {
		// Only what was found counts: where the look was cut short, nothing is proven.
		if slices.Contains(rep.Proven, t.pin) {
			line("%s: in this logbook, and all that stood before it", t.name)
		} else {
			line("%s: NOT proven, see the faults", t.name)
		}
	}
	for _, f := range rep.Faults {
		line("fault    %s", f)
	}
	if len(rep.Faults) == 0 {
		line("faults   none")
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("write to the standard output: %w", err)
	}
	return faulty(rep, "nothing was changed; flaskside salvage brings together what is left")
}

// faulty is the error of a logbook with faults.
func faulty(rep check.Report, then string) error {
	switch len(rep.Faults) {
	case 0:
		return nil
	case 1:
		return exitCode{errors.New("the logbook has a fault: " + then), faultsFound}
	}
	return exitCode{fmt.Errorf("the logbook has %d faults: %s", len(rep.Faults), then), faultsFound}
}

// suspect gives the file to look through: the logbook itself or, where a bench holds
// it, a copy that the bench hands out.
func suspect(path string) (file string, done func(), err error) {
	client, err := door.Dial(path)
	if err != nil {
		if _, serr := os.Stat(path); errors.Is(serr, fs.ErrNotExist) {
			return "", nil, fmt.Errorf("there is no logbook at %s: the bench makes one when it is first opened", path)
		}
		return path, func() {}, nil
	}
	return copied(client)
}

// copied has the bench hand out a copy of its logbook; done removes it.
func copied(client *door.Client) (file string, done func(), err error) {
	dir, err := os.MkdirTemp("", "flaskside-")
	if err != nil {
		return "", nil, fmt.Errorf("make a folder for a copy of the logbook: %w", err)
	}
	done = func() { _ = os.RemoveAll(dir) } // a copy left over harms nobody
	file = filepath.Join(dir, "copy.db")
	if err := save(file, client.Snapshot); err != nil {
		done()
		return "", nil, fmt.Errorf("copy the logbook of the running bench: %w", err)
	}
	return file, done, nil
}

// checking looks through files for backups.
func checking(ctx context.Context) logbook.Check {
	return func(path string) (check.Report, error) { return apart(ctx, path, check.Verifying{}) }
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

// apart has a file looked through by a process of its own, so that whatever is wrong
// with it can neither end nor hold up this one.
func apart(ctx context.Context, path string, ask check.Verifying) (check.Report, error) {
	fi, err := os.Stat(path)
	if err != nil {
		return check.Report{}, fmt.Errorf("verify: %w", err)
	}
	self, err := os.Executable()
	if err != nil {
		return check.Report{}, fmt.Errorf("verify: %w", err)
	}
	in, err := json.Marshal(asked{ask.Pins, ask.Journals, ask.Beside, ask.Book})
	if err != nil {
		return check.Report{}, fmt.Errorf("verify: %w", err)
	}
	return runApart(ctx, patience(fi.Size()), in, self, apartName, "--book", path)
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

// apartCommand is the process apart.
func apartCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use: apartName, Hidden: true, Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			debug.SetMaxStack(maxStack)
			debug.SetGCPercent(gcPercent)
			var a asked
			if err := json.NewDecoder(c.InOrStdin()).Decode(&a); err != nil {
				return wrongUsage("this command is for flaskside itself")
			}
			enc := json.NewEncoder(c.OutOrStdout())
			say := func(s saying) { _ = enc.Encode(s) } // nobody listens any more
			sum := func(r check.Report) {
				r.Faults = nil // told one by one
				say(saying{Report: &r})
			}
			rep, err := logbook.Verify(o.book, check.Verifying{Pins: a.Pins, Journals: a.Journals, Beside: a.Beside, Book: a.Book, Walked: sum,
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
			return nil
		},
	}
}
