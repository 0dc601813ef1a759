package day

import (
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers"
)

// step finds the record of a kind about a subject that counts as done at a moment.
func (s Sheet) step(about action.Subject, at *timers.Stamp, kinds ...action.Kind) (bench.Item, bool) {
	if at == nil {
		return bench.Item{}, false
	}
	for _, it := range s.Bench.Items {
		if it.TakenBack == nil && it.Stamp == *at && slices.Contains(kinds, it.Body.Kind()) && slices.Contains(it.Body.Subjects(), about) {
			return it, true
		}
	}
	return bench.Item{}, false
}

// hand gives the initials of who took such a step, with a space before them, or
// nothing.
func (s Sheet) hand(about action.Subject, at *timers.Stamp, kinds ...action.Kind) string {
	if it, ok := s.step(about, at, kinds...); ok && it.Action.By != "" {
		return " " + it.Action.By
	}
	return ""
}

// did writes when a step was taken and by whom.
func (s Sheet) did(about action.Subject, at *timers.Stamp, kinds ...action.Kind) string {
	return s.clock(at.At) + s.hand(about, at, kinds...) + s.late(about, at, kinds...)
}

// hands lists the initials of all who worked on a trial closure.
func (s Sheet) hands(f *bench.Flask, t bench.Trial) string {
	var out []string
	for _, part := range []struct {
		at   *timers.Stamp
		kind action.Kind
	}{{&t.In, "press-in"}, {t.At, "press-at"}, {t.Out, "press-open"}, {t.Judged, "flash"}} {
		if by := strings.TrimSpace(s.hand(flaskNo(f), part.at, part.kind)); by != "" && !slices.Contains(out, by) {
			out = append(out, by)
		}
	}
	return strings.Join(out, ", ")
}

// finalHands lists the initials of all who worked on a final closure.
func (s Sheet) finalHands(f *bench.Flask) string {
	var out []string
	for _, part := range []struct {
		at   *timers.Stamp
		kind action.Kind
	}{{f.SheetOut, "sheet-out"}, {f.Metal, "metal-to-metal"}} {
		if by := strings.TrimSpace(s.hand(flaskNo(f), part.at, part.kind)); by != "" && !slices.Contains(out, by) {
			out = append(out, by)
		}
	}
	return strings.Join(out, ", ")
}

// lateAfter is how long after a step it may be entered and count as entered with it.
const lateAfter = 5 * time.Minute

// late says when a step was entered that was entered late, as it follows other words.
func (s Sheet) late(about action.Subject, at *timers.Stamp, kinds ...action.Kind) string {
	it, ok := s.step(about, at, kinds...)
	if !ok {
		return ""
	}
	return s.lateItem(it)
}

func (s Sheet) lateItem(it bench.Item) string {
	if it.Written.Sub(it.Record.Stamp.At) <= lateAfter {
		return ""
	}
	return " (entered " + s.clock(it.Written) + ")"
}

// lateTrial says when a trial closure was entered, where any of its steps was entered late.
func (s Sheet) lateTrial(f *bench.Flask, t bench.Trial) string {
	for _, part := range []struct {
		at   *timers.Stamp
		kind action.Kind
	}{{&t.In, "press-in"}, {t.At, "press-at"}, {t.Out, "press-open"}, {t.Judged, "flash"}} {
		if said := s.late(flaskNo(f), part.at, part.kind); said != "" {
			return said
		}
	}
	return ""
}
