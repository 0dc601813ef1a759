package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/term"

	"flaskside/logbook"
	"flaskside/logbook/demo"
	"flaskside/logbook/disk"
	"flaskside/logbook/keep"
	"flaskside/timers"
	"flaskside/timers/simclock"
	"flaskside/timers/sysclock"
	"flaskside/tui"
)

// betweenFrames is how far apart two frames are begun at least, however many keys come.
const betweenFrames = time.Second / 60

// scanHold is longer than a scanner takes from one character to the next, and shorter
// than a hand is aware of.
const scanHold = 40 * time.Millisecond

// newID makes the id of an action: the time first, so that ids sort as they were
// made, then enough chance that no two are ever alike.
func newID() string {
	return fmt.Sprintf("%012x-%s", time.Now().UnixMilli(), rand.Text()[:12])
}

// runBench opens the bench on a book and stays until it is left.
func runBench(ctx context.Context, o *options) error {
	notify, err := tui.ParseNotify(o.notify)
	if err != nil {
		return wrongUsage("--notify: %v", err)
	}
	work, err := o.parseBeside()
	if err != nil {
		return err
	}
	clock := sysclock.New()
	ctx, cancel := signal.NotifyContext(ctx, syscall.SIGHUP, syscall.SIGTERM)
	defer cancel()
	book, joined, err := openOrJoin(o, clock)
	if err != nil {
		return err
	}
	if joined != nil {
		return runJoined(ctx, o, joined, clock, notify)
	}
	return keepBook(ctx, book, clock, "the bench", work, func(hub *keep.Hub) error {
		by := cmp.Or(o.by, book.State().Bench.Crew)
		screen, err := hub.Join(keep.Person{By: by, Named: o.by != "", Own: true})
		if err != nil {
			return err
		}
		cfg := tui.Config{Keeper: screen, Hands: clock, NewID: newID, Every: time.Second, Notify: notify, ScanHold: scanHold}
		_, err = show(ctx, screen, cfg, o.plain, faultFile(book.Path(), clock, screen.No()))
		screen.Leave(nil)
		return err
	})
}

// sameDisk says so where the newest backup of the days lies on the disk of the book.
func sameDisk(book *logbook.Book) error {
	house := book.State().Bench.House.Backup
	// What is missing or cannot be read is told by whoever makes a backup.
	days, _ := logbook.DailyBackups(book.Path(), house.Folder)
	if len(days) == 0 {
		return nil
	}
	own, failed := disk.Of(book.Path())
	newest, unread := disk.Of(days[len(days)-1])
	if failed != nil || unread != nil || newest.ID == "" || newest.ID != own.ID {
		return nil //nolint:nilerr // as said above
	}
	return fmt.Errorf("the newest backup, %s, is on the same disk as the logbook: is another disk plugged in? (backup.folder in the settings, or flaskside backup FILE)", days[len(days)-1])
}

// backUp makes the day's backup when the bench is left, as the house settings say.
func backUp(ctx context.Context, book *logbook.Book, clock timers.Clock) error {
	st := book.State()
	if st.Head.Seq == 0 {
		return nil
	}
	house := st.Bench.House.Backup
	if _, err := logbook.BackupDaily(book, house.Folder, house.Keep, clock.Read().Wall, checking(ctx)); err != nil {
		return fmt.Errorf("today's backup was not made: %w", err)
	}
	return nil
}

// lookAtHour is how often it is looked whether the hour of the backup has come.
const lookAtHour = 20 * time.Second

// atHour does what is due at an hour, until ctx ends; due tells whether the hour has come
// since an instant. What goes wrong is told as trouble, and done again a day later.
func atHour(ctx context.Context, clock timers.Clock, due func(since, now time.Time) bool, do func() error, trouble func(error)) {
	since := clock.Read().Wall
	tick := time.NewTicker(lookAtHour)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now := clock.Read().Wall
		if now.Before(since) {
			since = now // a clock that was put right must not hold the next hour up
		}
		if !due(since, now) {
			continue
		}
		since = now
		if err := do(); err != nil && ctx.Err() == nil {
			trouble(err)
		}
	}
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
	script := &tui.Script{Yours: func() string {
		slower := min(speed, demoHands)
		clock.Run(slower)
		return fmt.Sprintf("DEMO x%g, yours", slower)
	}}
	for i, s := range demo.Shift() {
		a := s.Action(i, start)
		if s.After >= 0 {
			script.Steps = append(script.Steps, tui.ScriptStep{Action: a, Say: s.Say})
			continue
		}
		if _, err := book.Append(a); err != nil {
			return fmt.Errorf("demo, step %d: %w", i+1, err)
		}
	}
	every := time.Second / 4
	fault := faultFile(book.Path(), real, 0)
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
	_, err = show(ctx, screen, tui.Config{Keeper: screen, Hands: real, NewID: newID, Every: every,
		Title: fmt.Sprintf("DEMO x%g", speed), Script: script}, plain, fault)
	cancel()
	beside.Wait()
	return errors.Join(err, book.Close())
}

// show runs the screen until it is left, sent away, or the process is told to end. It gives
// what was typed there and not sent.
func show(ctx context.Context, at tui.Seat, cfg tui.Config, plain bool, fault func(trace string) string) (keep.Drafts, error) {
	opts := []tea.ProgramOption{tea.WithContext(ctx), tea.WithFPS(tui.Modes), tea.WithoutSignalHandler()}
	model := tui.New(cfg)
	var screen tea.Model
	painted := func() {}
	if plain {
		screen = tui.NewPlain(model, fault, os.Stdout)
		opts = append(opts, tea.WithoutRenderer())
		// Without a renderer the keys are left to the line editor of the terminal.
		if old, err := term.MakeRaw(os.Stdin.Fd()); err == nil {
			defer func() { _ = term.Restore(os.Stdin.Fd(), old) }()
		}
	} else {
		painter := tui.NewPainter(os.Stdout, betweenFrames)
		painted = painter.Close
		screen = tui.Painted(model, fault, painter)
		opts = append(opts, tea.WithOutput(painter.Output()))
	}
	p := tea.NewProgram(screen, opts...)
	over := make(chan struct{})
	var beside sync.WaitGroup
	var out string
	beside.Go(func() { out = tui.Follow(p, at, over, p.Quit) })
	_, err := p.Run()
	painted()
	close(over)
	beside.Wait()
	typed := model.Typed()
	switch {
	case out != "":
		return typed, errors.New(out)
	case err == nil, errors.Is(err, context.Canceled), errors.Is(err, tea.ErrInterrupted):
		return typed, nil // told to end: every record shown as done is on the disk
	case errors.Is(err, tea.ErrProgramKilled) && ctx.Err() != nil:
		return typed, nil
	case strings.Contains(err.Error(), "TTY"): // the library has no error of its own for it
		return nil, errors.New("there is no terminal here: run it in a terminal window, or see flaskside --help for the commands that need none")
	}
	return typed, fmt.Errorf("the screen stopped; the logbook is not damaged: %w", err)
}

// faultFile keeps the traces of a fault of the program beside the book, for
// whoever mends it. Each screen has a number, so that two faults at once are two files; 0 is
// the program that has the book.
func faultFile(path string, clock timers.Clock, screen int) func(trace string) string {
	return func(trace string) string {
		name := fmt.Sprintf("%s.fault-%s", path, clock.Read().Wall.Format("20060102-150405"))
		if screen > 0 {
			name += fmt.Sprintf("-screen%d", screen)
		}
		name += ".txt"
		f, err := disk.CreateOwn(name)
		if err != nil {
			return err.Error()
		}
		_, err = f.WriteString(trace)
		if err := errors.Join(err, f.Close()); err != nil {
			return err.Error()
		}
		return name
	}
}
