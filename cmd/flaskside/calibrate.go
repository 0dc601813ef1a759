package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/learn"
	"flaskside/logbook/reach"
	"flaskside/logbook/record"
	"flaskside/logbook/tables"
)

// calibrateCommand prints what the book teaches and, when told, adopts it.
func calibrateCommand(o *options) *cobra.Command {
	var asJSON, adopt bool
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
			told := calibration{Proposal: r}
			var refused error
			if adopt {
				told.Adopted, refused = adopted(r, o)
			}
			err = deliver("", c.OutOrStdout(), func(w io.Writer) error {
				if asJSON {
					return tables.JSON(w, told)
				}
				return told.text(w, adopt && refused == nil)
			})
			if refused != nil {
				return refused
			}
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, for other programs")
	c.Flags().BoolVar(&adopt, "adopt", false, "record what was learned as settings")
	return c
}

// calibration is what is printed.
type calibration struct {
	learn.Proposal
	Adopted *logbook.Head `json:"adopted"` // the record it was adopted with; null where it was not
}

// long is how many flasks take so long to learn from that it is said (house default).
const long = 150

// study reads the latest records of a book and learns from them.
func study(at reach.At, side io.Writer) (learn.Proposal, error) {
	var h house.House
	recs, err := reach.Read(at, func(book *logbook.Book) (recs []record.Record, err error) {
		h = book.State().Bench.House
		from := uint64(1)
		if last := book.State().Head.Seq; last > learn.MaxRecords {
			from = last - learn.MaxRecords + 1
		}
		err = book.Each(from, func(r record.Record) (bool, error) {
			recs = append(recs, r)
			return true, nil
		})
		return recs, err
	})
	if err != nil {
		return learn.Proposal{}, err
	}
	l := learn.From(recs)
	if len(l.Flasks) > long {
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
	if same, err := equal(was, is); err != nil || same {
		return nil, err
	}
	head, err := recordSettings(is, "calibration", "learned from the logbook", o)
	return &head, err
}

// recordSettings records settings in force from now on. why is the reason given where
// one is asked for; "" for none.
func recordSettings(h house.House, from, why string, o *options) (logbook.Head, error) {
	r, err := o.recordOne(action.Settings{House: h, From: from}, "")
	var ask *bench.NeedsReason
	if errors.As(err, &ask) && why != "" {
		r, err = o.recordOne(action.Settings{House: h, From: from}, why)
	}
	if err != nil {
		return logbook.Head{}, err
	}
	return logbook.Head{Seq: r.Seq, Hash: r.Hash()}, nil
}

func (c calibration) text(w io.Writer, adopt bool) error {
	if err := c.Text(w); err != nil {
		return err
	}
	last := ""
	switch {
	case c.Adopted != nil:
		last = fmt.Sprintf("Adopted: settings recorded; head %s", c.Adopted)
	case adopt:
		last = "These values are in force already: nothing recorded."
	case c.Changes:
		last = "Nothing is changed yet. To adopt what the book says: flaskside calibrate --adopt"
	case !c.Enough():
		last = "Nothing changes: " + c.Wanting
	default:
		last = "The settings in force say the same: nothing to adopt."
	}
	_, err := fmt.Fprintf(w, "\n%s\n", last)
	return err
}
