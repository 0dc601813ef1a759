package bench

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/timers"
)

// What a window is about.
type What string

// The windows of the bench.
const (
	DryBoth   What = "both halves drying"
	DryCast   What = "cast half drying"
	DryTeeth  What = "teeth half drying"
	Dough     What = "dough"
	Hold      What = "press hold"
	BenchSet  What = "bench set"
	Cure      What = "cure"
	BenchCool What = "bench cooling"
	WaterCool What = "water cooling"
	Own       What = "timer"
)

// Window is a running window with what it belongs to.
type Window struct {
	timers.Window
	What   What
	Flasks []int
	Mix    int
	Load   int
	Timer  int
	Label  string // of a timer of the user's own
}

// Keys name a window for ever, through restarts and exports.
func flaskKey(no int, what string) string { return fmt.Sprintf("flask/%d/%s", no, what) }

// SubjectOfKey tells which subject a window or signal key belongs to.
func SubjectOfKey(key string) (action.Subject, bool) {
	parts := strings.Split(key, "/")
	if len(parts) < 2 {
		return action.Subject{}, false
	}
	no, err := strconv.Atoi(strings.SplitN(parts[1], "#", 2)[0])
	if err != nil {
		return action.Subject{}, false
	}
	switch parts[0] {
	case "flask":
		return action.Subject{Class: 'f', No: no}, true
	case "mix":
		return action.Subject{Class: 'm', No: no}, true
	case "load":
		return action.Subject{Class: 'l', No: no}, true
	case "timer":
		return action.Subject{Class: 't', No: no}, true
	}
	return action.Subject{}, false
}

// Windows gives every running window, in the order of the places, then mixes,
// loads and timers.
func (b *Bench) Windows() []Window {
	var out []Window
	warn := b.House.Alarms.WarnS
	add := func(w Window, marks timers.Window) { w.Window = marks; out = append(out, w) }
	for p := 1; p <= 9; p++ {
		f := b.OnPlace(p)
		if f == nil {
			continue
		}
		own := []int{f.No}
		switch f.Stage {
		case Opened, Drying:
			cast, teeth := f.Halves["cast"], f.Halves["teeth"]
			dry := func(what What, name string, h *Half) {
				if h != nil {
					add(Window{What: what, Flasks: own}, timers.NewWindow(flaskKey(f.No, fmt.Sprintf("dry/%s/%d", name, h.N)), h.Coated, h.MinS, 0, h.MaxS, warn, timers.Low, timers.Medium))
				}
			}
			// Painted in one go they are one window, and one alarm.
			if cast != nil && teeth != nil && *cast == *teeth {
				dry(DryBoth, "both", cast)
				break
			}
			dry(DryCast, "cast", cast)
			dry(DryTeeth, "teeth", teeth)
		case Holding:
			if t := f.Trial(); t != nil && t.At != nil {
				add(Window{What: Hold, Flasks: own}, timers.NewWindow(flaskKey(f.No, "hold/"+strconv.Itoa(t.N)), *t.At, t.HoldAimS, 0, 0, 0, timers.Medium, timers.High))
			}
		case Set:
			if f.Clamped != nil {
				add(Window{What: BenchSet, Flasks: own}, timers.NewWindow(flaskKey(f.No, "set"), *f.Clamped, f.BenchMinS, 0, f.BenchMaxS, warn, timers.Medium, timers.Medium))
			}
		}
	}
	for _, no := range Sorted(b.Mixes) {
		m := b.Mixes[no]
		waiting := b.waitingFor(m)
		if len(waiting) == 0 || m.Stiff != nil {
			continue
		}
		key := fmt.Sprintf("mix/%d/dough", m.No)
		// The warning comes when the dough may be spent: at the low end of the estimate.
		floor, limit := int(m.Window.From/time.Second), int(m.Window.To/time.Second)
		if m.Dough != nil {
			floor = 0
		}
		w := timers.NewWindow(key, m.Made, floor, 0, limit, int((m.Window.To-m.Window.ToLow)/time.Second), timers.Low, timers.High)
		add(Window{What: Dough, Flasks: waiting, Mix: m.No}, w)
	}
	for _, no := range Sorted(b.Loads) {
		l := b.Loads[no]
		if in := b.stillIn(l); len(in) > 0 {
			add(Window{What: Cure, Flasks: in, Load: l.No}, timers.NewWindow(fmt.Sprintf("load/%d/cure", l.No), l.In, house.LengthS(l.Stages), 0, l.MaxS, warn, timers.Medium, timers.High))
		}
	}
	out = append(out, b.coolings()...)
	for _, no := range Sorted(b.Timers) {
		t := b.Timers[no]
		if t.Stopped != nil {
			continue
		}
		w := Window{What: Own, Timer: no, Label: t.Label}
		key := fmt.Sprintf("timer/%d/own", no)
		switch t.Count {
		case "up":
			add(w, timers.NewWindow(key, t.Start, 0, 0, 0, 0, timers.Silent, timers.Silent))
		case "down":
			add(w, timers.NewWindow(key, t.Start, t.AimS, 0, 0, 0, timers.Medium, timers.Medium))
		default:
			add(w, timers.NewWindow(key, t.Start, t.MinS, t.AimS, t.MaxS, min(warn, t.MaxS/4), timers.Medium, timers.High))
		}
	}
	return out
}

// coolings gathers flasks that came out of the bath, or went into the water,
// together: one window for all of them.
func (b *Bench) coolings() []Window {
	var out []Window
	type group struct {
		stage Stage
		at    int64
		s     int
	}
	seen := map[group]int{}
	for p := 1; p <= 9; p++ {
		f := b.OnPlace(p)
		if f == nil || f.Stage != Cooling && f.Stage != InWater {
			continue
		}
		at, s, what, name := f.OutBath, f.CoolS, BenchCool, "cool"
		if f.Stage == InWater {
			at, s, what, name = f.InWater, f.WaterS, WaterCool, "water"
		}
		if at == nil {
			continue
		}
		g := group{f.Stage, at.At.UnixNano(), s}
		if i, ok := seen[g]; ok {
			out[i].Flasks = append(out[i].Flasks, f.No)
			continue
		}
		seen[g] = len(out)
		out = append(out, Window{What: what, Flasks: []int{f.No}, Window: timers.NewWindow(flaskKey(f.No, name), *at, s, 0, 0, 0, timers.Low, timers.Low)})
	}
	return out
}

// waitingFor lists the flasks on the bench that still need dough of a mix.
func (b *Bench) waitingFor(m *Mix) []int {
	var out []int
	for _, n := range m.Flasks {
		if f := b.Flasks[n]; f != nil && f.Place > 0 && f.Mix == m.No && !f.ClosedForGood() && f.Stage != Finished {
			out = append(out, n)
		}
	}
	return out
}

// stillIn lists the flasks of a load that are in the bath.
func (b *Bench) stillIn(l *Load) []int {
	var out []int
	for _, n := range l.Flasks {
		if f := b.Flasks[n]; f != nil && f.Load == l.No && f.Stage == InBath {
			out = append(out, n)
		}
	}
	return out
}

// DoughLeft is the time left in a mix's dough at a moment (an estimate, pulled by
// the marks made), and whether the dough is reached: marked so, or expected by now.
func (m *Mix) DoughLeft(now timers.Now) (left time.Duration, reached bool) {
	passed := now.Since(m.Made).For
	return m.Window.To - passed, m.Dough != nil || passed >= m.Window.From
}

// Alarms surveys every signal of the bench.
func (b *Bench) Alarms(now timers.Now) []timers.Alarm {
	var sig []timers.Signal
	for _, w := range b.Windows() {
		sig = append(sig, w.Signals(now)...)
	}
	sig = append(sig, b.shortages(now)...)
	sig = append(sig, b.readingSignals(now)...)
	return timers.Survey(sig, b.Answers, now)
}
