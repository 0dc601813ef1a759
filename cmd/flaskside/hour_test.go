package main

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"flaskside/logbook/house"
	"flaskside/timers"
)

// wallClock is a clock that runs with the bubble of a test and can be put wrong.
type wallClock struct{ wrong time.Duration }

func (c *wallClock) Read() timers.Reading {
	return timers.Reading{Wall: time.Now().UTC().Add(c.wrong).Round(0)}
}

// The backup of a set hour is made once a day within half a minute of it, while the bench
// runs on for days; one that failed is told and comes again the day after; a clock that
// ran years ahead and was put right does not hold it up.
func TestAtHour(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := &wallClock{}
		b := house.Backup{Keep: 7, At: "18:30"}
		var made, told []string
		now := func() string { return clock.Read().Wall.Format("02 15:04") }
		ctx, cancel := context.WithCancel(t.Context())
		go atHour(ctx, clock, b.Due, func() error {
			made = append(made, now())
			if len(made) == 2 {
				return errors.New("the disk is full")
			}
			return nil
		}, func(err error) { told = append(told, now()+" "+err.Error()) })
		until := func(wall string) { // the bubble begins at midnight UTC on 2000-01-01
			to, err := time.Parse(time.RFC3339, wall)
			if err != nil {
				t.Fatal(err)
			}
			time.Sleep(to.Sub(clock.Read().Wall))
			synctest.Wait()
		}
		until("2000-01-03T12:00:00Z")
		if want := []string{"01 18:30", "02 18:30"}; !slices.Equal(made, want) {
			t.Errorf("made %q, want %q", made, want)
		}
		if want := []string{"02 18:30 the disk is full"}; !slices.Equal(told, want) {
			t.Errorf("told %q, want %q", told, want)
		}
		clock.wrong = 4 * 365 * 24 * time.Hour
		time.Sleep(time.Minute)
		synctest.Wait()
		clock.wrong = 0
		made = nil
		until("2000-01-05T12:00:00Z")
		if want := []string{"03 18:30", "04 18:30"}; !slices.Equal(made, want) {
			t.Errorf("after the clock was put right: made %q, want %q", made, want)
		}
		cancel()
		made = nil
		time.Sleep(48 * time.Hour)
		if len(made) > 0 {
			t.Errorf("after the bench was left: %q", made)
		}
	})
}
