package bench

import (
	"math"
	"slices"
	"sync"
	"time"

	"flaskside/timers"
	"flaskside/timers/dough"
)

// WorkingTimes are the seconds after mixing from which a resin is dough and until
// which it can be worked in a room, estimated (see package dough). jarC is the
// temperature of parts taken straight from the refrigerator; nil for the room's.
// What cannot be estimated gives the resin's own times.
func WorkingTimes(r dough.Resin, roomC float64, jarC *float64) (doughS, workS int) {
	r = r.WithDefaults()
	c := dough.Conditions{RoomC: roomC}
	if jarC != nil {
		c.Stored = &dough.Storage{TempC: *jarC}
	}
	w, err := dough.Estimate(r, c, dough.MixMarks{})
	if err != nil {
		return int(r.DoughFromMin * 60), int(r.WorkUntilMin * 60)
	}
	return int(w.From.Round(time.Second) / time.Second), int(w.To.Round(time.Second) / time.Second)
}

// estimate works out the window of a mix from the times it was recorded with, which
// are those of its resin in its room, and from the marks made on it since. What
// cannot be estimated keeps the recorded times.
func (m *Mix) estimate() {
	after := func(s *timers.Stamp) time.Duration {
		if s == nil {
			return 0
		}
		return max(time.Second, timers.Elapsed(m.Made, *s))
	}
	m.Window = windows.of(mixTimes{
		roomC: m.RoomC, dough: time.Duration(m.DoughS) * time.Second, work: time.Duration(m.WorkS) * time.Second,
		marks: dough.MixMarks{Dough: after(m.Dough), Stiff: after(m.Stiff)},
	})
}

// mixTimes is all that the window of a mix rests on.
type mixTimes struct {
	roomC       float64
	dough, work time.Duration
	marks       dough.MixMarks
}

func (t mixTimes) window() dough.WorkingTime {
	r := dough.HouseDefault()
	r.RefTempC, r.DoughFromMin, r.WorkUntilMin = t.roomC, t.dough.Minutes(), t.work.Minutes()
	w, err := dough.Estimate(r, dough.Conditions{RoomC: t.roomC}, t.marks)
	if err != nil {
		w = dough.WorkingTime{From: t.dough, FromLow: t.dough, FromHigh: t.dough, To: t.work, ToLow: t.work, ToHigh: t.work}
	}
	for _, t := range []*time.Duration{&w.From, &w.FromLow, &w.FromHigh, &w.To, &w.ToLow, &w.ToHigh} {
		*t = t.Round(time.Second) // an estimate has no finer parts
	}
	return w
}

// windowMemo keeps windows worked out before: each record folds the bench anew, and
// the windows of its mixes would be most of the work.
type windowMemo struct {
	mu sync.Mutex
	m  map[mixTimes]dough.WorkingTime
}

var windows = windowMemo{m: map[mixTimes]dough.WorkingTime{}}

func (k *windowMemo) of(t mixTimes) dough.WorkingTime {
	k.mu.Lock()
	defer k.mu.Unlock()
	w, ok := k.m[t]
	if !ok {
		w = t.window()
		if len(k.m) >= memoSize {
			clear(k.m)
		}
		k.m[t] = w
	}
	w.Cautions = slices.Clone(w.Cautions)
	return w
}

// Masses are the grams of powder and liquid for a number of units of a resin, to
// a tenth of a gram; zero where they cannot be worked out.
func Masses(r dough.Resin, units float64) (powderG, liquidG float64) {
	p, err := dough.Proportion(r.WithDefaults(), dough.Request{Amount: units, In: dough.InUnits})
	if err != nil {
		return 0, 0
	}
	return tenth(p.PowderG), tenth(p.LiquidG)
}

func tenth(g float64) float64 { return math.Round(g*10) / 10 }

// Marks lists the marks made on the mixes of a resin, oldest mix first, as package
// dough fits them.
func (b *Bench) Marks(resin string) []dough.Mark {
	var out []dough.Mark
	for _, no := range Sorted(b.Mixes) {
		m := b.Mixes[no]
		if m.Resin != resin {
			continue
		}
		c := dough.Conditions{RoomC: m.RoomC}
		if m.JarC != nil {
			c.Stored = &dough.Storage{TempC: *m.JarC}
		}
		for _, k := range []struct {
			kind dough.MarkKind
			at   *timers.Stamp
		}{{dough.DoughReached, m.Dough}, {dough.TooStiff, m.Stiff}} {
			if k.at != nil {
				out = append(out, dough.Mark{Kind: k.kind, Minutes: timers.Elapsed(m.Made, *k.at).Minutes(), Conditions: c})
			}
		}
	}
	return out
}
