package bench

import (
	"slices"

	"flaskside/logbook/action"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// What the records tell of a flask by themselves, beside what was marked as they were
// written.
const (
	PressureLowCode = "pressure-low"   // the last trial closure or the final one, under the house pressure
	OutsideCode     = "closed-outside" // finally closed outside the working time (estimate)
	cureShortCode   = "cure-short"     // curing time missing, by time or by the readings
)

// Unusual says what was out of the ordinary on each flask, in codes: what was marked when
// a step was recorded, and what the records as they count now tell. Every sheet, table and
// review, and the question for the outcome, ask this one function. What says nothing of a
// flask, such as a clock that was behind, is left out.
func (b *Bench) Unusual() map[int][]string {
	out := map[int][]string{}
	under := b.UnderPressure()
	low := b.lowPressures(under)
	for no, f := range b.Flasks {
		out[no] = b.unusualOf(f, low[no])
	}
	return out
}

// UnusualOf is [Bench.Unusual] of one flask.
func (b *Bench) UnusualOf(f *Flask) []string {
	return b.unusualOf(f, b.lowPressures(b.UnderPressure())[f.No])
}

func (b *Bench) unusualOf(f *Flask, low bool) []string {
	var out []string
	add := func(code string) {
		if !slices.Contains(out, code) {
			out = append(out, code)
		}
	}
	for _, o := range f.Oddities {
		if o.What != clockBack {
			add(o.What)
		}
	}
	if low {
		add(PressureLowCode)
	}
	if m := b.MixOf(f); m != nil && f.Metal != nil {
		if after := between(m.Made, *f.Metal); after < m.Window.From || after > m.Window.To {
			add(OutsideCode)
		}
	}
	if f.OutBath != nil && f.InBath != nil && b.LoadOf(f) != nil {
		// Also where nobody was asked: readings may be typed or corrected after it was out.
		if s, _ := b.StandingOf(f, timers.Now{}); s.Word == cure.OffTemperature {
			add(cureShortCode)
		}
	}
	return out
}

// lowPressures tells of each flask whether its last trial closure or its final one was
// under the pressure that the house asked for when it was recorded.
func (b *Bench) lowPressures(under map[string]bool) map[int]bool {
	trial, final := map[int]bool{}, map[int]bool{}
	for i := range b.Items {
		it := &b.Items[i]
		if it.TakenBack != nil {
			continue
		}
		switch a := it.Body.(type) {
		case action.PressAt:
			trial[a.Flask] = under[it.Action.ID]
		case action.MetalToMetal:
			final[a.Flask] = under[it.Action.ID]
		}
	}
	out := map[int]bool{}
	for no := range b.Flasks {
		out[no] = trial[no] || final[no]
	}
	return out
}
