package main

import (
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook/dayplan"
	"flaskside/timers/plan"
	"flaskside/timers/sysclock"
)

// planQuestion is what a day plan is asked for.
type planQuestion struct {
	table           bool
	json            bool
	resin, room     string
	people, presses int
}

// planCommand plans a day, or prints how many flasks share a mix.
func planCommand(o *options) *cobra.Command {
	var q planQuestion
	c := &cobra.Command{
		Use:   "plan",
		Short: "Plan the day; or how many flasks share a mix",
		Args:  noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return q.printTable(o, c.OutOrStdout())
		},
	}
	c.Flags().BoolVar(&q.table, "table", false, "how many flasks share a mix, by the house's own times, to pin to the wall")
	c.Flags().BoolVar(&q.json, "json", false, "as JSON, for other programs")
	c.Flags().StringVar(&q.resin, "resin", "", "for --table: a resin of the house settings (default: the first)")
	c.Flags().StringVar(&q.room, "room", "", "the room's temperature in the house's unit, or with a C or an F (default: that of the first resin's times)")
	c.Flags().IntVar(&q.people, "people", 0, "pairs of hands (default: of the settings)")
	c.Flags().IntVar(&q.presses, "presses", 0, "presses (default: of the settings)")
	return c
}

// printTable counts out how many flasks share a mix.
func (q planQuestion) printTable(o *options, out io.Writer) error {
	h, err := settingsOf(o.book, sysclock.New())
	if err != nil {
		return err
	}
	r, err := pickResin(h, q.resin)
	if err != nil {
		return err
	}
	room := h.RoomC()
	if q.room != "" {
		if room, err = tempFlag("--room", "mix.room_c", q.room, h.Units); err != nil {
			return err
		}
	}
	if q.people, err = countFlag("people", q.people, h.Press.Hands, plan.MaxHands); err != nil {
		return err
	}
	if q.presses, err = countFlag("presses", q.presses, h.Press.Presses, plan.MaxHands); err != nil {
		return err
	}
	t, err := dayplan.TableOf(h, r.Name, room, q.people, q.presses)
	if err != nil {
		return err
	}
	return deliver("", out, func(w io.Writer) error {
		if q.json {
			return writeJSON(w, t)
		}
		return t.Text(w)
	})
}

// countFlag is a count that was given, or that of the house.
func countFlag(flag string, given, ours, most int) (int, error) {
	if given == 0 {
		return ours, nil
	}
	if given < 1 || given > most {
		return 0, wrongUsage("--%s must be 1 to %d, not %d", flag, most, given)
	}
	return given, nil
}
