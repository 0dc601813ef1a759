package bench

import (
	"fmt"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Separator on the mould halves: painted, drying, too old.
var separator = subject{
	rules:   []rule{on(checkCoat, applyCoat, mends("half", "lot"))},
	ofFlask: dryings,
	next: map[FlaskStage]func(*Bench, *Flask, timers.Now) Step{
		Opened: always(DoCoat),
		Drying: afterDrying,
	},
}

// half is the separator on one mould half.
type half struct {
	N      int // which coat, from 1
	Coated timers.Stamp
	MinS   int
	MaxS   int
	Lot    string
	set    timers.Stamp
}

func checkCoat(c *checker, a action.Coat) (action.Coat, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	h := c.b.House
	orInt(&a.DryMinS, h.Separator.DryMinS)
	orInt(&a.DryMaxS, h.Separator.DryMaxS)
	a.Lot = c.lot(action.Separator, a.Lot)
	c.order(f, "separator", Opened, Drying)
	return a, nil
}

func applyCoat(b *Bench, a action.Coat, it *Item) {
	f := b.flask(a.Flask, it)
	if cast, teeth := f.Halves[action.Cast], f.Halves[action.Teeth]; cast != nil && teeth != nil && *cast == *teeth {
		cast.set, teeth.set = it.set(), it.set() // from now on two windows, unless both are painted anew
	}
	for _, h := range action.EachHalf {
		if a.Half.Covers(h) {
			n := 1
			if old := f.Halves[h]; old != nil {
				n = old.N + 1
			}
			f.Halves[h] = &half{N: n, Coated: it.Stamp, MinS: a.DryMinS, MaxS: a.DryMaxS, Lot: a.Lot, set: it.set()}
		}
	}
	if f.Stage == Opened {
		f.to(Drying, it)
	}
}

// separatorDry calls it unusual to pack on separator that is wet, too old, or not there.
func (c *checker) separatorDry(f *Flask) {
	for _, name := range action.EachHalf {
		half := f.Halves[name]
		if half == nil {
			c.unusual("no-separator", "no separator recorded on the %s half", name)
			continue
		}
		dried := c.since(half.Coated)
		if dried < time.Duration(half.MinS)*time.Second {
			c.unusual("separator-wet", "separator on the %s half has dried %s of %s", name, words.Length(dried), words.Length(time.Duration(half.MinS)*time.Second))
		}
		if half.MaxS > 0 && dried > time.Duration(half.MaxS)*time.Second {
			c.unusual("separator-old", "separator on the %s half was painted %s ago, limit %s", name, words.Length(dried), words.Length(time.Duration(half.MaxS)*time.Second))
		}
	}
}

// dryings gives the windows of the halves; painted in one go they are one window, and one
// alarm.
func dryings(b *Bench, f *Flask) []Window {
	if f.Stage != Opened && f.Stage != Drying {
		return nil
	}
	var out []Window
	dry := func(what What, name action.Half, h *half) {
		if h == nil {
			return
		}
		ends := timers.Ends{FloorS: h.MinS, LimitS: h.MaxS, WarnS: b.House.Alarms.WarnS, Floor: timers.Low, Limit: timers.Medium, Set: timers.Latest(h.set, f.back), WarnSet: b.houseSet}
		out = append(out, Window{What: what, Flasks: []int{f.No}, Window: timers.NewWindow(flaskKey(f.No, fmt.Sprintf("dry/%s/%d", name, h.N)), h.Coated, ends)})
	}
	cast, teeth := f.Halves[action.Cast], f.Halves[action.Teeth]
	if cast != nil && teeth != nil && *cast == *teeth {
		dry(DryBoth, action.Both, cast)
		return out
	}
	dry(DryCast, action.Cast, cast)
	dry(DryTeeth, action.Teeth, teeth)
	return out
}

// afterDrying is the step that follows while separator dries: what is wanting for packing.
func afterDrying(b *Bench, f *Flask, now timers.Now) Step {
	switch m := b.MixOf(f); {
	case len(f.Halves) < 2:
		return DoCoat
	case m == nil || m.Spent(now):
		return DoMix
	case m.Dough == nil:
		return DoDough
	}
	return DoPress
}
