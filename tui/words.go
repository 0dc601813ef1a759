package tui

import (
	"fmt"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers"
)

// span writes a length of time as a bench clock shows it: 3:10, 2h40, 3d02h. What
// is over has a plus sign.
func span(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "+", -d
	}
	s := int((d + time.Second - 1) / time.Second) // a second begun is shown until it ends
	if sign != "" {
		s = int(d / time.Second)
	}
	switch {
	case s < 3600:
		return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
	case s < 48*3600:
		return fmt.Sprintf("%s%dh%02d", sign, s/3600, s%3600/60)
	}
	return fmt.Sprintf("%s%dd%02dh", sign, s/86400, s%86400/3600)
}

// sizeLetter is S, M or L.
func sizeLetter(size string) string { return strings.ToUpper(size[:min(1, len(size))]) }

// stepWords name a step on the line above the keys.
var stepWords = map[bench.Step]string{
	bench.DoCoat:    "paint separator",
	bench.DoMix:     "mix powder and liquid",
	bench.DoDough:   "mark: the dough is reached",
	bench.DoPress:   "pack, sheet in, into the press",
	bench.DoReach:   "mark: pressure reached",
	bench.DoOpen:    "open the press",
	bench.DoJudge:   "judge the flash",
	bench.DoFinal:   "FINAL CLOSURE: sheet out",
	bench.DoMetal:   "final closure: halves metal to metal",
	bench.DoClamp:   "clamp it",
	bench.DoLoad:    "into the bath",
	bench.DoUnload:  "out of the bath",
	bench.DoWater:   "into tap water",
	bench.DoDeflask: "deflask",
	bench.DoRemount: "remount check: pin opening",
	bench.DoOutcome: "outcome",
}

// Step numbers trial closures.
func (m *sight) stepText(f *bench.Flask, s bench.Step) string {
	switch s {
	case bench.DoCoat:
		switch {
		case f.Halves["cast"] == nil && f.Halves["teeth"] == nil:
			return "paint separator on the mould halves"
		case f.Halves["cast"] == nil:
			return "paint separator on the cast half"
		case f.Halves["teeth"] == nil:
			return "paint separator on the teeth half"
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
		return "mark: the dough of mix " + bench.MixLetter(f.Mix) + " is reached"
	case bench.DoReach:
		return "mark: " + m.psi(m.house().Press.PressurePSI) + " reached, hold begins"
	}
	return stepWords[s]
}

// windowWords name a window by the end that comes next, or that was reached.
func windowWords(w bench.Window, st timers.Standing) string {
	reached := st.Next == nil || st.Phase != timers.Early && st.Last != nil
	switch w.What {
	case bench.DryBoth, bench.DryCast, bench.DryTeeth:
		half := strings.TrimSuffix(string(w.What), " drying")
		switch {
		case st.Phase == timers.Over:
			return half + " TOO OLD"
		case st.Phase == timers.Open && st.Next == nil:
			return half + " DRY"
		case st.Phase == timers.Open:
			return half + ": by"
		}
		return half + " dry"
	case bench.Dough:
		l := bench.MixLetter(w.Mix)
		switch st.Phase {
		case timers.Over:
			return "dough " + l + " OVER"
		case timers.Early:
			return "dough " + l + " from"
		}
		return "dough " + l + " ends"
	case bench.Hold:
		if reached {
			return "HELD long enough"
		}
		return "press hold"
	case bench.BenchSet:
		switch {
		case st.Phase == timers.Over:
			return "bench set LONG"
		case st.Phase == timers.Open && st.Next == nil:
			return "bench set DONE"
		case st.Phase == timers.Open:
			return "set; bath by"
		}
		return "bench set"
	case bench.Cure:
		switch {
		case st.Phase == timers.Over:
			return "bath OVERDUE"
		case st.Phase == timers.Early:
			return "bath: out from"
		case st.Next == nil:
			return "bath DONE"
		}
		return "bath: out by"
	case bench.BenchCool:
		if reached {
			return "bench cool DONE"
		}
		return "bench cooling"
	case bench.WaterCool:
		if reached {
			return "water cool DONE"
		}
		return "water cooling"
	}
	switch {
	case len(w.Marks) == 0:
		return w.Label
	case st.Phase == timers.Over:
		return "OVER " + w.Label
	case st.Next == nil:
		return "DONE " + w.Label
	case st.Next.End == timers.Floor && len(w.Marks) > 1:
		return w.Label + " from"
	case st.Next.End == timers.Aim:
		return w.Label + " aim"
	case st.Next.End == timers.Limit || st.Next.End == timers.Warning:
		return w.Label + " ends"
	}
	return w.Label
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
	w, ok := m.windowByKey(key)
	if !ok {
		return strings.ToUpper(al.Key)
	}
	words := ""
	switch w.What {
	case bench.DryBoth, bench.DryCast, bench.DryTeeth:
		half := strings.ToUpper(strings.TrimSuffix(string(w.What), " drying"))
		words = map[timers.End]string{timers.Floor: half + " DRY", timers.Warning: half + ": SEPARATOR SOON TOO OLD", timers.Limit: half + ": SEPARATOR TOO OLD"}[end]
	case bench.Dough:
		words = map[timers.End]string{timers.Floor: "DOUGH EXPECTED (estimate): LOOK", timers.Warning: "DOUGH ENDS SOON (estimate)", timers.Limit: "DOUGH SPENT (estimate)"}[end] + " · mix " + bench.MixLetter(w.Mix)
	case bench.Hold:
		words = "HELD LONG ENOUGH"
	case bench.BenchSet:
		words = map[timers.End]string{timers.Floor: "BENCH SET DONE", timers.Warning: "BENCH SET SOON TOO LONG", timers.Limit: "BENCH SET TOO LONG"}[end]
	case bench.Cure:
		words = map[timers.End]string{timers.Floor: "CURE DONE: MAY COME OUT", timers.Warning: "BATH: TAKE OUT SOON", timers.Limit: "BATH OVERDUE"}[end]
	case bench.BenchCool:
		words = "COOLED ON THE BENCH"
	case bench.WaterCool:
		words = "COOLED IN WATER"
	case bench.Own:
		words = strings.ToUpper(w.Label)
		switch end {
		case timers.Warning:
			words += " ENDS SOON"
		case timers.Limit:
			words += " IS OVER"
		}
	}
	if at := m.placesOf(w); at != "" {
		words += " · place " + at
	}
	return words
}

// placesOf lists the places of a window's flasks.
func (m *sight) placesOf(w bench.Window) string {
	var ps []string
	for _, n := range w.Flasks {
		if f := m.bench().Flasks[n]; f != nil && f.Place > 0 {
			ps = append(ps, fmt.Sprint(f.Place))
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
	var out []string
	for _, s := range stages {
		t := m.temp(s.TempC) + " " + span(time.Duration(s.HoldS)*time.Second)
		if s.RampS > 0 {
			t = "ramp " + span(time.Duration(s.RampS)*time.Second) + ", " + t
		}
		out = append(out, t)
	}
	return strings.Join(out, ", ")
}

// recordWords put a record into words for a person.
func (m *sight) recordWords(body action.Body) string {
	switch a := body.(type) {
	case action.FlaskOpen:
		return fmt.Sprintf("flask opened: case %s, %s, %s, place %d", a.Case, a.Base, a.Size, a.Place)
	case action.FlaskMove:
		return fmt.Sprintf("moved to place %d", a.Place)
	case action.Coat:
		if a.Half == "both" {
			return "separator on both halves"
		}
		return "separator on the " + a.Half + " half"
	case action.MixMake:
		return fmt.Sprintf("mix %s: %.4g g powder, %.4g g liquid, %s", bench.MixLetter(a.Mix), a.PowderG, a.LiquidG, a.Resin)
	case action.MixServe:
		return "takes mix " + bench.MixLetter(a.Mix)
	case action.MixDough:
		return "dough of mix " + bench.MixLetter(a.Mix) + " reached"
	case action.MixStiff:
		return "mix " + bench.MixLetter(a.Mix) + " too stiff"
	case action.PressIn:
		if a.Added {
			return "into the press, dough added"
		}
		return "into the press"
	case action.PressAt:
		return m.psi(a.PressurePSI) + " reached"
	case action.PressOpen:
		return "press opened"
	case action.Flash:
		s := "flash " + a.Grade
		if a.Grams > 0 {
			s += fmt.Sprintf(", %.3g g", a.Grams)
		}
		if len(a.Where) > 0 {
			s += ", " + strings.Join(a.Where, ", ")
		}
		return s
	case action.FlashMore:
		s := "flash:"
		if a.Grams > 0 {
			s += fmt.Sprintf(" %.3g g", a.Grams)
		}
		return s + " " + strings.Join(a.Where, ", ")
	case action.DoughAdd:
		return "dough added"
	case action.FlaskLots:
		return strings.TrimSpace("lots: stone " + orDash(a.StoneLot) + ", sheet " + orDash(a.SheetLot))
	case action.LotIn:
		return a.Material + " lot taken in: " + m.lotName(a.Lot)
	case action.LotOut:
		return a.Material + " lot withdrawn, " + a.Reason + ": " + m.lotName(a.Lot)
	case action.Inspect:
		return "looked: the mould is full"
	case action.SheetOut:
		return "sheet out"
	case action.MetalToMetal:
		return "metal to metal at " + m.psi(a.PressurePSI)
	case action.Clamp:
		return fmt.Sprintf("clamped, backed off %.2g turn", a.BackedOffTurn)
	case action.BathLoad:
		return fmt.Sprintf("into bath %d: %s", a.Bath, a.Programme)
	case action.BathReading:
		return fmt.Sprintf("bath %d reads %s", a.Bath, m.temp(a.TempC))
	case action.BathUnload:
		return "out of the bath"
	case action.CoolWater:
		return "into tap water"
	case action.Deflask:
		return "deflasked"
	case action.Remount:
		return fmt.Sprintf("pin opening %.2f mm", a.PinMM)
	case action.Outcome:
		s := a.Outcome
		if len(a.Defects) > 0 {
			s += ": " + strings.Join(a.Defects, ", ")
		}
		return s
	case action.Note:
		return "note: " + a.Text
	case action.TimerStart:
		return "timer: " + a.Label
	case action.TimerStop:
		return fmt.Sprintf("timer %d stopped", a.Timer)
	case action.AlarmHeard:
		return "alarm heard"
	case action.AlarmShelve:
		return "alarm shelved for " + span(time.Duration(a.ForS)*time.Second)
	case action.Correct:
		return "correction of " + m.ofWords(a.Of)
	case action.TakeBack:
		return "taken back: " + m.ofWords(a.Of)
	case action.Settings:
		return "settings"
	case action.Crew:
		if a.Handover {
			return "handover read, taken over by " + a.Initials
		}
		return "at the bench: " + a.Initials
	case action.Caution:
		return "caution read: " + a.Hazard
	case action.Clock:
		return "clocks: " + a.What
	}
	return string(body.Kind())
}

// ofWords words what a record first said that another one names.
func (m *sight) ofWords(id string) string {
	if it, ok := m.bench().Item(id); ok {
		return m.recordWords(it.Action.Body)
	}
	return "an earlier record"
}
