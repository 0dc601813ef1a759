// Package dayplan brings a house's settings, the bench and a list of cases to package plan, and puts what it foretells
// into words, tables and calendars. It decides nothing: what it tells are estimates.
package dayplan

import (
	"sync"

	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/timers/dough"
	"flaskside/timers/plan"
)

// closuresKey is all of the settings that closures are foretold from.
type closuresKey struct {
	settings flash.TrendSettings
	grade    string
	least    int
}

var (
	closures     = map[closuresKey]plan.Closures{}
	closuresLock sync.Mutex
)

// closuresOf are the trial closures that a house expects of each size; remembered, for a screen asks at every key.
func closuresOf(h house.House) (plan.Closures, error) {
	k := closuresKey{h.Flash, h.Press.Grade, h.Press.MinTrials}
	closuresLock.Lock()
	defer closuresLock.Unlock()
	if c, ok := closures[k]; ok {
		return c, nil
	}
	var c plan.Closures
	for i, z := range flash.Sizes() {
		totals, err := bench.Totals(h, z)
		if err != nil {
			return c, err
		}
		sum := 0.
		for _, p := range totals {
			sum += p
		}
		for n, p := range totals {
			c[i][min(n+1, plan.MaxClosures)] += p / sum
		}
	}
	if len(closures) >= 64 {
		clear(closures)
	}
	closures[k] = c
	return c, nil
}

// doughIn is the dough of a resin in a room. How far it strays from mix to mix and from day to day are the resin's own
// spreads.
func doughIn(r dough.Resin, roomC float64) plan.DoughSpan {
	r = r.WithDefaults()
	from, to := bench.WorkingTimes(r, roomC, nil)
	d := plan.DoughSpan{DoughMin: float64(from) / 60, EndMin: float64(to) / 60}
	d.DoughMin = max(.5, min(180, d.DoughMin))
	d.EndMin = max(d.DoughMin+1, min(600, d.EndMin))
	d.DoughSDMin = min(60, r.MixLnSD*d.DoughMin)
	d.EndMixSDMin, d.EndDaySDMin = min(60, r.MixLnSD*d.EndMin), min(60, r.WorkLnSD*d.EndMin)
	return d
}

// hoursOf are the hours of the settings.
func hoursOf(p house.Planning) plan.Hours {
	hour := func(s string) float64 { m, _ := house.MinuteOf(s); return float64(m) }
	p = p.Filled()
	return plan.Hours{OpensMin: hour(p.Opens), ClosesMin: hour(p.Closes), OvertimeMin: hour(p.Overtime)}
}

// houseOf is a house as the plan sees it, in a room of so many °C; its doughs are those of the resins of the house in
// their order. Errors: settings of the trend that cannot be.
func houseOf(h house.House, roomC float64) (plan.Lab, error) {
	c, err := closuresOf(h)
	if err != nil {
		return plan.Lab{}, err
	}
	p := h.Plan.Filled()
	min := func(s int) float64 { return float64(s) / 60 }
	hour := func(s string) float64 { m, _ := house.MinuteOf(s); return float64(m) }
	out := plan.Lab{
		Hands: h.Press.Hands, Presses: h.Press.Presses, Baths: len(h.Baths), BathPlaces: p.Places,
		RaiseMin: min(h.Work.RaiseS), HoldMin: min(h.Press.HoldS), OpenMin: min(h.Work.OpenS), TrimMin: min(h.Work.TrimS), FinalMin: min(h.Work.FinalS),
		CoatMin: min(p.CoatS), DryMin: min(h.Separator.DryMinS), MixMin: min(h.Work.MixS), SetMin: min(h.BenchSet.MinS),
		BathStartMin: min(p.BathInS), BathOutMin: min(p.BathOutS), CoolMin: min(h.Cooling.BenchS + h.Cooling.WaterS),
		FinishMin: min(p.FinishS), FinishLnSD: .15, CleanMin: min(p.CleanS),
		LongMin: min(house.LengthS(h.NightProgramme().Stages)),
		Hours:   hoursOf(p), LunchMin: hour(p.Lunch), LunchForMin: min(p.LunchS),
		StartMin: hour(p.Opens), Closures: c,
		Cost: plan.Cost{Late: p.Late, TardyH: p.LateHour, TardyCap: 16, Lost: p.Lost, OverMin: p.OverHour / 60, Mix: p.PerMix, Short: p.ByDay},
	}
	if d, ok := h.DayProgramme(); ok {
		out.ShortMin = min(house.LengthS(d.Stages))
	}
	for _, r := range h.Resins {
		out.Doughs = append(out.Doughs, doughIn(r, roomC))
	}
	out.DoughSpan = out.Doughs[0]
	out.MixMin, out.FinalMin = max(out.MixMin, .1), max(out.FinalMin, .05)
	return out, out.Check()
}

// sizeOf reads a size of the book.
func sizeOf(s string) (plan.Size, bool) {
	for z := plan.Small; z <= plan.Large; z++ {
		if z.String() == s {
			return z, true
		}
	}
	return 0, false
}

// learned tells whether the work and the trend of a house are other than those it began with: typed, or taken over from
// its book.
func learned(h house.House) bool {
	d := house.Default()
	return h.Work != d.Work || h.Flash != d.Flash
}
