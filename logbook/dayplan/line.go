package dayplan

import (
	"fmt"
	"math"
	"time"

	"flaskside/logbook/timeline"
	"flaskside/timers/plan"
)

// Line is the plan as a time line, with what stands before its rows: a mix from its first mould over its start, which is the
// earliest of its bar, to its last closure; a bath with its loads, and what is in it now.
func (d *Day) Line() (l timeline.DayBars, labels []string) {
	h := &d.Made.House
	base := float64(d.today()) * plan.Day
	from, to := base+math.Floor(d.open().OpensMin/60)*60, base+math.Ceil(d.open().OvertimeMin/60)*60
	if now := d.minutes(d.Question.Now); now > from && now < to-60 {
		from = max(from, 60*math.Floor(now/60)-60)
	}
	l = timeline.DayBars{From: d.instant(from), To: d.instant(to), Now: d.Question.Now}
	add := func(kind timeline.Owner, label string, bars []timeline.Bar) {
		if len(bars) > 0 {
			l.Rows = append(l.Rows, timeline.Row{Kind: kind, Label: label, Bars: bars})
			labels = append(labels, label)
		}
	}
	at := func(min float64) time.Time { return d.instant(min) }
	for _, x := range d.Show().Mixes {
		t := d.Made.Mixes[x.index]
		if !x.Today || math.IsNaN(t.Start.Middle) {
			continue
		}
		closed, coat := t.Closed.Middle, t.Coat.Middle
		if math.IsNaN(closed) {
			closed = t.Start.Middle
		}
		if math.IsNaN(coat) {
			coat = t.Start.Middle
		}
		add(timeline.Flask, fmt.Sprintf("mix %d", x.No), []timeline.Bar{{From: at(coat), Earliest: at(t.Start.Middle), Latest: at(closed), To: at(closed)}})
	}
	for b, name := range d.Baths {
		var bars []timeline.Bar
		if b < len(h.BathFreeMin) && h.BathFreeMin[b] > from {
			free := at(h.BathFreeMin[b])
			bars = append(bars, timeline.Bar{From: l.From, Earliest: free, To: free})
		}
		for j, x := range d.Made.Plan.Loads {
			if t := d.Made.Loads[j]; x.Bath == b && t.In.Middle < to {
				out := at(d.out(t, x.Long))
				bars = append(bars, timeline.Bar{From: at(t.In.Middle), Earliest: at(t.In.Middle), Latest: out, To: out})
			}
		}
		add(timeline.Bath, name, bars)
	}
	return l, labels
}

// LineKey says what the signs of the time line mean.
const LineKey = "─ painted, drying · ┣━┫ mix to closed, bath in to out"
