package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/asked"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/pressorder"
	"flaskside/logbook/tables"
	"flaskside/logbook/units"
	"flaskside/timers/press"
)

// pressCommand prints the press order, or what rules of order lose on simulated
// shifts.
func pressCommand(o *options) *cobra.Command {
	var asJSON, simulate bool
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
				h, err := o.at().House()
				if err != nil {
					return err
				}
				return playShifts(c.Context(), sim, h, c.OutOrStdout(), c.ErrOrStderr(), asJSON)
			}
			if _, err := flash.ParseSize(mixSize); err != nil {
				return wrongUsage("--mix-size: %w", err)
			}
			if mixFlasks < 1 || mixFlasks > action.Places {
				return wrongUsage("--mix-flasks must be 1 to %d, not %d", action.Places, mixFlasks)
			}
			q := trendQuestion{at: at}
			b, now, err := q.bench(o.at())
			if err != nil {
				return err
			}
			r, err := pressorder.Of(b, now, mixSize, mixFlasks)
			if err != nil {
				return err
			}
			return deliver("", c.OutOrStdout(), func(w io.Writer) error {
				if asJSON {
					return tables.JSON(w, r)
				}
				return r.Text(w)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, for other programs")
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

// pilot is how many shifts tell how long all of them will take.
const pilot = 10

// playShifts plays the shifts and prints the table. How it goes is told on the side; an
// interrupt ends it.
func playShifts(ctx context.Context, s pressorder.Shifts, h house.House, out, side io.Writer, asJSON bool) error {
	o, err := s.Options(h)
	if err != nil {
		return asked.Wrong{Err: err}
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	t, err := playing(ctx, o, side)
	if errors.Is(err, context.Canceled) {
		return exitCode{errors.New("ended before the shifts were played: nothing to show"), 130}
	}
	if err != nil {
		return err
	}
	return deliver("", out, func(w io.Writer) error {
		if asJSON {
			return tables.JSON(w, t)
		}
		return pressorder.Told(w, t, o)
	})
}

// playing tells how long it will take, from a few shifts played first, and how long it
// has taken.
func playing(ctx context.Context, o press.ShiftOptions, side io.Writer) (press.ShiftTable, error) {
	say := func(format string, a ...any) { _, _ = fmt.Fprintf(side, format, a...) } // for the eye alone
	began := time.Now()
	if o.Shifts > 2*pilot {
		few := o
		few.Shifts = pilot
		if _, err := press.Simulate(ctx, few); err != nil {
			return press.ShiftTable{}, err
		}
		whole := time.Since(began) * time.Duration(o.Shifts) / pilot
		say("playing %d shifts of %d flasks under 6 rules, %s at most; Ctrl-C ends it\n", o.Shifts, o.Flasks, units.FormatDuration(max(whole, time.Second)))
	}
	over := make(chan struct{})
	defer close(over)
	go func() {
		tick := time.NewTicker(5 * time.Second)
		defer tick.Stop()
		for {
			select {
			case <-over:
				return
			case <-tick.C:
				say("%s so far\n", units.FormatDuration(time.Since(began)))
			}
		}
	}()
	return press.Simulate(ctx, o)
}
