package keeper

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"flaskside/logbook/house"
	"flaskside/timers"
)

// wallClock is a clock that runs with the bubble of a test and can be put wrong.
type wallClock struct{ wrong atomic.Int64 }

func (c *wallClock) Read() timers.Reading {
	return timers.Reading{Wall: time.Now().UTC().Add(time.Duration(c.wrong.Load())).Round(0)}
}

// lines are told by one goroutine and read by another.
type lines struct {
	mu  sync.Mutex
	all []string
}

func (l *lines) add(s string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, s)
	return len(l.all)
}

// take gives those told since it was asked last.
func (l *lines) take() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	all := l.all
	l.all = nil
	return all
}

// The backup of a set hour is made once a day within half a minute of it, while the bench
// runs on for days; one that failed is told and comes again the day after; a clock that
// ran years ahead and was put right does not hold it up.
func TestAtHour(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := &wallClock{}
		b := house.Backup{Keep: 7, At: "18:30"}
		var made, told lines
		now := func() string { return clock.Read().Wall.Format("02 15:04") }
		ctx, cancel := context.WithCancel(t.Context())
		go atHour(ctx, clock, b.Due, func() error {
			if made.add(now()) == 2 {
				return errors.New("the disk is full")
			}
			return nil
		}, func(err error) { told.add(now() + " " + err.Error()) })
		until := func(wall string) { // the bubble begins at midnight UTC on 2000-01-01
			to, err := time.Parse(time.RFC3339, wall)
			if err != nil {
				t.Fatal(err)
			}
			time.Sleep(to.Sub(clock.Read().Wall))
			synctest.Wait()
		}
		until("2000-01-03T12:00:00Z")
		if got, want := made.take(), []string{"01 18:30", "02 18:30"}; !slices.Equal(got, want) {
			t.Errorf("made %q, want %q", got, want)
		}
		if got, want := told.take(), []string{"02 18:30 the disk is full"}; !slices.Equal(got, want) {
			t.Errorf("told %q, want %q", got, want)
		}
		clock.wrong.Store(int64(4 * 365 * 24 * time.Hour))
		time.Sleep(time.Minute)
		synctest.Wait()
		clock.wrong.Store(0)
		until("2000-01-03T12:02:00Z")
		made.take() // the one of the wrong year
		until("2000-01-04T12:00:00Z")
		if got, want := made.take(), []string{"03 18:30"}; !slices.Equal(got, want) {
			t.Errorf("after the clock was put right: made %q, want %q", got, want)
		}
		cancel()
		synctest.Wait()
		time.Sleep(48 * time.Hour)
		synctest.Wait()
		if got := made.take(); len(got) > 0 {
			t.Errorf("after the bench was left: %q", got)
		}
	})
}
