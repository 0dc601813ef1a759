package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"flaskside/logbook/address"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
	"flaskside/logbook/keeper"
	"flaskside/logbook/probe"
	"flaskside/logbook/reach"
	"flaskside/timers"
	"flaskside/timers/sysclock"
	"flaskside/tui"
	"flaskside/tui/board"
)

// newID makes the id of an action: the time first, so that ids sort as they were
// made, then enough chance that no two are ever alike.
func newID() string {
	return fmt.Sprintf("%012x-%s", time.Now().UnixMilli(), rand.Text()[:12])
}

// say tells on the side what whoever started the program should know.
func say(line string) { fmt.Fprintln(os.Stderr, "flaskside: "+line) }

// keeper reads the flags of the commands that have the book, for what this program is to others.
func (o *options) keeper(what string) (k keeper.Keeper, err error) {
	k = keeper.Keeper{What: what, NewID: newID, Words: tui.AlarmWords, Check: checking, Say: say,
		Interrupted: func(ctx context.Context) (context.Context, context.CancelFunc) {
			return signal.NotifyContext(ctx, os.Interrupt)
		}}
	if k.OnAlarm, err = keeper.Teller(o.onAlarm); err != nil {
		return k, err
	}
	for _, text := range o.probes {
		p, err := probe.Parse(text)
		if err != nil {
			return k, wrongUsage("--probe %v", err)
		}
		k.Probes = append(k.Probes, p)
	}
	if o.board != "" {
		if err := address.Typed("--board", o.board, boardPort); err != nil {
			return k, err
		}
		k.Doors = append(k.Doors, func(ctx context.Context, hub *keep.Hub) (func(), error) { return board.Open(ctx, hub, o.board, say) })
	}
	return k, nil
}

// runBench opens the bench on a book, or joins the one that has it, and stays until it is left.
func runBench(ctx context.Context, o *options) error {
	notify, err := tui.ParseNotify(o.notify)
	if err != nil {
		return wrongUsage("--notify: %v", err)
	}
	k, err := o.keeper("the bench")
	if err != nil {
		return err
	}
	clock := sysclock.New()
	ctx, cancel := signal.NotifyContext(ctx, syscall.SIGHUP, syscall.SIGTERM)
	defer cancel()
	book, joined, err := keeper.OpenOrJoin(o.book, keep.Person{By: o.by, Named: o.by != "", From: whereabouts()}, clock)
	if err != nil {
		return err
	}
	cfg := screenOf(o, clock)
	cfg.Notify = notify
	if joined != nil {
		return runJoined(ctx, o, joined, cfg)
	}
	return k.Keep(ctx, book, clock, func(hub *keep.Hub) error {
		by := cmp.Or(o.by, book.State().Bench.Crew)
		screen, err := hub.Join(keep.Person{By: by, Named: o.by != "", Own: true})
		if err != nil {
			return err
		}
		typed, err := show(ctx, screen, cfg, o.plain, keep.FaultFile(book.Path(), clock, screen.No()))
		screen.Leave(typed)
		return err
	})
}

// screenOf is what every screen of this program is handed.
func screenOf(o *options, clock timers.Clock) tui.Config {
	book, _ := filepath.Abs(o.book) // it was opened by this name
	if usual, err := reach.Usual(); err == nil && book == usual {
		book = ""
	}
	return tui.Config{Hands: clock, NewID: newID, Every: time.Second, ScanHold: tui.ScanHold, Book: book}
}

// runJoined is another screen of a bench that runs.
func runJoined(ctx context.Context, o *options, at *door.Joined, cfg tui.Config) error {
	if o.onAlarm != "" || len(o.probes) > 0 || o.board != "" {
		at.Leave(nil)
		return wrongUsage("a bench runs on this logbook already: --on-alarm, --probe and --board are for the program that has it, not for another screen")
	}
	typed, err := show(ctx, at, cfg, o.plain, keep.FaultFile(o.book, cfg.Hands, at.No()))
	at.Leave(typed)
	return err
}

func show(ctx context.Context, at tui.Seat, cfg tui.Config, plain bool, fault func(trace string) string) (keep.Drafts, error) {
	return tui.Show(ctx, at, cfg, plain, os.Stdin, os.Stdout, fault)
}
