package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/label"
	"flaskside/logbook/reach"
)

// labelCommand prints labels for a flask or for a finished base.
func labelCommand(o *options) *cobra.Command {
	var size, base string
	var as shape
	c := &cobra.Command{
		Use:   "label PLACE|CASE",
		Short: "Print a label for a flask or a finished base, with a code that the bench reads back",
		Long: "Makes a PDF with a page for the flask on a place, 1 to 9, or for each base of a case: at work, on\n" +
			"the list of cases, or finished. The page has the case, the base, place and tag of its flask, when it\n" +
			"is due, and a Code 128 that selects the flask at the bench when it is scanned. Case numbers only, no\n" +
			"names. It is not a device label and says nothing about a release.",
		Example: "flaskside label 3 --out label.pdf\nflaskside label 4417 --base lower --size 62x29 --out label.pdf",
		Args:    oneCase,
		RunE: func(c *cobra.Command, args []string) error {
			if strings.TrimSpace(args[0]) == "" {
				return wrongUsage("%s takes a place, 1 to 9, or the number of a case", c.CommandPath())
			}
			of, err := label.ParseSize(size)
			if err != nil {
				return wrongUsage("--size: %w", err)
			}
			if base != "" && !slices.Contains(action.Bases, base) {
				return wrongUsage("--base is one of %s, not %q", strings.Join(action.Bases, ", "), base)
			}
			if err := as.offScreen(c, "a PDF"); err != nil {
				return err
			}
			labels, err := reach.Read(o.at(), func(book *logbook.Book) ([]label.Label, error) {
				return label.Of(book, strings.TrimSpace(args[0]), base)
			})
			if err != nil {
				return err
			}
			return as.deliver(c, func(w io.Writer) error { return label.PDF(w, of, labels) })
		},
	}
	c.Flags().StringVar(&size, "size", fmt.Sprintf("%gx%g", label.Usual.W, label.Usual.H), "width and height of the label, mm")
	c.Flags().StringVar(&base, "base", "", "for a case, only this base: "+strings.Join(action.Bases, ", "))
	as.outFlag(c)
	return c
}
