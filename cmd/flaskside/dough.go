package main

import (
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/house"
	"flaskside/logbook/mixing"
	"flaskside/logbook/reach"
	"flaskside/timers/dough"
)

// doughCommand tells from when to when a mix can be worked in a room.
func doughCommand(o *options) *cobra.Command {
	var room, jar, resin string
	var jarOut float64
	var as shape
	adopt := false
	c := &cobra.Command{
		Use:   "dough",
		Short: "How long a mix can be worked in this room, and what that rests on",
		Long: "Moves a resin's times to the temperature of the room, and to that of a jar from the refrigerator.\n" +
			"Where the logbook has marks of its own for the resin (dough reached, too stiff), the times are fitted\n" +
			"to those, with enough of them the temperature factor too, and it says how many stand behind.\n" +
			"--adopt records the fitted times as settings, so that the bench works by them.",
		Example: "flaskside dough --room 27\nflaskside dough --room 81F --jar-c 5 --json\nflaskside dough --adopt --by KT",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if jarOut != 0 && jar == "" {
				return wrongUsage("--jar-out-min goes with --jar-c")
			}
			h, marks, err := marksOf(o.at(), resin)
			if err != nil {
				return err
			}
			a, err := mixing.In(h, resin, marks, room, jar, jarOut)
			if err != nil {
				return err
			}
			if adopt {
				is, err := a.Adopt(h)
				if err != nil {
					return err
				}
				if a.Adopted, err = o.change(h, is, "the book's own marks", "learned from the logbook"); err != nil {
					return err
				}
			}
			return as.write(c, a, func(w io.Writer) error { return a.Text(w, adopt) }, nil)
		},
	}
	c.Flags().StringVar(&room, "room", "", "the room's temperature in the house's unit, or with a C or an F (default: that of the resin's times)")
	c.Flags().StringVar(&resin, "resin", "", "a resin of the house settings (default: the first)")
	c.Flags().StringVar(&jar, "jar-c", "", "temperature of the refrigerator that powder and liquid came from, in the house's unit or with a C or an F")
	c.Flags().Float64Var(&jarOut, "jar-out-min", 0, "minutes they stood in the room before mixing")
	as.jsonFlag(c)
	c.Flags().BoolVar(&adopt, "adopt", false, "record the times fitted to the book's marks as settings")
	return c
}

// marksOf gives the settings in force and the marks of a resin; without a book there are the
// default settings and no marks.
func marksOf(at reach.At, resin string) (h house.House, marks []dough.Mark, err error) {
	if !at.Made() {
		return house.Default(), nil, nil
	}
	marks, err = reach.Read(at, func(book *logbook.Book) ([]dough.Mark, error) {
		h = book.State().Bench.House
		return mixing.Marks(book, resin)
	})
	return h, marks, err
}
