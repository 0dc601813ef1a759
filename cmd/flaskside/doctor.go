package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"flaskside/logbook/check"
	"flaskside/logbook/doctor"
	"flaskside/logbook/measure"
	"flaskside/timers/sysclock"
)

// couldLose is the exit code of a doctor that found something by which records could be
// lost.
const couldLose = 4

// doctorCommand looks at the machine and at the place where the logbook lies.
func doctorCommand(o *options) *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:   "doctor",
		Short: "Check that this computer and the disk of the logbook are fit for the bench",
		Long: "Looks through the logbook as verify does, measures how long it takes to save a record on its disk (in a\n" +
			"scratch file, removed afterwards), and looks at the file system, disk space, permissions, the newest\n" +
			"daily backup, clocks, time zone and terminal, also while the bench runs. It changes nothing. Each line\n" +
			"says what was found, what it means and what to do. Ends with 4 if records could be lost.",
		Example: "flaskside doctor\nflaskside doctor --json",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			// Told to end while it measures, it still takes its scratch file away.
			ctx, stop := signal.NotifyContext(c.Context(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
			defer stop()
			return examine(ctx, o, asJSON, c.OutOrStdout())
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, with all that was measured, for other programs")
	return c
}

func examine(ctx context.Context, o *options, asJSON bool, out io.Writer) error {
	facts := measure.All(ctx, o.book, sysclock.New(), func() (check.Report, error) { return o.at().Look(check.Verifying{}, apartly(ctx)) }, checking(ctx))
	facts.Terminal = lookAtTerminal(os.Getenv)
	if ctx.Err() != nil {
		return fmt.Errorf("doctor: stopped before all was measured")
	}
	all := doctor.Examine(facts)
	_, losing := doctor.Count(all)
	err := deliver("", out, func(w io.Writer) error {
		if asJSON {
			return doctor.JSON(w, facts, all)
		}
		return doctor.Text(w, all)
	})
	if err == nil && losing > 0 {
		err = exitCode{fmt.Errorf("records could be lost here: see the lines marked %s", doctor.Lose), couldLose}
	}
	return err
}
