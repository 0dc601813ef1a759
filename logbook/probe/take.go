package probe

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/timers/cure"
)

// take records a reading where it is due.
func (w *watcher) take(r cure.BathReading) {
	now := w.Clock.Read().Wall
	switch ahead := r.At.Sub(now); {
	case ahead >= recordEvery:
		w.refuse(fmt.Errorf("reading of %s lies in the future: check the clocks", r.At.Format(time.RFC3339)))
		return
	case ahead > 0:
		r.At = now // the other program's clock is a little fast
	}
	if !r.At.After(w.floor) || now.Sub(r.At) > memory {
		return // in the book already, or long over
	}
	if err := r.Follows(w.line); err != nil {
		w.refuse(err)
		return
	}
	w.line = r
	w.heard.Store(now.UnixNano())
	if !w.due(r) {
		return
	}
	_, err := w.Book.Append(action.Action{ID: w.NewID(), At: r.At, By: by, Body: action.BathReading{Bath: w.Bath, TempC: r.TempC, Source: w.source()}})
	switch {
	case err == nil:
		w.kept = r
	case errors.Is(err, logbook.ErrUnknown), errors.Is(err, logbook.ErrNotSaved): // the screen tells of a failing book; the next reading tries again
	default:
		w.refuse(err)
	}
}

// due tells whether a reading is to be recorded: one a minute, or when the bath has
// changed.
func (w *watcher) due(r cure.BathReading) bool {
	if w.kept.At.IsZero() {
		return true
	}
	since := r.At.Sub(w.kept.At)
	every := recordIdle
	if w.inUse() {
		every = recordEvery
	}
	return since >= every || since >= recordLeast && math.Abs(r.TempC-w.kept.TempC) > recordJump
}

// inUse tells whether flasks are in the bath.
func (w *watcher) inUse() bool {
	b := w.Book.State().Bench
	for _, no := range bench.Sorted(b.Loads) {
		if l := b.Loads[no]; l.Bath == w.Bath && len(b.StillIn(l)) > 0 {
			return true
		}
	}
	return false
}

// source names the probe in the records by the end of its path.
func (w *watcher) source() string {
	const most = 60
	rs := []rune(strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '_'
	}, strings.ToValidUTF8(w.Path, "_")))
	return string(rs[max(0, len(rs)-most):])
}

// tellSilence tells of a probe that has said nothing while flasks are in the bath.
// One that the book has heard has an alarm of its own (see package bench).
func (w *watcher) tellSilence() {
	b := w.Book.State().Bench
	for _, r := range b.Readings {
		if r.Bath == w.Bath && r.Source != bench.Typed {
			return
		}
	}
	limit := cure.DefaultSilent
	if w.Bath <= len(b.House.Baths) {
		limit = b.House.Baths[w.Bath-1].Silent()
	}
	now := w.Clock.Read().Wall
	if quiet := now.Sub(time.Unix(0, w.heard.Load())); quiet > limit && w.inUse() {
		w.heard.Store(now.UnixNano())
		w.Tell(fmt.Sprintf("probe of bath %d: nothing read for %s", w.Bath, units.FormatDuration(quiet)))
	}
}
