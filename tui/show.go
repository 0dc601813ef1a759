package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/term"

	"flaskside/logbook/keep"
)

// betweenFrames is how far apart two frames are begun at least, however many keys come.
const betweenFrames = time.Second / 60

// ScanHold is longer than a scanner takes from one character to the next, and shorter
// than a hand is aware of.
const ScanHold = 40 * time.Millisecond

// Show runs a screen on a terminal until it is left, sent away, or the context ends. It gives what
// was typed there and not sent. plain is the bench line by line.
func Show(ctx context.Context, at Seat, cfg Config, plain bool, in interface{ Fd() uintptr }, out io.Writer, fault func(trace string) string) (keep.Drafts, error) {
	opts := []tea.ProgramOption{tea.WithContext(ctx), tea.WithFPS(Modes), tea.WithoutSignalHandler()}
	cfg.Keeper = at
	model := New(cfg)
	var screen tea.Model
	painted := func() {}
	if plain {
		screen = newPlain(model, fault, out)
		opts = append(opts, tea.WithoutRenderer())
		// Without a renderer the keys are left to the line editor of the terminal.
		if old, err := term.MakeRaw(in.Fd()); err == nil {
			defer func() { _ = term.Restore(in.Fd(), old) }()
		}
	} else {
		painter := NewPainter(out, betweenFrames)
		painted = painter.Close
		screen = Painted(model, fault, painter)
		opts = append(opts, tea.WithOutput(painter.Output()))
	}
	p := tea.NewProgram(screen, opts...)
	over := make(chan struct{})
	var beside sync.WaitGroup
	var away string
	beside.Go(func() { away = Follow(p, at, over, p.Quit) })
	_, err := p.Run()
	painted()
	close(over)
	beside.Wait()
	typed := model.Typed()
	switch {
	case away != "":
		return typed, errors.New(away)
	case err == nil, errors.Is(err, context.Canceled), errors.Is(err, tea.ErrInterrupted):
		return typed, nil // told to end: every record shown as done is on the disk
	case errors.Is(err, tea.ErrProgramKilled) && ctx.Err() != nil:
		return typed, nil
	case strings.Contains(err.Error(), "TTY"): // the library has no error of its own for it
		return nil, errors.New("there is no terminal here: run it in a terminal window, or see flaskside --help for the commands that need none")
	}
	return typed, fmt.Errorf("the screen stopped; the logbook is not damaged: %w", err)
}
