package keeper

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/demo"
	"flaskside/logbook/keep"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

const (
	// intro is how long before its first step the invented shift opens, on its own clock: time to
	// read what a newcomer should know.
	intro = 3 * time.Minute
	// byHand is how much faster than life it runs at most once the keys were taken over: a hold
	// is ten seconds then.
	byHand = 6
	// ShiftEvery is how often it is looked at, for its clock is fast.
	ShiftEvery = time.Second / 4
)

// Stage is where the invented shift plays: a scratch logbook, whose clock is fast.
type Stage struct {
	Screen *keep.Screen
	Fault  func(trace string) string
	Steps  []demo.Told
	Slower func() (speed float64) // for whoever takes the keys over
}

// Shift keeps a scratch logbook for the invented shift, speed times faster than the clock under
// it, while run does, and leaves nothing behind.
func (k Keeper) Shift(ctx context.Context, under timers.Clock, speed float64, run func(context.Context, Stage) error) error {
	if speed < 1 || speed > 1000 {
		return fmt.Errorf("speed must be 1 to 1000, not %g", speed)
	}
	dir, err := os.MkdirTemp("", "flaskside-demo-")
	if err != nil {
		return fmt.Errorf("make a scratch folder: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }() // a scratch folder left over harms nobody
	start := demo.Start(under.Read().Wall)
	clock := simclock.NewFast(under, start.Add(-intro), speed)
	book, err := logbook.Open(filepath.Join(dir, "demo.db"), clock)
	if err != nil {
		return err
	}
	before, steps := demo.Cut(start)
	for i, a := range before {
		if _, err := book.Append(a); err != nil {
			return fmt.Errorf("demo, step %d: %w", i+1, err)
		}
	}
	hub := keep.New(book, clock, k.NewID)
	screen, err := hub.Join(keep.Person{By: "KT", Own: true})
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	fault := keep.FaultFile(book.Path(), under, 0)
	var beside sync.WaitGroup
	beside.Go(func() {
		hub.Watch(ctx, keep.Watch{Every: ShiftEvery, Tick: time.Duration(float64(ShiftEvery) * speed * 4), Words: k.Words, Fault: fault})
	})
	err = run(ctx, Stage{screen, fault, steps, func() float64 {
		slower := min(speed, byHand)
		clock.Run(slower)
		return slower
	}})
	cancel()
	beside.Wait()
	return errors.Join(err, book.Close())
}
