package day

import (
	"fmt"
	"slices"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
)

// rest writes what belongs to no flask: bath readings, timers, cautions, settings,
// clocks.
func (s Sheet) rest(p *page) {
	part := func(name string, line func(it bench.Item) string) {
		begun := false
		for _, it := range s.items() {
			if it.TakenBack != nil {
				continue
			}
			words := line(it)
			if words == "" {
				continue
			}
			if !begun {
				p.section(name)
				begun = true
			}
			p.line(2, "%s%s  %s%s", s.clock(it.Stamp.At), star(it.Corrected()), by(it.Action.By), words)
		}
	}
	part("BATH READINGS", func(it bench.Item) string {
		if a, ok := it.Body.(action.BathReading); ok {
			return strings.TrimRight(fmt.Sprintf("bath %d  %s  %s", a.Bath, units.FormatTemp(a.TempC, s.Bench.House.Units.Temperature), a.Source), " ")
		}
		return ""
	})
	part("OTHER TIMERS", func(it bench.Item) string {
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
	})
	part("CAUTIONS SHOWN AND READ", func(it bench.Item) string {
		if a, ok := it.Body.(action.Caution); ok {
			return a.Hazard
		}
		return ""
	})
	part("SETTINGS AND CLOCKS", func(it bench.Item) string {
		switch a := it.Body.(type) {
		case action.Settings:
			if a.From == "" {
				return "house settings changed"
			}
			return "house settings changed: " + a.From
		case action.Clock:
			words := fmt.Sprintf("%s by %s", a.What, units.FormatDuration(sec(a.ByS)))
			if a.Detail != "" {
				words += ": " + a.Detail
			}
			return words
		}
		return ""
	})
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

// history writes every correction of what the sheet shows, and every correction
// made in the day: the old value, the new one, who, when and why.
func (s Sheet) history(p *page) {
	titled := false
	for _, it := range s.Bench.Items {
		all := s.changes(it)
		for i, c := range it.Corrections {
			if !s.has(it.Stamp.At) && !s.has(c.Stamp.At) {
				continue
			}
			if !titled {
				p.section("CORRECTIONS")
				titled = true
			}
			var words []string
			for _, ch := range all[i] {
				words = append(words, fmt.Sprintf("%s %s -> %s", ch.name, orNone(ch.was), orNone(ch.is)))
			}
			p.line(2, "%s", s.title(it))
			p.line(4, "%s", strings.Join(words, "; "))
			p.line(4, "corrected %s%s", s.clock(c.Stamp.At), who(c.Action))
		}
	}
	titled = false
	for _, it := range s.Bench.Items {
		if it.TakenBack == nil || !s.has(it.Stamp.At) && !s.has(it.TakenBack.Stamp.At) {
			continue
		}
		if !titled {
			p.section("TAKEN BACK")
			titled = true
		}
		p.line(2, "%s", s.title(it))
		if words := s.told(it.Body); words != "" && it.Body.Kind() != "settings" {
			p.line(4, "%s", words)
		}
		p.line(4, "taken back %s%s", s.clock(it.TakenBack.Stamp.At), who(it.TakenBack.Action))
	}
}

func orNone(v string) string {
	if v == "" {
		return "(none)"
	}
	return v
}

// title names a record: when it was done, what it was, about which flask.
func (s Sheet) title(it bench.Item) string {
	flasks, mix, load := s.subjects(it.Body)
	words := fmt.Sprintf("%s  %s%s", s.clock(it.Stamp.At), by(it.Action.By), it.Body.Kind())
	switch {
	case len(flasks) > 0:
		words += " of flask " + strings.ReplaceAll(list(slices.Compact(flasks)), " ", ", ")
	case mix > 0:
		words += " of mix " + bench.MixLetter(mix)
	case load > 0:
		words += fmt.Sprintf(" of load %d", load)
	}
	return words + fmt.Sprintf(" (record %d)", it.Seq)
}

// who words who did something and why.
func who(a action.Action) string {
	words := ""
	if a.By != "" {
		words = " by " + a.By
	}
	if why := action.ReasonWords(a.Why); why != "" {
		words += ": " + why
	}
	return words
}
