package main

import (
	"io"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/reach"
	"flaskside/timers/sysclock"
)

// lotCommand reads a code, or lists the flasks that had a lot.
func lotCommand(o *options) *cobra.Command {
	var which, at string
	var f shape
	c := &cobra.Command{
		Use:   "lot [SCAN [SCAN]]",
		Short: "Read the code on a jar, keep the register of lots, list the flasks that had one",
		Long: "Reads GS1 element strings, as scanned or as printed (01)…(17)…(10)…, HIBC codes, and lots typed\n" +
			"by hand. Give two codes of one label as two. With - the code is a line of the standard input, for a\n" +
			"scanner that works as a keyboard. Put a code in single quotes: the shell would change $$ and\n" +
			"brackets. For the separator GS, which a keyboard cannot type, | {GS} or ^] will do.\n\n" +
			"--which lists the flasks that had a lot of powder, liquid, separator, stone or sheet, from every\n" +
			"record of the book as it counts now; a lot that is only similar is marked.",
		Example: "flaskside lot '(17)281231(10)ABCD1234'\nflaskside lot -\nflaskside lot --which ABCD1234 --csv > recall.csv\nflaskside lot --which ABCD1234 --mirror /media/share/mirror\nflaskside lot take-in powder P-2031 --expiry 2027-04-30",
		Args: func(c *cobra.Command, args []string) error {
			asked := c.Flags().Changed("which")
			switch {
			case asked && len(args) > 0:
				return wrongUsage("--which LOT takes no code beside it, not %q", args[0])
			case !asked && len(args) == 0:
				return wrongUsage("%s takes a code, - to read a line, or --which LOT", c.CommandPath())
			case len(args) > 2:
				return wrongUsage("%s takes the one or two codes of a label, not %d", c.CommandPath(), len(args))
			case f.csv && !asked:
				return wrongUsage("--csv goes with --which LOT")
			case at != "" && !asked:
				return wrongUsage("--mirror goes with --which LOT")
			}
			return f.one()
		},
		RunE: func(c *cobra.Command, args []string) error {
			now := sysclock.New().Read().Wall
			switch {
			case at != "":
				return listLotOf(c, at, which, now.Year(), f)
			case c.Flags().Changed("which"):
				return listLot(c, o.at(), which, now.Year(), f)
			}
			l, err := lot.Scanned(args, c.InOrStdin(), now.Year())
			if err != nil {
				return err
			}
			return f.deliver(c, func(w io.Writer) error { return lot.Tell(w, l, lot.DateOf(now.Local()), f.json) })
		},
	}
	c.AddCommand(lotInCommand(o), lotOutCommand(o), lotRegisterCommand(o))
	mirrorFlag(c, &at)
	c.Flags().StringVar(&which, "which", "", "list the flasks that had this lot, as typed or as scanned")
	f.jsonFlag(c)
	f.csvFlag(c, "the list as CSV, for a spreadsheet")
	return c
}

// listLot writes which flasks of a book had a lot.
func listLot(c *cobra.Command, at reach.At, text string, year int, f shape) error {
	asked, err := recall.Typed(text, year)
	if err != nil {
		return err
	}
	list, err := reach.Read(at, func(book *logbook.Book) (recall.List, error) { return recall.Find(book, asked, year, time.Local) })
	if err != nil {
		return err
	}
	return f.write(c, list.JSON, list.Text, list.CSV)
}
