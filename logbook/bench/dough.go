package bench

import (
	"math"
	"time"

	"flaskside/timers"
	"flaskside/timers/dough"
)

// WorkingTimes are the seconds after mixing from which a resin is dough and until
// which it can be worked in a room, estimated (see package dough). jarC is the
// temperature of parts taken straight from the refrigerator; 0 for the room's.
// What cannot be estimated gives the resin's own times.
func WorkingTimes(r dough.Resin, roomC, jarC float64) (doughS, workS int) {
	r = r.WithDefaults()
	w, err := dough.Estimate(r, conditions(roomC, jarC), dough.MixMarks{})
	if err != nil {
		return int(r.DoughFromMin * 60), int(r.WorkUntilMin * 60)
	}
	return int(w.From / time.Second), int(w.To / time.Second)
}

func conditions(roomC, jarC float64) dough.Conditions {
	c := dough.Conditions{RoomC: roomC}
	if jarC != 0 {
		c.Stored = &dough.Storage{TempC: jarC}
	}
	return c
}

// DoughWindow estimates the working window of a mix: the resin's own times moved
// to the room, pulled by the marks made on this mix.
func (b *Bench) DoughWindow(m *Mix) (dough.Window, error) {
	r, ok := b.House.Resin(m.Resin)
	if !ok {
		r = dough.HouseDefault()
		r.Name, r.RefTempC = m.Resin, m.RoomC
		r.DoughFromMin, r.WorkUntilMin = float64(m.DoughS)/60, float64(m.WorkS)/60
	}
	var marks dough.MixMarks
	after := func(s *timers.Stamp) time.Duration {
		if s == nil {
			return 0
		}
		return max(time.Second, between(m.Made, *s))
	}
	marks.Dough, marks.Stiff = after(m.Dough), after(m.Stiff)
	return dough.Estimate(r.WithDefaults(), conditions(m.RoomC, m.JarC), marks)
}

// Masses are the grams of powder and liquid for a number of units of a resin, to
// a tenth of a gram.
func Masses(r dough.Resin, units float64) (powderG, liquidG float64) {
	p, err := dough.Proportion(r.WithDefaults(), dough.Request{Amount: units, In: dough.InUnits})
	if err != nil {
		return 0, 0
	}
	return tenth(p.PowderG), tenth(p.LiquidG)
}

func tenth(g float64) float64 { return math.Round(g*10) / 10 }
