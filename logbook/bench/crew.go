package bench

import (
	"time"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// Who is at the bench and what they have read, the house they work under, what happened
// to the clocks.
var crew = subject{
	rules: []rule{
		on(checkSettings, func(b *Bench, a action.Settings, it *Item) {
			b.House, b.houseSet = a.House, timers.Latest(b.houseSet, it.set())
		}, uncorrected, aside, alive(func(l *living, a action.Settings, i int, it *Item) bool {
			return latest(l, a, i, it) || i == l.settingsBack
		})),
		on(asIs[action.Crew], func(b *Bench, a action.Crew, it *Item) {
			b.Crew, b.CrewAt, b.TookOver = a.Initials, it.Stamp, a.Handover
		}, uncorrected, kept, aside, alive(latest[action.Crew])),
		on(asIs[action.Caution], func(b *Bench, a action.Caution, it *Item) {
			b.Cautions[a.Hazard+" "+it.Action.By] = it.Stamp
		}, aside, alive(func(l *living, _ action.Caution, _ int, it *Item) bool { return l.now.Sub(it.Stamp.At) < cautionMemory })),
		on(asIs[action.ClockEvent], countsNothing[action.ClockEvent], uncorrected, kept, aside),
		on(asIs[action.Restored], countsNothing[action.Restored], uncorrected, kept, aside),
		on(asIs[action.Seen], func(b *Bench, _ action.Seen, it *Item) { b.Seen = it.Stamp }, uncorrected, kept, aside, alive(latest[action.Seen])),
	},
}

// Shift is how long a caution that was read counts as read (house default).
const Shift = 10 * time.Hour

// cautionMemory is how long a caution that was read is kept at hand: longer than a shift,
// for clocks are set back.
const cautionMemory = 2 * Shift

// hazards tells which caution belongs to a step.
var hazards = map[Step]string{
	DoMix: "monomer", DoPress: "press", DoFinal: "press", DoLoad: "bath", DoUnload: "bath", DoDeflask: "deflask",
}

// Hazard names the caution that belongs to a step; "" for none.
func (s Step) Hazard() string { return hazards[s] }

// CautionRead tells whether a caution was read by somebody within a [Shift].
func (b *Bench) CautionRead(hazard, by string, now timers.Now) bool {
	at, read := b.Cautions[hazard+" "+by]
	return read && now.Since(at).For < Shift
}

// latest is alive while no other record of its kind followed.
func latest[B action.Body](l *living, _ B, i int, it *Item) bool {
	return l.last[it.Action.Kind()] == i
}
