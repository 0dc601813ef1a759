package main

import (
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"flaskside/logbook/mirror/upkeep"
)

// mirrorCommand brings the mirror of a logbook up to date, and looks through it.
func mirrorCommand(o *options) *cobra.Command {
	var to string
	var fresh bool
	c := &cobra.Command{
		Use:   "mirror",
		Short: "Copy every record to another place, and prove that the copy is the same",
		Long: "Brings the mirror up to date, checks all of it, and ends: with 3 if the mirror is not the same as\n" +
			"the logbook. A mirror is begun by naming its place with --to; if the house settings name it\n" +
			"(mirror.to), nothing more is needed. Nothing in a mirror is ever changed or removed. If it holds\n" +
			"another history than the logbook, as after an old copy was put in its place and worked on, or if a\n" +
			"part of it is gone or spoilt, nothing is written until a person says --new-generation: everything\n" +
			"is then copied anew beside what is there.",
		Example: "flaskside mirror --to /media/stick/mirror\nflaskside mirror check\nflaskside mirror --new-generation",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			// Told to end, it ends between two runs.
			ctx, stop := signal.NotifyContext(c.Context(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
			defer stop()
			return upkeep.Of(ctx, o.at(), to, true, func(m *upkeep.Upkeep) error { return m.Bring(ctx, fresh, c.OutOrStdout()) })
		},
	}
	c.PersistentFlags().StringVar(&to, "to", "", "where the mirror is (default: mirror.to in the house settings)")
	c.Flags().BoolVar(&fresh, "new-generation", false, "copy the whole logbook anew beside what the mirror holds; only where that is not the same")
	c.AddCommand(&cobra.Command{
		Use:     "check",
		Short:   "Check that every record of the logbook is in the mirror, with its hash",
		Long:    "Compares every record in the mirror with the logbook and says what is not the same. It writes\nnothing. Ends with 3 if the mirror is not the same, and with 1 if it is only behind.",
		Example: "flaskside mirror check\nflaskside mirror check --to /media/stick/mirror",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return upkeep.Of(c.Context(), o.at(), to, false, func(m *upkeep.Upkeep) error { return m.Check(c.Context(), c.OutOrStdout()) })
		},
	})
	return c
}
