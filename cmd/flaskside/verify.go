package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/apart"
	"flaskside/logbook/asked"
	"flaskside/logbook/check"
	"flaskside/logbook/seal"
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
			var told []check.Told
			for _, h := range heads {
				p, err := check.ParsePin(h)
				if err != nil {
					return asked.Wrong{Err: err}
				}
				told = append(told, check.Told{Pin: p, Name: "head " + p.String()})
			}
			if (sealFile == "") != (key == "") {
				return wrongUsage("--seal FILE and --key PUB go together")
			}
			ask := check.Verifying{}
			if sealFile != "" {
				h, err := seal.OpenFile(sealFile, key)
				if err != nil {
					return err
				}
				ask.Book = h.Book
				told = append(told, check.Told{Pin: check.Pin{Seq: h.Seq, Start: h.Hash.String()}, Name: h.Name()})
			}
			for _, t := range told {
				ask.Pins = append(ask.Pins, t.Pin)
			}
			rep, err := o.at().Look(ask, apartly(c.Context()))
			if err != nil {
				return err
			}
			err = deliver("", c.OutOrStdout(), func(w io.Writer) error { return rep.Text(w, o.book, told) })
			return cmp.Or(err, rep.Sound("nothing was changed; flaskside salvage brings together what is left"))
		},
	}
	c.Flags().StringArrayVar(&heads, "head", nil, "number and hash as printed, 48213:9f3a00c1, at least 8 digits of it; may be repeated")
	c.Flags().StringVar(&sealFile, "seal", "", "a seal made by flaskside seal")
	c.Flags().StringVar(&key, "key", "", "the public key of the seal, or a file that holds it")
	return c
}

// checking looks through files for backups.
func checking(ctx context.Context) logbook.Check {
	return func(path string) (check.Report, error) { return apartly(ctx)(path, check.Verifying{}) }
}

// thisProgram finds the program that runs. Tests, which are another program, name it themselves.
var thisProgram = os.Executable

// apartly has files looked through by a process of its own.
func apartly(ctx context.Context) func(path string, ask check.Verifying) (check.Report, error) {
	return func(path string, ask check.Verifying) (check.Report, error) {
		self, err := thisProgram()
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
