package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/tui"
)

// joinTries is how often it is tried to join a bench that has the book and does not answer
// yet: it may have been started at the same moment.
const joinTries = 4

// openOrJoin opens the book, or joins the bench that has it as another screen.
func openOrJoin(o *options, clock timers.Clock) (book *logbook.Book, joined *door.Joined, err error) {
	for range joinTries {
		if book, err = logbook.Open(o.book, clock); !errors.Is(err, logbook.ErrHeld) {
			return book, nil, err
		}
		var unanswered error
		if joined, unanswered = door.Join(o.book, keep.Person{By: o.by, Named: o.by != "", From: whereabouts()}, clock); unanswered == nil {
			return nil, joined, nil
		}
		if !errors.Is(unanswered, door.ErrNobody) {
			return nil, nil, fmt.Errorf("%w; its door: %w", err, unanswered)
		}
		time.Sleep(time.Second / 2)
	}
	return nil, nil, err
}

// runJoined is another screen of a bench that runs.
func runJoined(ctx context.Context, o *options, at *door.Joined, clock timers.Clock, notify tui.Notify) error {
	if o.onAlarm != "" || len(o.probes) > 0 || o.board != "" {
		at.Leave(nil)
		return wrongUsage("a bench runs on this logbook already: --on-alarm, --probe and --board are for the program that has it, not for another screen")
	}
	cfg := tui.Config{Keeper: at, Hands: clock, NewID: newID, Every: time.Second, Notify: notify, ScanHold: scanHold}
	typed, err := show(ctx, at, cfg, o.plain, faultFile(o.book, clock, at.No()))
	at.Leave(typed)
	return err
}

// whereabouts is where this screen stands: the address that it is used from, or the name of
// its terminal.
func whereabouts() string {
	if from, _, ok := strings.Cut(os.Getenv("SSH_CONNECTION"), " "); ok {
		return clipped(from)
	}
	if name, err := os.Readlink("/proc/self/fd/0"); err == nil {
		return clipped(strings.TrimPrefix(name, "/dev/"))
	}
	return "this computer"
}

// clipped is a name from outside as a record takes it.
func clipped(s string) string {
	out := []rune(words.Clean(strings.ToValidUTF8(s, "_")))
	return string(out[:min(60, len(out))])
}
