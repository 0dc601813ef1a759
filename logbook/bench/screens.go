package bench

import (
	"time"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// Screens that join the bench and leave it. They change nothing at work; by them a person
// who comes back is told what fell due since they left.
var screens = subject{
	rules: []rule{
		on(asIs[action.Screen], func(b *Bench, a action.Screen, it *Item) {
			if it.Action.By == "" {
				return
			}
			if b.Here == nil {
				b.Here = map[string]here{}
			}
			b.Here[it.Action.By] = here{At: it.Stamp, On: a.What == action.Joined}
		}, uncorrected, kept, quiet, aside, alive(func(l *living, _ action.Screen, i int, it *Item) bool {
			for j := len(l.b.Items) - 1; j > i; j-- {
				o := &l.b.Items[j]
				if o.Body.Kind() == it.Body.Kind() && o.Action.By == it.Action.By {
					return false
				}
			}
			return it.Action.By != "" && l.now.Sub(it.Stamp.At) < hereMemory
		})),
	},
}

// hereMemory is how long it is kept at hand when somebody left.
const hereMemory = 14 * 24 * time.Hour

// here says when a person last joined the bench with a screen, or left it.
type here struct {
	At timers.Stamp
	On bool // joined
}
