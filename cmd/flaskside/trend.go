package main

import (
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/reach"
	"flaskside/tui/drawn"
)

// trendCommand prints the flash trend of a flask, or of closures told on the command
// line.
func trendCommand(o *options) *cobra.Command {
	var q trendQuestion
	var as shape
	ascii := false
	c := &cobra.Command{
		Use:   "trend [FLASK]",
		Short: "Print the flash trend of a flask, its verdict and its forecast",
		Long: "Prints the chart, the verdict on the final closure with what would mend each reason, and the forecast\n" +
			"for a flask of the logbook by its number, or by its place with --place. With --size and --trials it\n" +
			"does so for closures typed here, taken as made at the house pressure and hold: grades in order, a\n" +
			"weight in grams after a colon, + if dough was added before that closure. All forecasts are\n" +
			"estimates; you decide.",
		Example: "flaskside trend 12\nflaskside trend --place 3 --json\nflaskside trend --size medium --trials heavy:7.2,heavy,slight --dough 20min",
		RunE: func(c *cobra.Command, args []string) error {
			if err := q.read(args, c.Flags().Changed); err != nil {
				return err
			}
			r, err := q.answer(o.at())
			if err != nil {
				return err
			}
			return as.write(c, r, func(w io.Writer) error { return r.Text(w, ascii) }, nil)
		},
	}
	c.Flags().IntVar(&q.place, "place", 0, "the flask on this place of the bench, 1 to 9")
	c.Flags().StringVar(&q.size, "size", "", "size of the base: small, medium or large")
	c.Flags().StringVar(&q.trials, "trials", "", "closures so far, as in heavy:7.2,heavy,+heavy,slight")
	c.Flags().StringVar(&q.left, "dough", "", "with --size: how long the dough can still be worked, as in 20min")
	as.jsonFlag(c)
	c.Flags().BoolVar(&ascii, "ascii", false, "draw the chart with plain characters")
	atFlag(c, &q.at)
	return c
}

// trendQuestion is what is asked about.
type trendQuestion struct {
	place              int
	size, trials, left string
	at                 string

	flask int
	told  drawn.Supposed
}

// read makes out what is asked.
func (q *trendQuestion) read(args []string, changed func(string) bool) (err error) {
	told := changed("size") || changed("trials") || changed("dough")
	switch {
	case len(args) > 1:
		return wrongUsage("trend takes one flask, not %d", len(args))
	case told && (len(args) > 0 || changed("place") || changed("at")):
		return wrongUsage("--size, --trials and --dough are for closures typed here: leave flask, --place and --at out")
	case told && q.size == "":
		return wrongUsage("--size is missing: the closures are of a small, medium or large base")
	case len(args) > 0 && changed("place"):
		return wrongUsage("name the flask by its number or by its place, not both")
	case !told && len(args) == 0 && !changed("place"):
		return wrongUsage("which flask? give its number, or --place, or --size and --trials")
	case changed("place") && (q.place < 1 || q.place > action.Places):
		return wrongUsage("--place must be 1 to %d, not %d", action.Places, q.place)
	case len(args) > 0:
		if q.flask, err = strconv.Atoi(args[0]); err != nil || q.flask < 1 {
			return wrongUsage("%q is not the number of a flask", args[0])
		}
	case told:
		q.told, err = drawn.Suppose(q.size, q.trials, q.left)
	}
	return err
}

// answer works the trend out.
func (q *trendQuestion) answer(at reach.At) (drawn.Trend, error) {
	if q.size != "" {
		h, err := at.House()
		if err != nil {
			return drawn.Trend{}, err
		}
		return q.told.Trend(h)
	}
	b, now, err := at.Bench(q.at, q.flask)
	if err != nil {
		return drawn.Trend{}, err
	}
	return drawn.TrendAt(b, q.flask, q.place, now)
}
