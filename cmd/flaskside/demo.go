package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/demo"
	"flaskside/logbook/keep"
	"flaskside/timers/simclock"
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

// demoIntro is how long before its first step the demo opens, on the clock of the shift:
// time to read what a newcomer should know.
const demoIntro = 3 * time.Minute

// demoHands is how much faster than life the demo runs at most once the keys were taken
// over: a hold is ten seconds then.
const demoHands = 6

// runDemo plays the invented shift on a scratch book, speed times faster than
// life, and leaves nothing behind.
func runDemo(ctx context.Context, speed float64, plain bool) error {
	if speed < 1 || speed > 1000 {
		return fmt.Errorf("speed must be 1 to 1000, not %g", speed)
	}
	dir, err := os.MkdirTemp("", "flaskside-demo-")
	if err != nil {
		return fmt.Errorf("make a scratch folder: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }() // a scratch folder left over harms nobody
	real := sysclock.New()
	start := demo.Start(real.Read().Wall)
	clock := simclock.NewFast(real, start.Add(-demoIntro), speed)
	book, err := logbook.Open(filepath.Join(dir, "demo.db"), clock)
	if err != nil {
		return err
	}
	before, played := demo.Cut(start)
	for i, a := range before {
		if _, err := book.Append(a); err != nil {
			return fmt.Errorf("demo, step %d: %w", i+1, err)
		}
	}
	script := &tui.Script{Steps: played, Yours: func() string {
		slower := min(speed, demoHands)
		clock.Run(slower)
		return fmt.Sprintf("DEMO x%g, yours", slower)
	}}
	every := time.Second / 4
	fault := keep.FaultFile(book.Path(), real, 0)
	hub := keep.New(book, clock, newID)
	screen, err := hub.Join(keep.Person{By: "KT", Own: true})
	if err != nil {
		return err
	}
	ctx, cancel := signal.NotifyContext(ctx, syscall.SIGHUP, syscall.SIGTERM)
	defer cancel()
	var beside sync.WaitGroup
	beside.Go(func() {
		hub.Watch(ctx, keep.Watch{Every: every, Tick: time.Duration(float64(every) * speed * 4), Words: tui.AlarmWords, Fault: fault})
	})
	_, err = show(ctx, screen, tui.Config{Hands: real, NewID: newID, Every: every,
		Title: fmt.Sprintf("DEMO x%g", speed), Script: script}, plain, fault)
	cancel()
	beside.Wait()
	return errors.Join(err, book.Close())
}
