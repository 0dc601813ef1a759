// Package keeper is the life of the program that has a logbook, from opening it to closing it,
// beside whatever screens it shows: it answers at the door of the bench and at others, looks
// after clocks and alarms, follows the probes, brings the mirror up to date and makes the
// backups. A program that finds the logbook kept already joins it as another screen.
package keeper

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
	"flaskside/logbook/probe"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// Door lets others in, or look in, until it is closed.
type Door func(ctx context.Context, hub *keep.Hub) (closed func(), err error)

// Keeper is what the program that has a logbook does beside its screens.
type Keeper struct {
	What    string        // what it is to others, told beside the logbook
	NewID   func() string // of an action
	Words   func(st logbook.Snapshot, now timers.Now, al timers.Alarm) string
	OnAlarm func(words string) // told of each alarm that sounds; nil for nobody
	Probes  []probe.Probe
	Doors   []Door                              // beside that of the bench
	Check   func(context.Context) logbook.Check // looks through a backup
	Say     func(line string)
	// Interrupted gives a context that ends, too, when the program is interrupted.
	Interrupted func(context.Context) (context.Context, context.CancelFunc)
}

// joinTries is how often it is tried to join a bench that has the logbook and does not answer
// yet: it may have been started at the same moment.
const joinTries = 4

// OpenOrJoin opens a logbook, or joins the bench that has it as another screen.
func OpenOrJoin(path string, p keep.Person, clock timers.Clock) (book *logbook.Book, joined *door.Joined, err error) {
	for range joinTries {
		if book, err = logbook.Open(path, clock); !errors.Is(err, logbook.ErrHeld) {
			return book, nil, err
		}
		var unanswered error
		if joined, unanswered = door.Join(path, p, clock); unanswered == nil {
			return nil, joined, nil
		}
		if !errors.Is(unanswered, door.ErrNobody) {
			return nil, nil, fmt.Errorf("%w; its door: %w", err, unanswered)
		}
		time.Sleep(time.Second / 2)
	}
	return nil, nil, err
}

// Keep has a logbook while run does; then, while others are on the bench, for as long as they
// are. The logbook is closed in the end.
func (k Keeper) Keep(ctx context.Context, book *logbook.Book, clock timers.Clock, run func(hub *keep.Hub) error) error {
	done := book.Announce(k.What)
	defer done()
	hub := keep.New(book, clock, k.NewID)
	var beside sync.WaitGroup
	beside.Go(book.KeepReserve)
	defer beside.Wait()
	stop, err := door.Serve(ctx, hub)
	if err != nil {
		_ = book.Close() // the reason to close is the error that is told
		return err
	}
	mirror := newMirrored(book, clock)
	inner, cancel := context.WithCancel(ctx)
	var tending sync.WaitGroup
	tending.Go(func() { k.tend(inner, hub) })
	mirror.start(inner, hub)
	err = k.open(inner, hub, k.Doors, func() error {
		if err := run(hub); err != nil {
			return err
		}
		k.waitForOthers(ctx, hub)
		return nil
	})
	cancel()
	tending.Wait()
	hub.End()
	stop()
	hub.Close()
	book.OnFurtherTrouble(func(err error) { k.Say(told(err)) })
	failed := backUp(book, clock, k.Check(context.WithoutCancel(ctx))) // told to end or not
	if line := mirror.leave(); line != "" {
		k.Say(line)
	}
	if same := sameDisk(book); same != nil && failed == nil {
		k.Say(told(same))
	}
	return errors.Join(err, failed, book.Close()) // each says something of its own
}

// open opens doors one after the other, and closes them when run has ended.
func (k Keeper) open(ctx context.Context, hub *keep.Hub, doors []Door, run func() error) error {
	if len(doors) == 0 {
		return run()
	}
	closed, err := doors[0](ctx, hub)
	if err != nil {
		return err
	}
	defer closed()
	return k.open(ctx, hub, doors[1:], run)
}

// waitForOthers keeps the bench running while other screens are on it.
func (k Keeper) waitForOthers(ctx context.Context, hub *keep.Hub) {
	if hub.Others() == 0 || ctx.Err() != nil {
		return
	}
	ctx, cancel := k.Interrupted(ctx)
	defer cancel()
	k.Say("the bench runs on here for the other screens; Ctrl-C ends it for them, too")
	sysclock.Every(ctx, time.Second, func() {
		if hub.Others() == 0 {
			cancel()
		}
	})
}

// tend does what belongs to the bench and to no screen, until the context ends.
func (k Keeper) tend(ctx context.Context, hub *keep.Hub) {
	book, clock := hub.Book(), hub.Clock()
	fault := keep.FaultFile(book.Path(), clock, 0)
	trouble := func(err error) { hub.Trouble(told(err)) }
	var all sync.WaitGroup
	defer all.Wait()
	all.Go(func() {
		hub.Watch(ctx, keep.Watch{Every: time.Second, Tick: time.Second, Words: k.Words, OnAlarm: k.OnAlarm, Fault: fault})
	})
	all.Go(func() {
		probe.Desk{Book: book, Clock: clock, NewID: k.NewID, Tell: func(line string) { hub.Tell(words.Clean(line)) }, Fault: fault}.Follow(ctx, k.Probes)
	})
	all.Go(func() {
		if err := sameDisk(book); err != nil && filepath.IsAbs(book.State().Bench.House.Backup.Folder) {
			trouble(err)
		}
		due := func(since, now time.Time) bool { return book.State().Bench.House.Backup.Due(since, now) }
		atHour(ctx, clock, due, func() error { return backUp(book, clock, k.Check(ctx)) }, trouble)
	})
}

// Log says what is said on screens, where there is none, until the context ends.
func (k Keeper) Log(ctx context.Context, at *keep.Screen) {
	lost := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-at.Wake():
		}
		n := at.Take()
		for _, l := range n.Lines {
			k.Say(words.Clean(l.Text))
		}
		switch is := n.Lost != nil; {
		case is && !lost:
			k.Say("the logbook cannot be reached: " + told(n.Lost))
		case lost && !is:
			k.Say("the logbook can be reached again")
		}
		lost = n.Lost != nil
	}
}

// told is an error as a person is told it, in one line.
func told(err error) string { return words.Refusal(err) }
