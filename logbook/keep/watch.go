package keep

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// Watch does beside the book, once, what belongs to the bench: it records what happens to
// the clocks, leaves signs of life, counts floods, and has alarms told.
type Watch struct {
	Every   time.Duration                                                             // how often it looks
	Tick    time.Duration                                                             // how long that is on the clock of the bench
	Words   func(st logbook.Snapshot, now timers.Now, al timers.Alarm) (words string) // of an alarm
	OnAlarm func(words string)                                                        // told of each alarm that sounds; nil for nobody
	Fault   func(trace string) string                                                 // keeps a fault in a file and says where

	hub    *Hub
	before timers.Reading
	beatAt time.Duration
	flood  timers.Flood
	bell   timers.Bell
}

// Watch looks after the bench until the context ends.
func (h *Hub) Watch(ctx context.Context, w Watch) {
	w.On(h)
	sysclock.Every(ctx, w.Every, func() {
		w.safely(w.Look)
	})
}

// On begins to watch a hub.
func (w *Watch) On(h *Hub) {
	w.hub, w.before, w.beatAt = h, h.clock.Read(), h.clock.Read().Mono
}

// safely looks once; a fault of it is kept and told, and the watch goes on.
func (w *Watch) safely(look func()) {
	defer func() {
		if p := recover(); p != nil && w.Fault != nil {
			file := w.Fault(fmt.Sprintf("watch: %v\n\n%s", p, debug.Stack()))
			w.hub.Trouble("a fault in the program; the logbook is not damaged, timers keep running. Details in " + file)
		}
	}()
	look()
}

// Look looks at the clocks and the bench once.
func (w *Watch) Look() {
	h := w.hub
	now := h.book.Now()
	for _, e := range timers.Compare(w.before, now.Reading, w.Tick) {
		w.onClock(e)
	}
	w.before = now.Reading
	if d := now.Mono - w.beatAt; d >= time.Minute || d < 0 {
		w.beatAt = now.Mono
		// Any other beat that is missed is made up by the next.
		if err := h.book.Beat(); errors.Is(err, logbook.ErrUnknown) {
			h.unreachable(err)
		}
	}
	st := h.book.State()
	alarms := st.Bench.Alarms(now)
	w.count(alarms, now)
	w.ring(st, alarms, now)
}

// onClock records what happened to the clocks and tells it on all screens.
func (w *Watch) onClock(e timers.ClockEvent) {
	h := w.hub
	h.Tell(clockWords(e))
	detail := []rune(e.Detail)
	body := action.ClockEvent{What: string(e.What), ByS: int(e.By / time.Second), Detail: string(detail[:min(100, len(detail))])}
	_, err := h.book.Append(action.Action{ID: h.newID(), At: h.clock.Read().Wall, Body: body})
	switch {
	case errors.Is(err, logbook.ErrUnknown):
		h.unreachable(err)
	case err != nil:
		h.Trouble("what happened to the clock was not recorded: " + err.Error())
	}
}

// count hands the count of a flood on to all screens when it changes.
func (w *Watch) count(alarms []timers.Alarm, now timers.Now) {
	var f AlarmRate
	f.N, f.On = w.flood.Look(alarms, now)
	h := w.hub
	h.mu.Lock()
	same := f == h.flood
	h.flood = f
	h.mu.Unlock()
	if !same {
		h.all(func(n *News) { n.Flood = f })
	}
}

// ring has an alarm told where one sounds.
func (w *Watch) ring(st logbook.Snapshot, alarms []timers.Alarm, now timers.Now) {
	a := st.Bench.House.Alarms
	w.bell.Every = map[timers.Priority]time.Duration{
		timers.High: time.Duration(a.HighS) * time.Second, timers.Medium: time.Duration(a.MediumS) * time.Second, timers.Low: time.Duration(a.LowS) * time.Second,
	}
	w.hub.mu.Lock()
	w.bell.Flood = w.hub.flood.On
	w.hub.mu.Unlock()
	if al := w.bell.Ring(alarms, now.Mono); al != nil && w.OnAlarm != nil {
		go w.OnAlarm(w.Words(st, now, *al)) // a command takes as long as it takes
	}
}

// clockWords tells what happened to the clocks.
func clockWords(e timers.ClockEvent) string {
	length := words.Length
	switch e.What {
	case timers.Slept:
		return fmt.Sprintf("the computer slept %s (%s to %s): the timers kept running", length(e.By), e.From.Format("15:04"), e.To.Format("15:04"))
	case timers.Stepped:
		dir := "forward"
		by := e.By
		if by < 0 {
			dir, by = "back", -by
		}
		return fmt.Sprintf("the clock was moved %s %s: check the time; timers are not affected", dir, length(by))
	case timers.Stalled:
		return fmt.Sprintf("the program did not run for %s", length(e.By))
	case timers.Zone:
		return "the time zone changed: " + e.Detail + "; timers are not affected"
	}
	return fmt.Sprintf("the computer was restarted between %s and %s; times across the restart are estimated", e.From.Format("Mon 15:04"), e.To.Format("Mon 15:04"))
}
