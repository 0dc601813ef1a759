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
		}, uncorrected, alive(func(l *living, a action.Settings, i int, it *Item) bool {
			return latest(l, a, i, it) || i == l.settingsBack
		})),
		on(asIs[action.Crew], func(b *Bench, a action.Crew, it *Item) {
			b.Crew, b.CrewAt, b.TookOver = a.Initials, it.Stamp, a.Handover
		}, uncorrected, kept, alive(latest[action.Crew])),
		on(asIs[action.Caution], func(b *Bench, a action.Caution, it *Item) {
			b.Cautions[a.Hazard+" "+it.Action.By] = it.Stamp
		}, alive(func(l *living, _ action.Caution, _ int, it *Item) bool { return l.now.Sub(it.Stamp.At) < cautionMemory })),
		on(asIs[action.Clock], countsNothing[action.Clock], uncorrected, kept),
		on(asIs[action.Restored], countsNothing[action.Restored], uncorrected, kept),
		on(asIs[action.Seen], func(b *Bench, _ action.Seen, it *Item) { b.Seen = it.Stamp }, uncorrected, kept, alive(latest[action.Seen])),
	},
}

// cautionMemory is how long a caution that was read is kept at hand: longer than a shift.
const cautionMemory = 18 * time.Hour

// latest is alive while no other record of its kind followed.
func latest[B action.Body](l *living, _ B, i int, it *Item) bool {
	return l.last[it.Action.Kind()] == i
}
