package main

import (
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook/check"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/mirror/benches"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
)

// mirrorFlag is the flag of the commands that can ask all benches of a mirror.
func mirrorFlag(c *cobra.Command, at *string) {
	c.Flags().StringVar(at, "mirror", "", "ask every bench in the mirror at this place")
}

// benchesCommand tells of all benches of a mirror.
func benchesCommand() *cobra.Command {
	var at string
	var as shape
	c := &cobra.Command{
		Use:   "benches --mirror PLACE",
		Short: "List the benches of a mirror: flasks at work, what is due next, alarms, when last heard from",
		Long: "Tells how each bench stood when it was last heard from, with its timers worked out for now. What a\n" +
			"bench has done since and not yet brought to the mirror is not known here. Ends with 3 if a bench\n" +
			"could not be read, or only in part.",
		Example: "flaskside benches --mirror /media/share/mirror\nflaskside benches --mirror /media/share/mirror --json",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			clock := sysclock.New()
			now := clock.Read()
			all, err := benches.Glances(c.Context(), at, clock, now)
			if err != nil {
				return err
			}
			err = as.write(c, func(w io.Writer) error { return benches.JSON(w, all, now.Wall) },
				func(w io.Writer) error { return benches.Text(w, all, now.Wall) }, nil)
			return notAllRead(err, benches.Unread(all), len(all))
		},
	}
	mirrorFlag(c, &at)
	as.jsonFlag(c)
	return c
}

// notAllRead is the end of a command that could not read all benches.
func notAllRead(err error, unread, of int) error {
	if err != nil || unread == 0 {
		return err
	}
	return check.Unsoundly("%d of %s could not be read whole: what is told is not all", unread, words.Count(of, "bench", "benches"))
}

// listLotOf writes which flasks of all benches of a mirror had a lot.
func listLotOf(c *cobra.Command, at, text string, year int, f shape) error {
	asked, err := recall.Typed(text, year)
	if err != nil {
		return err
	}
	all, err := benches.Recalls(c.Context(), at, sysclock.New(), asked, year)
	if err != nil {
		return err
	}
	err = f.write(c, func(w io.Writer) error { return recall.JSONOf(w, asked, all) },
		func(w io.Writer) error { return recall.TextOf(w, asked, all) }, func(w io.Writer) error { return recall.CSVOf(w, all) })
	return notAllRead(err, recall.Unread(all), len(all))
}
