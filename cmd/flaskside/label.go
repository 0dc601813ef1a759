package main

import (
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/day"
	"flaskside/logbook/label"
	"flaskside/timers/sysclock"
)

// labelCommand prints labels for a flask or for a finished base.
func labelCommand(o *options) *cobra.Command {
	var size, base, out string
	c := &cobra.Command{
		Use:   "label PLACE|CASE",
		Short: "Print a label for a flask or a finished base, with a code that the bench reads back",
		Long: "A PDF with a page for the flask on a place, 1 to 9, or for each base of a case: at work, on the list of\n" +
			"cases, or finished. It has the case, the base, place and tag of its flask, when it is due, and a\n" +
			"Code 128 that selects the flask at the bench when it is scanned. Case numbers only, no names. It is\n" +
			"no label of a device and says nothing of a release.",
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
			if f, ok := c.OutOrStdout().(*os.File); ok && out == "" && term.IsTerminal(f.Fd()) {
				return wrongUsage("a PDF cannot be shown on a screen: name a file with --out")
			}
			labels, err := readFrom(o.book, sysclock.New(), func(book *logbook.Book) ([]label.Label, error) {
				return labelsOf(book, strings.TrimSpace(args[0]), base)
			})
			if err != nil {
				return err
			}
			return deliver(out, c.OutOrStdout(), func(w io.Writer) error { return label.PDF(w, of, labels) })
		},
	}
	c.Flags().StringVar(&size, "size", fmt.Sprintf("%gx%g", label.Usual.W, label.Usual.H), "width and height of the label, mm")
	c.Flags().StringVar(&base, "base", "", "of a case only this base: "+strings.Join(action.Bases, ", "))
	c.Flags().StringVar(&out, "out", "", "write to this file instead of the standard output")
	return c
}

// labelsOf finds what a label is asked for: the flask on a place, or the bases of a case.
func labelsOf(book *logbook.Book, asked, base string) ([]label.Label, error) {
	b := book.State().Bench
	if len(asked) == 1 && asked[0] >= '1' && asked[0] <= '9' {
		f := b.OnPlace(int(asked[0] - '0'))
		if f == nil {
			return nil, fmt.Errorf("place %s is empty", asked)
		}
		return []label.Label{labelOf(b, f)}, nil
	}
	var out []label.Label
	has := func(of string) bool {
		return base != "" && of != base || slices.ContainsFunc(out, func(l label.Label) bool { return l.Base == of })
	}
	for f := range b.AtWork() {
		if strings.EqualFold(f.Case, asked) && !has(f.Base) {
			out = append(out, labelOf(b, f))
		}
	}
	for _, k := range b.CasesWaiting() {
		if strings.EqualFold(k.Case, asked) && !has(k.Base) {
			out = append(out, label.Label{Case: k.Case, Base: k.Base, Size: k.Size, Due: k.DueAt().Local()})
		}
	}
	if len(out) > 0 {
		return out, nil
	}
	sheet, err := day.CaseFrom(book, asked, "", time.Local)
	if err != nil {
		return nil, err
	}
	for _, no := range slices.Backward(bench.Sorted(sheet.Bench.Flasks)) { // the latest of each base
		if f := sheet.Bench.Flasks[no]; f.Case == asked && f.Base != "" && !has(f.Base) {
			out = append(out, label.Label{Case: f.Case, Base: f.Base, Size: f.Size, Due: dueOf(sheet.Bench, f)})
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("case %s has no base of this kind", asked)
	}
	slices.Reverse(out)
	return out, nil
}

func labelOf(b *bench.Bench, f *bench.Flask) label.Label {
	l := label.Label{Case: f.Case, Base: f.Base, Size: f.Size, Place: f.Place, Tag: f.Tag}
	if due, ok := b.Due(f); ok {
		l.Due = due.Local()
	}
	return l
}

// dueOf is when the case of a finished flask was due, as it was taken in last; zero where it
// never was.
func dueOf(b *bench.Bench, f *bench.Flask) (due time.Time) {
	for _, it := range b.Items {
		if in, ok := it.Body.(action.CaseIn); ok && it.TakenBack == nil && in.Case == f.Case && in.Base == f.Base {
			due = in.DueAt().Local()
		}
	}
	return due
}
