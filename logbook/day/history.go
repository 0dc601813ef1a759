package day

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// heading of the bath readings, which paper draws instead.
const readings = "BATH READINGS"

// chapter is a part of the sheet that is lines of words under a heading.
type chapter struct {
	name  string
	lines []string
}

// rest writes what belongs to no flask.
func (s Sheet) rest(p *page) {
	for _, c := range s.chapters() {
		p.section(c.name)
		for _, l := range c.lines {
			p.line(2, "%s", l)
		}
	}
}

// chapters lists what belongs to no flask: instruments, bath readings, timers, lots, equipment, cautions,
// settings, clocks.
func (s Sheet) chapters() []chapter {
	var out []chapter
	part := func(name string, line func(it bench.Item) string) {
		c := chapter{name: name}
		for _, it := range s.items() {
			if it.TakenBack != nil {
				continue
			}
			if words := line(it); words != "" {
				c.lines = append(c.lines, fmt.Sprintf("%s%s  %s%s%s", s.clock(it.Stamp.At), star(it.Corrected()), by(it.Action.By), words, s.lateItem(it)))
			}
		}
		if len(c.lines) > 0 {
			out = append(out, c)
		}
	}
	if lines := s.instruments(); len(lines) > 0 {
		out = append(out, chapter{"GAUGES AND THERMOMETERS", lines})
	}
	for _, c := range []struct {
		name string
		line func(bench.Item) string
	}{
		{readings, s.readingLine},
		{"OTHER TIMERS", s.timerLine},
		{"LOTS BOOKED IN AND TAKEN OUT OF USE", s.lotLine},
		{"EQUIPMENT", s.equipmentLine},
		{"CASES: TAKEN IN, STEPS, DELIVERED", s.caseLine},
		{"OTHER DAYS SIGNED OFF", s.signOffLine},
		{"CAUTIONS SHOWN AND READ", s.cautionLine},
		{"SETTINGS AND CLOCKS", s.settingsLine},
	} {
		part(c.name, c.line)
	}
	return out
}

func (s Sheet) readingLine(it bench.Item) string {
	if a, ok := it.Body.(action.BathReading); ok {
		return strings.TrimRight(fmt.Sprintf("bath %d  %s  %s", a.Bath, units.FormatTemp(a.TempC, s.Bench.House.Units.Temperature), a.Source), " ")
	}
	return ""
}

func (s Sheet) timerLine(it bench.Item) string {
	switch a := it.Body.(type) {
	case action.TimerStart:
		return fmt.Sprintf("%s started%s", a.Label, spell{min: sec(a.MinS), max: sec(a.MaxS)}.asked()+lengthOf(a))
	case action.TimerStop:
		if t := s.Bench.Timers[a.Timer]; t != nil {
			if lasted, ok := took(t.Start, &it.Stamp); ok {
				return fmt.Sprintf("%s stopped after %s", t.Label, units.FormatDuration(lasted.For))
			}
		}
		return fmt.Sprintf("timer %d stopped", a.Timer)
	}
	return ""
}

func (Sheet) lotLine(it bench.Item) string {
	name := func(text string) string { return bench.KnownLot{Lot: text, In: &it.Stamp}.Name() }
	switch a := it.Body.(type) {
	case action.LotIn:
		words := string(a.Material) + " lot " + name(a.Lot) + " taken in"
		if a.Expiry != "" {
			words += ", to be used until " + a.Expiry
		}
		if a.Product != "" {
			words += " (" + a.Product + ")"
		}
		return words
	case action.LotOut:
		return string(a.Material) + " lot " + name(a.Lot) + " withdrawn: " + a.Reason
	}
	return ""
}

func (s Sheet) caseLine(it bench.Item) string {
	switch it.Body.(type) {
	case action.CaseIn, action.CaseOff, action.CaseDelivered, action.CaseStep:
		said := s.teller().Tell(it.Body)
		if went := s.stepWent(it.Action.ID); went != "" {
			said += "; " + went
		}
		return said + oddWords(it)
	}
	return ""
}

func (Sheet) cautionLine(it bench.Item) string {
	if a, ok := it.Body.(action.Caution); ok {
		return words.Hazard(a.Hazard)
	}
	return ""
}

func (Sheet) settingsLine(it bench.Item) string {
	switch a := it.Body.(type) {
	case action.Settings:
		words := "house settings changed"
		if a.From != "" {
			words += ": " + a.From
		}
		if len(a.Changed) > 0 {
			words += ": " + strings.Join(a.Changed, "; ")
		}
		return words
	case action.Restored:
		if a.Salvaged {
			return fmt.Sprintf("the logbook was brought together from what was left, up to record %s; records that did not fit, up to record %s, were left beside it, in %s", a.From, a.GaveUp, a.Kept)
		}
		words := fmt.Sprintf("the logbook was replaced with a backup: it goes on from record %s; dropped: up to record %s", a.From, a.GaveUp)
		if a.Kept != "" {
			words += ", which are in " + a.Kept
		}
		return words
	case action.ClockEvent:
		words := clockWords(a)
		if a.Detail != "" {
			words += ": " + a.Detail
		}
		return words
	}
	return ""
}

// clockWords say what happened to the clocks of the computer.
func clockWords(a action.ClockEvent) string {
	length := units.FormatDuration(sec(max(a.ByS, -a.ByS)))
	switch timers.ClockWhat(a.What) {
	case timers.Stepped:
		if a.ByS < 0 {
			return "clock moved back " + length
		}
		return "clock moved forward " + length
	case timers.Slept:
		return "the computer slept for " + length
	case timers.Stalled:
		return "the program did not run for " + length
	case timers.Rebooted:
		return "the computer was restarted"
	}
	return a.What + " by " + length // of a time zone, and of a kind that is not known yet
}

// lengthOf words the aim of a timer, which is the length of a count-down.
func lengthOf(a action.TimerStart) string {
	switch {
	case a.AimS == 0:
		return ""
	case a.Count == "down":
		return ", " + units.FormatDuration(sec(a.AimS))
	}
	return ", aim " + units.FormatDuration(sec(a.AimS))
}

// mended is a record that was corrected, or taken back.
type mended struct {
	title string   // when it was done, what it was, about which flask
	words []string // what was replaced by what; of one taken back, what it told
	when  string
	who   string // who did it and why, as it follows other words
}

// corrections lists every correction of what the sheet shows, and every correction
// made in the day: the old value, the new one, who, when and why.
func (s Sheet) corrections(arrow string) []mended {
	var out []mended
	for _, it := range s.Bench.Items {
		all := s.changes(it)
		for i, c := range it.Corrections {
			if !s.has(it.Stamp.At) && !s.has(c.Stamp.At) {
				continue
			}
			m := mended{title: s.title(it), when: s.clock(c.Stamp.At), who: who(c.Action)}
			for _, ch := range all[i] {
				m.words = append(m.words, fmt.Sprintf("%s %s %s %s", words.Field(ch.name), orNone(s.short(ch.name, ch.was)), arrow, orNone(s.short(ch.name, ch.is))))
			}
			if said := s.turns(it, c); said != "" {
				m.words = append(m.words, said)
			}
			out = append(out, m)
		}
	}
	return out
}

// turns says that a correction made after the final closure turned it unusual: the last
// trial counts as more flash than the house allows.
func (s Sheet) turns(it bench.Item, c record.Record) string {
	a, ok := it.Body.(action.Flash)
	first, was := it.Action.Body.(action.Flash)
	if !ok || !was || a.Grade == first.Grade {
		return ""
	}
	f := s.Bench.Flasks[a.Flask]
	if f == nil || f.SheetOut == nil || c.Stamp.At.Before(f.SheetOut.At) {
		return ""
	}
	allowed := slices.Index(action.Grades, action.Grade(s.Bench.House.Press.Grade))
	j := f.Judged()
	if len(j) == 0 || j[len(j)-1].Grade != a.Grade || *j[len(j)-1].Judged != it.Stamp || slices.Index(action.Grades, a.Grade) <= allowed {
		return ""
	}
	return "corrected after the final closure, which counts as not ready with this"
}

// takenBack lists what was taken back of the day, or in it.
func (s Sheet) takenBack() []mended {
	var out []mended
	for _, it := range s.Bench.Items {
		if it.TakenBack == nil || !s.has(it.Stamp.At) && !s.has(it.TakenBack.Stamp.At) {
			continue
		}
		m := mended{title: s.title(it), when: s.clock(it.TakenBack.Stamp.At), who: who(it.TakenBack.Action)}
		if it.Body.Kind() != "settings" {
			m.words = []string{s.teller().Tell(it.Body)}
		}
		out = append(out, m)
	}
	return out
}

// history writes the corrections and what was taken back.
func (s Sheet) history(p *page) {
	for _, part := range []struct {
		name, done string
		all        []mended
	}{{"CORRECTIONS", "corrected", s.corrections("->")}, {"UNDONE", "undone", s.takenBack()}} {
		if len(part.all) > 0 {
			p.section(part.name)
		}
		for _, m := range part.all {
			p.line(2, "%s", m.title)
			if len(m.words) > 0 {
				p.line(4, "%s", strings.Join(m.words, "; "))
			}
			p.line(4, "%s %s%s", part.done, m.when, m.who)
		}
	}
}

// short writes a corrected value as people read it: an instant as the clock shows it, a
// length of time, a pressure or a temperature with its unit.
func (s Sheet) short(name, v string) string {
	if name != "at" {
		return s.value(name, v)
	}
	t, err := time.Parse(time.RFC3339, v)
	if err != nil {
		return v
	}
	return s.clockAs(t, "15:04:05")
}

func orNone(v string) string {
	return cmp.Or(v, "(none)")
}

// title names a record: when it was done, what it was, about which flask.
func (s Sheet) title(it bench.Item) string {
	flasks, mix, load := s.subjects(it.Body)
	said := fmt.Sprintf("%s  %s%s", s.clock(it.Stamp.At), by(it.Action.By), words.Kind(it.Body.Kind()))
	switch {
	case len(flasks) > 0:
		said += s.andNamed(slices.Compact(flasks))
	case mix > 0:
		said += ", mix " + words.MixLetter(mix)
	case load > 0:
		said += fmt.Sprintf(", load %d", load)
	}
	return said + fmt.Sprintf(" (record %d)", it.Seq)
}

// who words who did something and why.
func who(a action.Action) string {
	said := ""
	if a.By != "" {
		said = " by " + a.By
	}
	if why := words.Reason(a.Why); why != "" {
		said += ": " + why
	}
	return said
}
