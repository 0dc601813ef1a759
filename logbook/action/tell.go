package action

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// Teller puts what was recorded into words for a person.
type Teller struct {
	Units house.Units
	Lot   func(text string) string     // names a lot; nil: as it was typed
	Of    func(id string) (Body, bool) // finds what a correction or an undoing is about; nil: not known
	Timer func(no int) string          // what a timer is for, as it stands on the screen, "" where nobody knows; nil: not known
	Full  bool                         // also the values the step was done under, as an audit wants them
}

func (t Teller) psi(v float64) string  { return units.FormatPressure(v, t.Units.Pressure) }
func (t Teller) temp(c float64) string { return units.FormatTemp(c, t.Units.Temperature) }
func (t Teller) lot(text string) string {
	if t.Lot == nil {
		return text
	}
	return t.Lot(text)
}

// timer names a timer behind what is told of it.
func (t Teller) timer(no int) string {
	if t.Timer == nil || t.Timer(no) == "" {
		return ""
	}
	return ": " + t.Timer(no)
}

func length(s int) string { return units.FormatDuration(time.Duration(s) * time.Second) }

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// turns words how far a clamp was backed off.
func turns(v float64) string {
	switch v {
	case 0.25:
		return "1/4 turn"
	case 0.5:
		return "1/2 turn"
	case 0.75:
		return "3/4 turn"
	case 1:
		return "1 turn"
	}
	return plainNumber(v) + " turns"
}

// Turns words how far a clamp was backed off: 1/4 turn, 1 turn, 2 turns.
func Turns(v float64) string { return turns(v) }

// bounds adds the ends that a step was done under.
func (t Teller) bounds(what string, least, most int) string {
	s := ""
	if t.Full && least > 0 {
		s += ", " + what + " at least " + length(least)
	}
	if t.Full && most > 0 {
		if s == "" {
			s = ", " + what
		} else {
			s += ","
		}
		s += " at most " + length(most)
	}
	return s
}

// Stages words a programme: "74 °C for 9 h", "74 °C for 1 h 30 min, 30 min up to 100 °C,
// hold 1 h".
func Stages(stages []house.Stage, u units.TempUnit) string {
	var out []string
	at := 0.0
	for _, s := range stages {
		temp := units.FormatTemp(s.TempC, u)
		if s.RampS == 0 {
			out = append(out, temp+" for "+length(s.HoldS))
		} else {
			way := " up to "
			if s.TempC < at {
				way = " down to "
			}
			out = append(out, length(s.RampS)+way+temp+", hold "+length(s.HoldS))
		}
		at = s.TempC
	}
	return strings.Join(out, ", ")
}

// what names the record that another one is about.
func (t Teller) what(id string) string {
	if t.Of != nil {
		if b, ok := t.Of(id); ok {
			return t.Tell(b)
		}
	}
	return "an earlier record"
}

// Tell puts a record into words.
func (t Teller) Tell(body Body) string { return body.tell(t) }

// numbered adds which press it was.
func (t Teller) numbered(s string, press int) string {
	if t.Full && press > 0 {
		return fmt.Sprintf("%s %d", s, press)
	}
	return s
}

func (a FlaskOpen) tell(t Teller) string {
	s := fmt.Sprintf("flask opened: case %s, %s, %s, place %d", a.Case, a.Base, a.Size, a.Place)
	if a.Tag != "" && t.Full {
		s += ", tag " + a.Tag
	}
	return s
}
func (a FlaskMove) tell(Teller) string { return fmt.Sprintf("moved to place %d", a.Place) }
func (a Coat) tell(t Teller) string {
	s := "separator on the " + words.Half(a.Half)
	if a.Half == Both {
		s = "separator on both halves"
	}
	if a.Lot != "" && t.Full {
		s += ", lot " + t.lot(a.Lot)
	}
	return s + t.bounds("drying", a.DryMinS, a.DryMaxS)
}
func (a FlaskLots) tell(t Teller) string {
	var out []string
	if a.StoneLot != "" {
		out = append(out, "stone "+t.lot(a.StoneLot))
	}
	if a.SheetLot != "" {
		out = append(out, "sheet "+t.lot(a.SheetLot))
	}
	return "lots: " + strings.Join(out, ", ")
}
func (a Note) tell(Teller) string { return "note: " + a.Text }
func (a MixMake) tell(t Teller) string {
	s := fmt.Sprintf("mix %s: %.4g g powder, %.4g g liquid, %s", words.MixLetter(a.Mix), a.PowderG, a.LiquidG, a.Resin)
	if !t.Full {
		return s
	}
	for _, l := range LotsUsed(a) {
		if l.Lot != "" {
			s += ", " + string(l.Material) + " lot " + t.lot(l.Lot)
		}
	}
	if a.RoomC != 0 {
		s += ", room " + t.temp(a.RoomC)
	}
	if a.JarC != nil {
		s += ", powder and liquid at " + t.temp(*a.JarC)
	}
	if a.DoughS > 0 || a.WorkS > 0 {
		s += fmt.Sprintf(", dough expected after %s, workable for %s (estimates)", length(a.DoughS), length(a.WorkS))
	}
	return s
}
func (a MixServe) tell(Teller) string { return "takes mix " + words.MixLetter(a.Mix) }
func (a MixDough) tell(Teller) string { return "mix " + words.MixLetter(a.Mix) + " is now dough" }
func (a MixStiff) tell(Teller) string { return "mix " + words.MixLetter(a.Mix) + " too stiff" }
func (DoughAdd) tell(Teller) string   { return "dough added" }
func (a PressIn) tell(t Teller) string {
	s := t.numbered("into the press", a.Press)
	if a.Added {
		s += ", dough added"
	}
	return s
}
func (a PressAt) tell(t Teller) string {
	s := "pressure reached: " + t.psi(a.PressurePSI)
	if a.HoldS > 0 && t.Full {
		s += ", hold " + length(a.HoldS)
	}
	return t.doubted(s, a.Doubts)
}
func (PressOpen) tell(Teller) string { return "press opened" }
func (a Flash) tell(Teller) string {
	s := "flash " + string(a.Grade)
	if a.Grams > 0 {
		s += fmt.Sprintf(", %.3g g", a.Grams)
	}
	if len(a.Where) > 0 {
		s += ", " + strings.Join(a.Where, ", ")
	}
	return s
}
func (a FlashMore) tell(Teller) string {
	s := "flash:"
	if a.Grams > 0 {
		s += fmt.Sprintf(" %.3g g", a.Grams)
	}
	return strings.TrimSpace(s + " " + strings.Join(a.Where, ", "))
}
func (Inspect) tell(Teller) string  { return "opened and checked: mould is full" }
func (SheetOut) tell(Teller) string { return "sheet out" }
func (a MetalToMetal) tell(t Teller) string {
	return t.doubted(t.numbered("metal to metal at "+t.psi(a.PressurePSI)+map[bool]string{true: ", press"}[t.Full && a.Press > 0], a.Press), a.Doubts)
}
func (a Clamp) tell(t Teller) string {
	s := "clamped, backed off " + turns(a.BackedOffTurn)
	if a.Clamp != "" {
		s += ", clamp " + a.Clamp
	}
	return s + t.bounds("bench set", a.BenchMinS, a.BenchMaxS)
}
func (a BathLoad) tell(t Teller) string {
	s := fmt.Sprintf("into bath %d: %s", a.Bath, a.Programme)
	if !t.Full {
		return s
	}
	if a.OffPlace {
		s += ", off their places"
	}
	if len(a.Stages) > 0 {
		s += " (" + Stages(a.Stages, t.Units.Temperature) + ")"
	}
	if a.BathC != 0 {
		s += ", bath at " + t.temp(a.BathC)
	}
	for _, x := range a.Sections {
		s += fmt.Sprintf(", flask %d %s to %s mm thick", x.Flask, plainNumber(x.ThinMM), plainNumber(x.ThickMM))
	}
	if a.MaxS > 0 {
		s += ", at most " + length(a.MaxS)
	}
	return t.doubted(s, a.Doubts)
}
func (a BathReading) tell(t Teller) string {
	s := fmt.Sprintf("bath %d reads %s", a.Bath, t.temp(a.TempC))
	if a.Source != "" && t.Full {
		s += ", " + a.Source
	}
	return s
}
func (a BathUnload) tell(t Teller) string {
	s := "out of the bath"
	if t.Full && len(a.Places) > 0 {
		var at []string
		for i, p := range a.Places {
			if p == 0 {
				at = append(at, fmt.Sprintf("flask %d on no place", a.Flasks[i]))
			} else {
				at = append(at, fmt.Sprintf("flask %d on place %d", a.Flasks[i], p))
			}
		}
		s += ", " + strings.Join(at, ", ")
	}
	return s + t.bounds("cooling on the bench", a.BenchS, 0)
}
func (a CoolWater) tell(t Teller) string {
	return "into tap water" + t.bounds("cooling in water", a.WaterS, 0)
}
func (Deflask) tell(Teller) string   { return "deflasked" }
func (a Remount) tell(Teller) string { return "pin opening " + units.FormatLength(a.PinMM) }
func (a Outcome) tell(Teller) string {
	s := words.Outcome(a.Outcome)
	if len(a.Defects) > 0 {
		s += ": " + strings.Join(words.Defects(a.Defects), ", ")
	}
	return s
}
func (a LotIn) tell(t Teller) string {
	s := string(a.Material) + " lot booked in: " + t.lot(a.Lot)
	if a.Expiry != "" && t.Full {
		s += ", use by " + a.Expiry
	}
	return s
}
func (a LotOut) tell(t Teller) string {
	return string(a.Material) + " lot taken out of use, " + a.Reason + ": " + t.lot(a.Lot)
}
func (a TimerStart) tell(t Teller) string {
	s := "timer: " + a.Label
	if t.Full {
		if a.AimS > 0 {
			s += ", " + length(a.AimS)
		}
		s += t.bounds("", a.MinS, a.MaxS)
	}
	return strings.ReplaceAll(s, ",  at", ", at")
}
func (a TimerStop) tell(t Teller) string { return "timer stopped" + t.timer(a.Timer) }
func (a AlarmShelve) tell(Teller) string { return "alarm snoozed for " + length(a.ForS) }
func (a Correct) tell(t Teller) string {
	s := "correction of " + t.what(a.Of)
	if t.Of == nil {
		return s
	}
	body, known := t.Of(a.Of)
	if !known {
		return s
	}
	is, at, err := Amend(body, time.Time{}, a.Set)
	if err != nil {
		return s
	}
	if said := t.Tell(is); said != t.Tell(body) {
		s += ": now " + said
	}
	if !at.IsZero() {
		s += ", done " + at.Format("Mon 2 Jan 15:04 (UTC-07:00)") // the record may be shown in another zone, and on another day
	}
	return s
}
func (a TakeBack) tell(t Teller) string {
	s := "undone: " + t.what(a.Of)
	for _, no := range a.NoPlace {
		if t.Full {
			s += fmt.Sprintf(", flask %d then on no place", no)
		}
	}
	return s
}
func (a Settings) tell(t Teller) string {
	if a.From != "" && t.Full {
		return "settings: " + a.From
	}
	return "settings"
}
func (a Crew) tell(Teller) string {
	if a.Handover {
		return "handover read, taken over by " + a.Initials
	}
	return "at the bench: " + a.Initials
}
func (a Caution) tell(Teller) string { return "caution read: " + words.Hazard(a.Hazard) }
func (a Restored) tell(Teller) string {
	if a.Salvaged {
		return "the logbook was brought together from what was left, up to record " + a.From
	}
	return "a backup was put in the place of the logbook, after record " + a.From
}
func (a ClockEvent) tell(t Teller) string {
	s := "computer clock: " + a.What
	if a.ByS != 0 && t.Full {
		s += " by " + length(max(a.ByS, -a.ByS))
	}
	if a.Detail != "" && t.Full {
		s += " (" + a.Detail + ")"
	}
	return s
}
func (a AlarmHeard) tell(Teller) string { return words.Kind(a.Kind()) }
func (a Seen) tell(Teller) string       { return words.Kind(a.Kind()) }
