package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/house"
	"flaskside/logbook/learn"
	"flaskside/logbook/reach"
	"flaskside/logbook/record"
)

// calibrateCommand prints what the book teaches and, when told, adopts it.
func calibrateCommand(o *options) *cobra.Command {
	var as shape
	adopt := false
	c := &cobra.Command{
		Use:   "calibrate",
		Short: "Learn the flash trend and the times of the work from the logbook's own closures",
		Long: "Estimates anew, from all flasks whose trial closures are over (closed or given up), what to expect\n" +
			"of a base of each size, the noise of grades and of weighed trims, the film of flash that always\n" +
			"stays, and how long the work at press and bench takes. It prints old and new, how sure each is,\n" +
			"what stands behind each, and how the forecasts fared against what was then seen. Nothing changes\n" +
			"without --adopt, which records the new values as settings. All of it is estimated; you decide.",
		Example: "flaskside calibrate\nflaskside calibrate --json\nflaskside calibrate --adopt --by KT",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			r, err := study(o.at(), c.ErrOrStderr())
			if err != nil {
				return err
			}
			var head *logbook.Head
			var refused error
			if adopt {
				head, refused = adopted(r, o)
			}
			// The record it was adopted with; null where it was not.
			told := struct {
				learn.Proposal
				Adopted *logbook.Head `json:"adopted"`
			}{r, head}
			err = as.write(c, told, func(w io.Writer) error {
				if err := r.Text(w); err != nil {
					return err
				}
				in := ""
				if head != nil {
					in = head.String()
				}
				_, err := fmt.Fprintf(w, "\n%s\n", r.End(in, adopt && refused == nil))
				return err
			}, nil)
			return cmp.Or(refused, err)
		},
	}
	as.jsonFlag(c)
	c.Flags().BoolVar(&adopt, "adopt", false, "record what was learned as settings")
	return c
}

// study reads the latest records of a book and learns from them.
func study(at reach.At, side io.Writer) (learn.Proposal, error) {
	var h house.House
	recs, err := reach.Read(at, func(book *logbook.Book) ([]record.Record, error) {
		st := book.State()
		h = st.Bench.House
		return learn.Latest(st.Head.Seq, book.Each)
	})
	if err != nil {
		return learn.Proposal{}, err
	}
	l := learn.From(recs)
	if l.Many() {
		_, _ = fmt.Fprintf(side, "learning from %d flasks: this takes a while; Ctrl-C ends it and changes nothing\n", len(l.Flasks)) // for the eye alone
	}
	return learn.Study(l, h)
}

// adopted records what was learned in the settings in force now; no head where nothing
// would change.
func adopted(r learn.Proposal, o *options) (*logbook.Head, error) {
	was, err := o.at().House()
	if err != nil {
		return nil, err
	}
	is, err := r.Adopt(was)
	if errors.Is(err, learn.ErrTooFew) {
		return nil, fmt.Errorf("nothing adopted: %s", r.Wanting)
	}
	if err != nil {
		return nil, err
	}
	return o.change(was, is, "calibration", "learned from the logbook")
}
