package main

import (
	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/check"
	"flaskside/logbook/door"
	"flaskside/logbook/reach"
	"flaskside/logbook/status"
	"flaskside/timers"
)

// statusCommand prints the places, windows and alarms.
func statusCommand(o *options) *cobra.Command {
	var as shape
	var at string
	c := &cobra.Command{
		Use:     "status",
		Short:   "Print places, timers and alarms",
		Example: "flaskside status\nflaskside status --json\nflaskside status --at 2026-11-25T14:07:32+01:00",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			s, err := look(o.at(), at)
			if err != nil {
				return err
			}
			return spoiltSheet(s.Spoilt, as.write(c, s.JSON, s.Text, nil))
		},
	}
	as.jsonFlag(c)
	atFlag(c, &at)
	return c
}

// look tells how the bench stands now, or stood at an instant.
func look(bench reach.At, at string) (status.Status, error) {
	past, then, err := asOf(at, bench.Clock.Read().Wall)
	if err != nil {
		return status.Status{}, err
	}
	if !past {
		now := func(st logbook.Snapshot, file string) (status.Status, error) {
			s := status.Of(st, timers.Now{Reading: bench.Clock.Read(), Beat: st.Beat})
			var err error
			s.Spoilt, err = check.NotAsWritten(file, st.Bench.Items)
			return s, err
		}
		if client, err := door.Dial(bench.Path); err == nil {
			st, err := client.State()
			if err != nil {
				return status.Status{}, err
			}
			return now(st, bench.Path)
		}
		return reach.Read(bench, func(book *logbook.Book) (status.Status, error) { return now(book.State(), book.Path()) })
	}
	return reach.Read(bench, func(book *logbook.Book) (status.Status, error) {
		b, err := book.AsOf(then)
		if err != nil {
			return status.Status{}, err
		}
		s := status.Of(logbook.Snapshot{Bench: b, Head: book.State().Head}, status.AsOf(then, bench.Clock.Read()))
		s.Spoilt, err = check.NotAsWritten(book.Path(), b.Items)
		return s, err
	})
}
