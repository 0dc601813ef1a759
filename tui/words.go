package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// length writes a length of time in a sentence.
func length(d time.Duration) string { return units.FormatDuration(d) }

// lengthLeft is a length of time that is left or over: never more than it is.
func lengthLeft(d time.Duration) string { return units.FormatWhole(d) }

// Step numbers trial closures.
func (m *sight) stepText(f *bench.Flask, s bench.Step) string {
	switch s {
	case bench.DoCoat:
		switch cast, tooth := f.Halves[action.Cast], f.Halves[action.Teeth]; {
		case cast == nil && tooth == nil:
			return "paint separator on the mould halves"
		case cast == nil:
			return "paint separator on the " + words.Half(action.Cast)
		case tooth == nil:
			return "paint separator on the " + words.Half(action.Teeth)
		}
	case bench.DoPress:
		if n := len(f.Trials); n > 0 {
			return fmt.Sprintf("trim, new sheet, into the press: trial closure %d", n+1)
		}
		return "pack, sheet in, into the press: trial closure 1"
	case bench.DoMix:
		if x := m.bench().MixOf(f); x != nil && x.Spent(m.now) {
			if x.Stiff != nil {
				return "mix " + x.Letter() + " is too stiff: a new mix"
			}
			return "mix " + x.Letter() + " is past its working time (estimate): a new mix"
		}
	case bench.DoDough:
		return "mix " + words.MixLetter(f.Mix) + " is now dough"
	case bench.DoLoad, bench.DoUnload, bench.DoWater, bench.DoDeflask:
		if st, ok := m.flaskStanding(f); ok && st.Next != nil && st.Next.End == timers.Floor {
			return words.Step(s) + ", from " + m.instant(m.now.Wall.Add(st.Left))
		}
	case bench.DoReach:
		return "at " + m.psi(m.house().Press.PressurePSI) + ": start the hold"
	case bench.DoClamp:
		return "clamped, backed off " + action.Turns(m.house().Press.BackOffTurn) + " as the clamp's maker says"
	}
	return words.Step(s)
}

// going tells how far a timer has come.
func going(st timers.Standing) words.Going {
	switch {
	case st.Phase == timers.Over:
		return words.Past
	case st.Next == nil && st.Last == nil:
		return words.Counting
	case st.Next == nil:
		return words.NoEndLeft
	case st.Next.End == timers.Floor:
		return words.ToEarliest
	case st.Next.End == timers.Aim:
		return words.ToAim
	}
	return words.ToLatest
}

// timerWords say what the time beside a timer leads to, in so many columns.
func timerWords(w bench.Window, st timers.Standing, room int) string {
	mix, g := mixAndGoing(w, st)
	long, short := words.TimerLine(w.What, w.Label, mix, g)
	if ansi.StringWidth(long) > room {
		return short
	}
	return long
}

// timerTight is as short as that can be said.
func timerTight(w bench.Window, st timers.Standing) string {
	mix, g := mixAndGoing(w, st)
	if s := words.TimerTight(w.What, w.Label, mix, g); s != "" {
		return s
	}
	return timerWords(w, st, 0)
}

// mixAndGoing is the letter of a timer's mix, or its case, and how far it has come.
func mixAndGoing(w bench.Window, st timers.Standing) (mix string, g words.Going) {
	mix = w.Of()
	g = going(st)
	if g == words.ToEarliest && w.What == bench.Own && len(w.Marks) == 1 {
		g = words.ToAim // a count-down: its one end needs no name
	}
	return mix, g
}

// alarmWords say in capitals what an alarm wants to be known.
func (m *sight) alarmWords(al timers.Alarm) string {
	key, end := timers.SplitSignalKey(al.Key)
	if end == bench.ShortOfDough {
		return m.shortWords(key)
	}
	if end == bench.OutOfBand {
		return m.bandWords(al)
	}
	if end == bench.ProbeSilent {
		return m.silentWords(al)
	}
	if k, d, ok := m.bench().CaseOfKey(al.Key); ok && end == bench.LostPressure {
		return "PRESSURE LOST · " + k.Name() + ", " + d.Brief()
	}
	w, ok := m.windowByKey(key)
	if !ok {
		return strings.ToUpper(al.Key)
	}
	s := words.Loud(words.TimerAlarm(w.What, end, w.Label, w.Of()))
	if at := m.whereWords(w.Flasks, 0); at != "" {
		s += " · " + at
	}
	return s
}

// placesOf lists the places of a window's flasks, and the baths of those that are in one.
func (m *sight) placesOf(w bench.Window) string {
	var ps []string
	for _, n := range w.Flasks {
		if f := m.bench().Flasks[n]; f.AtWork() {
			if tag := m.tagOf(f); !slices.Contains(ps, tag) {
				ps = append(ps, tag)
			}
		}
	}
	return strings.Join(ps, " ")
}

// psi shows a pressure in the house's unit.
func (m *sight) psi(v float64) string { return units.FormatPressure(v, m.house().Units.Pressure) }

// temp shows a temperature in the house's unit.
func (m *sight) temp(c float64) string { return units.FormatTemp(c, m.house().Units.Temperature) }

// programmeWords write the stages of a programme in one line.
func (m *sight) programmeWords(stages []house.Stage) string {
	return action.Stages(stages, m.house().Units.Temperature)
}

// recordWords put a record into words for a person.
func (m *sight) recordWords(body action.Body) string {
	return action.Teller{Units: m.house().Units, Lot: m.lotName, Timer: m.bench().TimerLabel, Of: func(id string) (action.Body, bool) {
		it, ok := m.bench().Item(id)
		return it.Action.Body, ok
	}}.Tell(body)
}

// instant writes when something is, with the day where it is not today.
func (m *sight) instant(t time.Time) string { return words.Instant(t, m.now.Wall) }
