package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
	"flaskside/logbook/probe"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/tui"
)

// besides is what the program that has the book does beside the screens.
type besides struct {
	onAlarm func(words string)
	probes  []probe.Probe
	board   string // address of the wall board; "" for none
}

// parseBeside reads the flags about it.
func (o *options) parseBeside() (b besides, err error) {
	if b.onAlarm, err = alarmTeller(o.onAlarm); err != nil {
		return b, err
	}
	if b.probes, err = o.parseProbes(); err != nil {
		return b, err
	}
	b.board = o.board
	return b, wholeAddress("--board", b.board, boardPort)
}

// keepBook has the book: it answers at its door, follows the probes, makes the backups, tells
// of alarms, while run does; then, while others are on the bench, for as long as they are. What
// it is to others is told beside the book. The book is closed in the end.
func keepBook(ctx context.Context, book *logbook.Book, clock timers.Clock, what string, work besides, run func(hub *keep.Hub) error) error {
	done := book.Announce(what)
	defer done()
	hub := keep.New(book, clock, newID)
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
	tending.Go(func() { tend(inner, hub, work) })
	mirror.start(inner, hub)
	err = withBoard(inner, hub, work.board, os.Stderr, func() error {
		if err := run(hub); err != nil {
			return err
		}
		waitForOthers(ctx, hub)
		return nil
	})
	cancel()
	tending.Wait()
	hub.End()
	stop()
	book.OnFurtherTrouble(func(err error) { fmt.Fprintln(os.Stderr, "flaskside: "+oneLine(err)) })
	failed := backUp(context.WithoutCancel(ctx), book, clock) // told to end or not
	if line := mirror.leave(); line != "" {
		fmt.Fprintln(os.Stderr, "flaskside: "+line)
	}
	if same := sameDisk(book); same != nil && failed == nil {
		fmt.Fprintln(os.Stderr, "flaskside: "+oneLine(same))
	}
	return errors.Join(err, failed, book.Close()) // each says something of its own
}

// waitForOthers keeps the bench running while other screens are on it.
func waitForOthers(ctx context.Context, hub *keep.Hub) {
	if hub.Others() == 0 || ctx.Err() != nil {
		return
	}
	ctx, cancel := signal.NotifyContext(ctx, os.Interrupt)
	defer cancel()
	fmt.Fprintln(os.Stderr, "flaskside: the bench runs on here for the other screens; Ctrl-C ends it for them, too")
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for hub.Others() > 0 {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// tend does what belongs to the bench and to no screen, until the context ends.
func tend(ctx context.Context, hub *keep.Hub, work besides) {
	book, clock := hub.Book(), hub.Clock()
	fault := faultFile(book.Path(), clock, 0)
	trouble := func(err error) { hub.Trouble(oneLine(err)) }
	var all sync.WaitGroup
	defer all.Wait()
	all.Go(func() {
		hub.Watch(ctx, keep.Watch{Every: time.Second, Tick: time.Second, Words: tui.AlarmWords, OnAlarm: work.onAlarm, Fault: fault})
	})
	all.Go(func() {
		probe.Desk{Book: book, Clock: clock, NewID: newID, Tell: func(line string) { hub.Tell(words.Clean(line)) }, Fault: fault}.Follow(ctx, work.probes)
	})
	all.Go(func() {
		if err := sameDisk(book); err != nil && filepath.IsAbs(book.State().Bench.House.Backup.Folder) {
			trouble(err)
		}
		due := func(since, now time.Time) bool { return book.State().Bench.House.Backup.Due(since, now) }
		atHour(ctx, clock, due, func() error { return backUp(ctx, book, clock) }, trouble)
	})
}
