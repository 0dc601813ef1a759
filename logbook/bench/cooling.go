package bench

import (
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Cooling: on the bench, then in tap water, until the flask is opened.
var cooling = subject{
	rules: []rule{
		on(checkCoolWater, func(b *Bench, a action.CoolWater, it *Item) {
			for _, n := range a.Flasks {
				f := b.flask(n, it)
				f.InWater, f.WaterS = it.at(), a.WaterS
				f.to(InWater, it)
			}
		}, mends()),
		on(checkDeflask, func(b *Bench, a action.Deflask, it *Item) {
			for _, n := range a.Flasks {
				f := b.flask(n, it)
				f.Deflasked = it.at()
				f.to(Open, it)
			}
		}, mends()),
	},
	windows: coolings,
	next: map[FlaskStage]func(*Bench, *Flask, timers.Now) Step{
		Cooling: always(DoWater),
		InWater: always(DoDeflask),
	},
}

func checkCoolWater(c *checker, a action.CoolWater) (action.CoolWater, error) {
	orInt(&a.WaterS, c.b.House.Cooling.WaterS)
	return a, c.each(a.Flasks, func(f *Flask) {
		c.order(f, "into water", Cooling)
		c.cooled(f)
	})
}

func checkDeflask(c *checker, a action.Deflask) (action.Deflask, error) {
	return a, c.each(a.Flasks, func(f *Flask) {
		c.order(f, "deflasked", InWater)
		c.cooled(f)
	})
}

// cooled calls it unusual to go on before the cooling it was put under is done.
func (c *checker) cooled(f *Flask) {
	from, s := f.OutBath, f.CoolS
	if f.Stage == InWater {
		from, s = f.InWater, f.WaterS
	} else if f.Stage != Cooling {
		return
	}
	if from == nil {
		return
	}
	if cooled, want := c.since(*from), time.Duration(s)*time.Second; cooled < want {
		c.unusual("cool-short", "cooled %s of %s", words.Length(cooled), words.Length(want))
	}
}

// coolings gathers flasks that came out of the bath, or went into the water,
// together: one window for all of them.
func coolings(b *Bench) []Window {
	var out []Window
	type group struct {
		stage     FlaskStage
		at, since int64
		s         int
	}
	seen := map[group]int{}
	for f := range b.AtWork() {
		if f.Stage != Cooling && f.Stage != InWater {
			continue
		}
		at, s, what, name := f.OutBath, f.CoolS, BenchCool, "cool"
		if f.Stage == InWater {
			at, s, what, name = f.InWater, f.WaterS, WaterCool, "water"
		}
		if at == nil {
			continue
		}
		// A flask that came back to the others, by a taking back, is not heard since they were.
		g := group{f.Stage, at.At.UnixNano(), f.staged().At.UnixNano(), s}
		if i, ok := seen[g]; ok {
			out[i].Flasks = append(out[i].Flasks, f.No)
			continue
		}
		seen[g] = len(out)
		out = append(out, Window{What: what, Flasks: []int{f.No}, Window: timers.NewWindow(flaskKey(f.No, name), *at, timers.Ends{FloorS: s, Floor: timers.Low, Set: f.staged()})})
	}
	return out
}
