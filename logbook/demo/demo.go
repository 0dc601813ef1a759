// Package demo is an invented shift: four flasks, two mixes, one bath, three cases that wait, with case
// numbers and initials of our own. Nothing in it was measured.
package demo

import (
	"fmt"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/flash"
)

// Act is one action of the shift, with its place in time after the moment the
// demo opens; negative ones were done before.
type Act struct {
	After time.Duration
	Body  action.Body
	Say   string        // what a newcomer is told
	Due   time.Duration // of a case, after the moment the demo opens
}

// Start is the hour at which the demo opens, on the day of the reading given.
func Start(now time.Time) time.Time {
	y, m, d := now.Date()
	return time.Date(y, m, d, 14, 0, 0, 0, now.Location())
}

// Told is an action of the shift at its time, and what is said with it.
type Told struct {
	Action action.Action
	Say    string
}

// Cut cuts the shift that opens at start in two: what was done before, and what is played.
func Cut(start time.Time) (before []action.Action, played []Told) {
	for i, s := range Shift() {
		a := s.Action(i, start)
		if s.After >= 0 {
			played = append(played, Told{a, s.Say})
		} else {
			before = append(before, a)
		}
	}
	return before, played
}

// Action makes a step an action of the shift that opens at start.
func (s Act) Action(i int, start time.Time) action.Action {
	if c, ok := s.Body.(action.CaseIn); ok {
		c.Due = start.Add(s.Due).Format(time.RFC3339)
		s.Body = c
	}
	return action.Action{ID: fmt.Sprintf("demo-%03d", i), At: start.Add(s.After), By: "KT", Body: s.Body, Why: "8"}
}

// Shift gives the whole shift in order.
func Shift() []Act {
	var out []Act
	at := func(minutes float64, body action.Body, say string) {
		out = append(out, Act{After: time.Duration(minutes * float64(time.Minute)), Body: body, Say: say})
	}
	closure := func(from float64, flask int, grade action.Grade, grams float64, say string) {
		at(from, action.PressIn{Flask: flask}, say)
		at(from+0.7, action.PressAt{Flask: flask}, "pressure reached: the hold begins")
		at(from+1.8, action.PressOpen{Flask: flask}, "held long enough: open, judge the flash")
		at(from+2.0, action.Flash{Flask: flask, Grade: grade, Grams: grams}, "flash "+string(grade)+": trim, new sheet")
	}
	final := func(from float64, flask int) {
		at(from, action.SheetOut{Flask: flask}, "READY: the sheet is out, the final closure begins")
		at(from+0.7, action.MetalToMetal{Flask: flask}, "halves metal to metal")
		at(from+1.3, action.Clamp{Flask: flask}, "clamped: the bench set runs")
	}
	// This morning: two flasks from one mix, in the bath since before sunrise.
	at(-640, action.FlaskOpen{Flask: 1, Place: 1, Case: "4391", Base: "lower", Size: flash.Small}, "")
	at(-639, action.Coat{Flask: 1, Half: action.Both}, "")
	at(-638, action.FlaskOpen{Flask: 2, Place: 2, Case: "4402", Base: "partial", Size: flash.Small}, "")
	at(-637, action.Coat{Flask: 2, Half: action.Both}, "")
	at(-625, action.MixMake{Mix: 1, Flasks: []int{1, 2}, PowderLot: "P-118", LiquidLot: "L-072", RoomC: 22}, "")
	at(-615, action.MixDough{Mix: 1}, "")
	closure(-614, 1, action.HeavyFlash, 3.4, "")
	closure(-611, 2, action.HeavyFlash, 2.9, "")
	closure(-608, 1, action.SlightFlash, 0.8, "")
	closure(-605, 2, action.SlightFlash, 0.6, "")
	final(-602, 1)
	final(-600, 2)
	at(-510, action.BathLoad{Load: 1, Flasks: []int{1, 2}, Programme: "long, 9 h", BathC: 74, OffPlace: true,
		Sections: []action.Section{{Flask: 1, ThinMM: 2, ThickMM: 4}, {Flask: 2, ThinMM: 2, ThickMM: 3}}}, "")
	// What came in at noon: three cases that wait, one of them in a hurry.
	in := func(minutes float64, due time.Duration, c action.CaseIn) {
		out = append(out, Act{After: time.Duration(minutes * float64(time.Minute)), Body: c, Due: due})
	}
	in(-32, 27*time.Hour, action.CaseIn{Case: "4431", Base: "upper", Size: flash.Medium})
	in(-31, 27*time.Hour, action.CaseIn{Case: "4431", Base: "lower", Size: flash.Medium})
	in(-30, 22*time.Hour, action.CaseIn{Case: "4436", Base: "partial", Size: flash.Small, Rush: true})
	// This afternoon: two more, their separator just painted.
	at(-13, action.FlaskOpen{Flask: 3, Place: 3, Case: "4417", Base: "upper", Size: flash.Medium}, "")
	at(-12, action.Coat{Flask: 3, Half: action.Both}, "")
	at(-10, action.FlaskOpen{Flask: 4, Place: 4, Case: "4420", Base: "lower", Size: flash.Medium}, "")
	at(-9, action.Coat{Flask: 4, Half: action.Both}, "")
	// From here on it is played.
	at(1.5, action.MixMake{Mix: 2, Flasks: []int{3, 4}, PowderLot: "P-118", LiquidLot: "L-073", RoomC: 23}, "a mix for two flasks: its working time runs for both")
	at(10, action.MixDough{Mix: 2}, "the dough is reached: pack")
	closure(11, 3, action.HeavyFlash, 6.9, "first trial closure, with the sheet")
	closure(13.5, 4, action.HeavyFlash, 7.8, "while one is trimmed the other goes in")
	closure(16, 3, action.HeavyFlash, 2.1, "second trial closure")
	closure(18.5, 4, action.HeavyFlash, 2.6, "")
	closure(21, 3, action.SlightFlash, 0.6, "third trial closure")
	closure(23.5, 4, action.SlightFlash, 0.7, "")
	final(26, 3)
	final(28.5, 4)
	at(33, action.BathUnload{Flasks: []int{1, 2}}, "the cure is done: out of the bath, cool on the bench")
	at(61, action.BathLoad{Load: 2, Flasks: []int{3, 4}, Programme: "long and boil", BathC: 73.5, OffPlace: true,
		Sections: []action.Section{{Flask: 3, ThinMM: 2, ThickMM: 5}, {Flask: 4, ThinMM: 2, ThickMM: 4}}}, "bench set time is up: into the bath, out tomorrow")
	at(64, action.CoolWater{Flasks: []int{1, 2}}, "cooled on the bench: now tap water")
	at(80, action.Deflask{Flasks: []int{1, 2}}, "cool: deflask")
	at(84, action.Remount{Flask: 1, PinMM: 0.3}, "back on the articulator: pin opening")
	at(85, action.Outcome{Flask: 1, Outcome: "finished here"}, "outcome: the place is free")
	at(88, action.Remount{Flask: 2, PinMM: 0.6}, "")
	at(89, action.Outcome{Flask: 2, Outcome: "adjusted"}, "")
	return out
}
