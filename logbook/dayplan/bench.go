package dayplan

import (
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers"
)

// waiting are the cases on the list of a bench for which no flask is at work.
func waiting(b *bench.Bench, now timers.Now) []Entry {
	var out []Entry
	for _, k := range b.Cases() {
		size, ok := sizeOf(string(k.Size))
		if !b.WantsFlask(k) || !ok {
			continue
		}
		from, work := mouldOf(b, k, now)
		out = append(out, Entry{Case: k.Name(), Size: size, Resin: labelOf(b, k), Due: k.DueAt(), Rush: k.Rush, From: from, Prep: work})
	}
	return out
}

// busy tells of each bath that holds flasks when its programme is over, by name.
func busy(b *bench.Bench) map[string]time.Time {
	out := map[string]time.Time{}
	for _, l := range b.Loads {
		if len(b.StillIn(l)) == 0 {
			continue
		}
		over := l.In.At.Add(time.Duration(house.LengthS(l.Stages)) * time.Second)
		if name := b.BathOf(l).Name; over.After(out[name]) {
			out[name] = over
		}
	}
	return out
}
