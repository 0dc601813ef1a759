package day

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/timers"
)

// errNothingToCome says that a calendar would be empty, which RFC 5545 does not
// allow (section 3.6: one component at least).
var errNothingToCome = errors.New("nothing to put in a calendar: nothing is setting, curing or cooling")

// event is an entry of the calendar.
type event struct {
	uid       string
	sequence  int
	start     time.Time
	lasts     time.Duration
	summary   string
	details   string
	tentative bool
	rings     []ring
}

// ring is an alarm of an event, so long after its start.
type ring struct {
	after time.Duration
	words string
}

// ICS writes the bench sets, cures and coolings that run, and the coolings that
// follow the cures, as an iCalendar object (RFC 5545), each with an alarm at its
// ends. Instants are in UTC and lengths of time in hours, minutes and seconds, so
// that no clock change moves them; the same step has the same UID in every export.
// Nothing to come: [errNothingToCome].
func (s Sheet) ICS(w io.Writer) error {
	events := s.toCome()
	if len(events) == 0 {
		return errNothingToCome
	}
	made := s.Made
	if made.IsZero() {
		made = s.end()
	}
	c := &calendar{}
	c.line("BEGIN:VCALENDAR")
	c.line("VERSION:2.0")
	c.line("PRODID:-//flaskside//day sheet//EN")
	c.line("CALSCALE:GREGORIAN")
	for _, e := range events {
		c.event(e, made)
	}
	c.line("END:VCALENDAR")
	if _, err := io.WriteString(w, c.String()); err != nil {
		return fmt.Errorf("write calendar: %w", err)
	}
	return nil
}

// toCome lists the events, in order of their start.
func (s Sheet) toCome() []event {
	var out []event
	for _, w := range s.Bench.Windows() {
		e, ok := s.event(w)
		if !ok {
			continue
		}
		if len(w.Marks) > 0 && w.Start.At.Add(w.Marks[len(w.Marks)-1].After).After(s.end()) {
			out = append(out, e)
		}
		if w.What == bench.Cure && e.start.Add(e.lasts).After(s.end()) {
			out = append(out, s.coolings(w, e)...)
		}
	}
	slices.SortStableFunc(out, func(a, b event) int { return a.start.Compare(b.start) })
	return out
}

// event makes a window an event: from its start until it may end.
func (s Sheet) event(w bench.Window) (event, bool) {
	it, step := s.began(w)
	e := event{start: w.Start.At, sequence: len(it.Corrections), uid: uid(it.Action.ID, step, w.Flasks)}
	what := capital(string(w.What)) + s.andNamed(w.Flasks)
	done, limit := "", ""
	switch w.What {
	case bench.BenchSet:
		e.summary, done, limit = what+": into the bath", "bench set time is up: may go into the bath", "bench set too long"
	case bench.Cure:
		e.summary, done, limit = what+": out of the bath", "curing time is up", "must be out of the bath"
		if l := s.Bench.Loads[w.Load]; l != nil {
			e.details = fmt.Sprintf("Bath %d, load %d, %s: %s.", l.Bath, l.No, l.Programme, s.stages(l))
		}
	case bench.BenchCool:
		e.summary, done, e.sequence = what+": into water", "cooled on the bench: into water", e.sequence+1
	case bench.WaterCool:
		e.summary, done, e.sequence = what+": deflask", "cooled in water: deflask", e.sequence+1
	default:
		return event{}, false
	}
	for _, m := range w.Marks {
		words := map[timers.End]string{timers.Floor: done, timers.Warning: "soon: " + limit, timers.Limit: limit}[m.End]
		if words == "" {
			continue
		}
		e.rings = append(e.rings, ring{m.After, capital(words) + s.andNamed(w.Flasks)})
		e.details = strings.TrimSpace(e.details + " " + capital(string(m.End)) + " " + s.clock(w.Start.At.Add(m.After)) + ".")
		if m.End == timers.Floor || e.lasts == 0 {
			e.lasts = m.After
		}
	}
	for _, no := range w.Flasks {
		if f := s.Bench.Flasks[no]; f != nil {
			e.details += fmt.Sprintf("\nCase %s, %s, %s, flask %d, %s.", f.Case, f.Base, f.Size, no, s.Bench.WhereWords(f))
		}
	}
	return e, e.lasts > 0
}

// coolings are what follows a cure at the earliest: on the bench, then in water.
func (s Sheet) coolings(w bench.Window, cure event) []event {
	it, _ := s.began(w)
	at := cure.start.Add(cure.lasts)
	var out []event
	for _, c := range []struct {
		what       bench.What
		s          int
		then, done string
	}{
		{bench.BenchCool, s.Bench.House.Cooling.BenchS, "into water", "Cooled on the bench"},
		{bench.WaterCool, s.Bench.House.Cooling.WaterS, "deflask", "Cooled in water"},
	} {
		if c.s <= 0 {
			continue
		}
		out = append(out, event{uid: uid(it.Action.ID, string(c.what), w.Flasks), sequence: len(it.Corrections), start: at, lasts: sec(c.s), tentative: true,
			summary: capital(string(c.what)) + s.andNamed(w.Flasks) + ": " + c.then, details: "The earliest: where the flasks come out of the bath as soon as they may. For " + units.FormatDuration(sec(c.s)) + ".",
			rings: []ring{{sec(c.s), c.done + s.andNamed(w.Flasks) + ", at the earliest"}}})
		at = at.Add(sec(c.s))
	}
	return out
}

// began finds the record that names a window for ever: its own, or of a cooling
// that of its load, so that a cooling that was to come and one that runs are the
// same event.
func (s Sheet) began(w bench.Window) (it bench.Item, step string) {
	load := w.Load
	if len(w.Flasks) > 0 && (w.What == bench.BenchCool || w.What == bench.WaterCool) {
		if f := s.Bench.Flasks[w.Flasks[0]]; f != nil {
			load = f.Load
		}
	}
	for _, it := range s.Bench.Items {
		if it.TakenBack != nil {
			continue
		}
		switch a := it.Body.(type) {
		case action.BathLoad:
			if load > 0 && a.Load == load {
				return it, string(w.What)
			}
		case action.Clamp:
			if w.What == bench.BenchSet && slices.Contains(w.Flasks, a.Flask) && it.Stamp == w.Start {
				return it, string(w.What)
			}
		}
	}
	return bench.Item{}, w.Key // a load whose record was not gathered
}

// uid names an event for ever: made of the id of a record, which may be any text,
// so that it is one word (RFC 5545, section 3.8.4.7).
func uid(id, step string, flasks []int) string {
	h := sha256.Sum256([]byte(fmt.Sprintf("%q %q %v", id, step, flasks)))
	return hex.EncodeToString(h[:16]) + "@flaskside"
}

// calendar gathers the content lines of an iCalendar object.
type calendar struct{ strings.Builder }

// foldOctets is how long a content line may be, its end left out (RFC 5545,
// section 3.1).
const foldOctets = 75

// line writes a content line, folded between characters.
func (c *calendar) line(text string) {
	room := foldOctets
	for len(text) > room {
		cut := room
		for cut > 0 && !utf8.RuneStart(text[cut]) {
			cut--
		}
		c.WriteString(text[:cut] + "\r\n ")
		text, room = text[cut:], foldOctets-1 // the space that begins it counts
	}
	c.WriteString(text + "\r\n")
}

// text writes a property of free text (RFC 5545, section 3.3.11).
func (c *calendar) text(name, value string) {
	value = strings.Map(func(r rune) rune {
		if r != '\n' && unicode.IsControl(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(value, "?"))
	c.line(name + ":" + strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(value))
}

func (c *calendar) event(e event, made time.Time) {
	c.line("BEGIN:VEVENT")
	c.line("UID:" + e.uid)
	c.line("DTSTAMP:" + utc(made))
	c.line("DTSTART:" + utc(e.start))
	c.line("DTEND:" + utc(e.start.Add(e.lasts)))
	c.line(fmt.Sprintf("SEQUENCE:%d", e.sequence))
	c.text("SUMMARY", e.summary)
	if e.details != "" {
		c.text("DESCRIPTION", e.details)
	}
	if e.tentative {
		c.line("STATUS:TENTATIVE")
	} else {
		c.line("STATUS:CONFIRMED")
	}
	c.line("TRANSP:TRANSPARENT") // a flask in the bath keeps nobody busy
	for _, r := range e.rings {
		c.line("BEGIN:VALARM")
		c.line("ACTION:DISPLAY")
		c.line("TRIGGER;RELATED=START:" + exact(r.after))
		c.text("DESCRIPTION", r.words)
		c.line("END:VALARM")
	}
	c.line("END:VEVENT")
}

// utc writes an instant as date with UTC time (RFC 5545, section 3.3.5, form 2).
func utc(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

// exact writes a length of time without days, which a clock change would stretch
// (RFC 5545, section 3.3.6: hours, minutes and seconds are exact).
func exact(d time.Duration) string {
	h, m, sec := int(d/time.Hour), int(d%time.Hour/time.Minute), int(d%time.Minute/time.Second)
	switch {
	case h > 0 && m == 0 && sec == 0:
		return fmt.Sprintf("PT%dH", h)
	case h > 0 && sec == 0:
		return fmt.Sprintf("PT%dH%dM", h, m)
	case h > 0:
		return fmt.Sprintf("PT%dH%dM%dS", h, m, sec)
	case m > 0 && sec == 0:
		return fmt.Sprintf("PT%dM", m)
	case m > 0:
		return fmt.Sprintf("PT%dM%dS", m, sec)
	}
	return fmt.Sprintf("PT%dS", sec)
}
