package bench

import (
	"flaskside/timers"
)

// Step is something that can be done to a flask.
type Step string

// The steps of the route.
const (
	DoCoat    Step = "coat"           // paint separator on a half
	DoMix     Step = "mix"            // make a mix, or take one that stands
	DoDough   Step = "dough"          // mark the dough reached
	DoPress   Step = "press"          // pack, sheet, into the press
	DoReach   Step = "reach"          // pressure reached
	DoOpen    Step = "open"           // open the press
	DoJudge   Step = "judge"          // judge the flash
	DoFinal   Step = "final"          // sheet out, for the last time
	DoMetal   Step = "metal to metal" // close without the sheet
	DoClamp   Step = "clamp"          // clamp and back off
	DoLoad    Step = "load"           // into the bath
	DoUnload  Step = "unload"         // out of the bath
	DoWater   Step = "water"          // into tap water
	DoDeflask Step = "deflask"
	DoRemount Step = "remount"
	DoOutcome Step = "outcome"
)

// Next names the one step that comes next for a flask.
func (b *Bench) Next(f *Flask, now timers.Now) Step {
	switch f.Stage {
	case Opened:
		return DoCoat
	case Drying:
		switch m := b.MixOf(f); {
		case len(f.Halves) < 2:
			return DoCoat
		case m == nil || m.Stiff != nil:
			return DoMix
		case m.Dough == nil:
			return DoDough
		}
		return DoPress
	case InPress:
		return DoReach
	case Holding:
		return DoOpen
	case Judging:
		return DoJudge
	case Trimmed:
		if m := b.MixOf(f); m != nil && m.Dough == nil && m.Stiff == nil && f.Trial() != nil && between(f.Trial().In, m.Made) > 0 {
			return DoDough // packed anew: the new mix is not dough yet
		}
		if b.Verdict(f, now).Ready {
			return DoFinal
		}
		return DoPress
	case Sheetout:
		return DoMetal
	case Metal:
		return DoClamp
	case Set:
		return DoLoad
	case InBath:
		return DoUnload
	case Cooling:
		return DoWater
	case InWater:
		return DoDeflask
	case Open:
		return DoRemount
	}
	return DoOutcome
}

// Sure tells whether a step cannot be redone at the bench, so that it wants two
// different keys.
func (s Step) Sure() bool {
	switch s {
	case DoFinal, DoMetal, DoClamp, DoLoad, DoUnload, DoDeflask, DoOutcome:
		return true
	}
	return false
}
