package main

import (
	"context"
	"fmt"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"flaskside/logbook/keeper"
	"flaskside/timers/sysclock"
	"flaskside/tui"
)

// demoCommand plays the invented shift.
func demoCommand(o *options) *cobra.Command {
	speed := 20.0
	c := &cobra.Command{
		Use:   "demo",
		Short: "Play an invented shift on a scratch book; press any key to take over",
		Args:  noArgs,
		RunE:  func(c *cobra.Command, _ []string) error { return runDemo(c.Context(), speed, o.plain) },
	}
	plainFlag(c, o)
	c.Flags().Float64Var(&speed, "speed", speed, "how many times faster than life")
	return c
}

// runDemo plays the invented shift until it is left.
func runDemo(ctx context.Context, speed float64, plain bool) error {
	real := sysclock.New()
	ctx, cancel := signal.NotifyContext(ctx, syscall.SIGHUP, syscall.SIGTERM)
	defer cancel()
	k := keeper.Keeper{NewID: newID, Words: tui.AlarmWords}
	return k.Shift(ctx, real, speed, func(ctx context.Context, on keeper.Stage) error {
		script := &tui.Script{Steps: on.Steps, Yours: func() string { return fmt.Sprintf("DEMO x%g, yours", on.Slower()) }}
		_, err := show(ctx, on.Screen, tui.Config{Hands: real, NewID: newID, Every: keeper.ShiftEvery,
			Title: fmt.Sprintf("DEMO x%g", speed), Script: script}, plain, on.Fault)
		return err
	})
}
