package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/apart"
	"flaskside/logbook/asked"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/reach"
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
		Short: "Check the whole logbook: every record, its hash, and the indexes",
		Long: "Checks every record, the chain of hashes, the indexes, the bench that is worked out from them, and\n" +
			"the pages of the file, in a process of its own, and repairs nothing. Ends with 3 if there are\n" +
			"faults. With --head it proves that the logbook still holds what a sheet printed with that head\n" +
			"said; with --seal the same for a seal.",
		Example: "flaskside verify\nflaskside verify --head 48213:9f3a00c1\nflaskside verify --seal november.seal --key lab.pub",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var told []toldHead
			for _, h := range heads {
				p, err := check.ParsePin(h)
				if err != nil {
					return asked.Wrong{Err: err}
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
			return verify(c.Context(), o.at(), ask, told, c.OutOrStdout())
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
		return seal.Head{}, asked.Wrong{Err: err}
	}
	h, err := public.Open([]byte(b))
	if err != nil {
		return seal.Head{}, check.Unsoundly("%s: %w", filepath.Base(file), err)
	}
	return h, nil
}

// verify looks through a logbook and says what was found.
func verify(ctx context.Context, at reach.At, ask check.Verifying, heads []toldHead, out io.Writer) error {
	rep, err := at.Look(ask, apartly(ctx))
	if err != nil {
		return err
	}
	w := bufio.NewWriter(out)
	line := func(format string, a ...any) { fmt.Fprintln(w, words.Clean(fmt.Sprintf(format, a...))) } // a spoilt file may hold anything
	what := ""
	if rep.Book != "" {
		what = fmt.Sprintf(", book %s, format %s, made %s", rep.Book, rep.Format, rep.Created)
	}
	line("logbook  %s, %d bytes%s", at.Path, rep.Bytes, what)
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
		return check.Unsound{Err: errors.New("the logbook has a fault: " + then)}
	}
	return check.Unsoundly("the logbook has %d faults: %s", len(rep.Faults), then)
}

// checking looks through files for backups.
func checking(ctx context.Context) logbook.Check {
	return func(path string) (check.Report, error) { return apartly(ctx)(path, check.Verifying{}) }
}

// apartly has files looked through by a process of its own.
func apartly(ctx context.Context) func(path string, ask check.Verifying) (check.Report, error) {
	return func(path string, ask check.Verifying) (check.Report, error) {
		self, err := os.Executable()
		if err != nil {
			return check.Report{}, fmt.Errorf("verify: %w", err)
		}
		return apart.Look(ctx, path, ask, self, apartName, "--book", path)
	}
}

// apartCommand is the process apart.
func apartCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use: apartName, Hidden: true, Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if !apart.Serve(c.InOrStdin(), c.OutOrStdout(), o.book) {
				return wrongUsage("this command is for flaskside itself")
			}
			return nil
		},
	}
}
