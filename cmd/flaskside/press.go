package main

import (
	"context"
	"errors"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/asked"
	"flaskside/logbook/flash"
	"flaskside/logbook/pressorder"
	"flaskside/timers/sysclock"
)

// pressCommand prints the press order, or what rules of order lose on simulated
// shifts.
func pressCommand(o *options) *cobra.Command {
	var as shape
	simulate := false
	var at, mixSize string
	var mixFlasks int
	sim := pressorder.Shifts{Shifts: 500, Flasks: 4, Mixes: 2, Apart: "15 min", Seed: 1}
	c := &cobra.Command{
		Use:   "press",
		Short: "Print which flask goes in the press next, and each one's chance",
		Long: "Prints the press order as it stands: what comes next, each flask's chance of being closed while its\n" +
			"dough lasts, what would help, which flask to give up if not all can be in time, and what another mix\n" +
			"now would cost. With --simulate it plays whole shifts of this house (its times, flash settings,\n" +
			"presses and hands) under the look-ahead and five simple rules, and prints the share of flasks each\n" +
			"loses. All of it is estimated; you decide.",
		Example: "flaskside press\nflaskside press --json\nflaskside press --mix-size large --mix-flasks 2\nflaskside press --simulate --shifts 2000 --flasks 4 --mixes 2",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := together(c, simulate); err != nil {
				return err
			}
			if simulate {
				return playShifts(c, o, sim, as)
			}
			if _, err := flash.ParseSize(mixSize); err != nil {
				return wrongUsage("--mix-size: %w", err)
			}
			if mixFlasks < 1 || mixFlasks > action.Places {
				return wrongUsage("--mix-flasks must be 1 to %d, not %d", action.Places, mixFlasks)
			}
			b, now, err := o.at().Bench(at, 0)
			if err != nil {
				return err
			}
			r, err := pressorder.Of(b, now, mixSize, mixFlasks)
			if err != nil {
				return err
			}
			return as.write(c, r, r.Text, nil)
		},
	}
	as.jsonFlag(c)
	c.Flags().StringVar(&mixSize, "mix-size", "medium", "size of the bases another mix would be for")
	c.Flags().IntVar(&mixFlasks, "mix-flasks", 1, "how many flasks another mix would be for")
	atFlag(c, &at)
	c.Flags().BoolVar(&simulate, "simulate", false, "play whole shifts and compare rules of order")
	c.Flags().IntVar(&sim.Shifts, "shifts", sim.Shifts, "with --simulate: how many shifts")
	c.Flags().IntVar(&sim.Flasks, "flasks", sim.Flasks, "with --simulate: flasks in each shift, sizes in equal shares")
	c.Flags().IntVar(&sim.Mixes, "mixes", sim.Mixes, "with --simulate: mixes they are packed from")
	c.Flags().StringVar(&sim.Apart, "apart", sim.Apart, "with --simulate: how long after one another the mixes were made")
	c.Flags().Uint64Var(&sim.Seed, "seed", sim.Seed, "with --simulate: the same seed plays the same shifts")
	return c
}

// together refuses flags of the one use with the other.
func together(c *cobra.Command, simulate bool) error {
	wrong, use := []string{"shifts", "flasks", "mixes", "apart", "seed"}, "goes with --simulate"
	if simulate {
		wrong, use = []string{"at", "mix-size", "mix-flasks"}, "does not go with --simulate"
	}
	for _, name := range wrong {
		if c.Flags().Changed(name) {
			return wrongUsage("--%s %s", name, use)
		}
	}
	return nil
}

// playShifts plays the shifts and prints the table; an interrupt ends it.
func playShifts(c *cobra.Command, o *options, s pressorder.Shifts, as shape) error {
	h, err := o.at().House()
	if err != nil {
		return err
	}
	opts, err := s.Options(h)
	if err != nil {
		return asked.Wrong{Err: err}
	}
	ctx, stop := signal.NotifyContext(c.Context(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	t, err := pressorder.Play(ctx, sysclock.New(), opts, c.ErrOrStderr())
	if errors.Is(err, context.Canceled) {
		return exitCode{errors.New("ended before the shifts were played: nothing to show"), interrupted}
	}
	if err != nil {
		return err
	}
	return as.write(c, t, func(w io.Writer) error { return pressorder.Told(w, t, opts) }, nil)
}
