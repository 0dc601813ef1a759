package bench

import (
	"fmt"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// Timers of the user's own.
var ownTimers = subject{
	rules: []rule{
		on(func(c *checker, a action.TimerStart) (action.TimerStart, error) {
			return a, number("timer", &a.Timer, c.b.Top.Timer)
		}, applyTimerStart,
			makes(func(a action.TimerStart) action.Subject { return action.Subject{Class: 't', No: a.Timer} })),
		on(checkTimerStop, func(b *Bench, a action.TimerStop, it *Item) {
			if t := own(b, b.Timers, a.Timer, func(*Timer) {}); t != nil {
				t.Stopped = it.at()
			}
		}),
	},
	windows: ownWindows,
	lives: map[byte]func(*living, int) bool{'t': func(l *living, no int) bool {
		t := l.b.Timers[no]
		return t != nil && t.Stopped == nil
	}},
}

// Timer is one of the user's own.
type Timer struct {
	Label   string
	Count   string
	MinS    int
	AimS    int
	MaxS    int
	Start   timers.Stamp
	Stopped *timers.Stamp

	set, back timers.Stamp
}

func applyTimerStart(b *Bench, a action.TimerStart, it *Item) {
	b.Timers[a.Timer] = &Timer{Label: a.Label, Count: a.Count, MinS: a.MinS, AimS: a.AimS, MaxS: a.MaxS, Start: it.Stamp, set: it.set()}
}

func checkTimerStop(c *checker, a action.TimerStop) (action.TimerStop, error) {
	t := c.b.Timers[a.Timer]
	if t == nil || t.Stopped != nil {
		return a, fmt.Errorf("there is no timer %d running", a.Timer)
	}
	if earlier(c.at, t.Start) && !c.live {
		return a, fmt.Errorf("%s is before timer %d was started: check the time", stampText(c.at.At), a.Timer)
	}
	return a, nil
}

// TimerLabel is what a timer of the user's own is for, "" for one that is not known here.
func (b *Bench) TimerLabel(no int) string {
	if t := b.Timers[no]; t != nil {
		return t.Label
	}
	return ""
}

func ownWindows(b *Bench) []Window {
	var out []Window
	for _, no := range Sorted(b.Timers) {
		t := b.Timers[no]
		if t.Stopped != nil {
			continue
		}
		var ends timers.Ends
		switch t.Count {
		case "up":
		case "down":
			ends = timers.Ends{FloorS: t.AimS, Floor: timers.Medium}
		default:
			ends = timers.Ends{FloorS: t.MinS, AimS: t.AimS, LimitS: t.MaxS, WarnS: min(b.House.Alarms.WarnS, t.MaxS/4), Floor: timers.Medium, Limit: timers.High}
		}
		ends.Set, ends.WarnSet = timers.Latest(t.set, t.back), b.houseSet
		out = append(out, Window{What: Own, Timer: no, Label: t.Label, Window: timers.NewWindow(fmt.Sprintf("timer/%d/own", no), t.Start, ends)})
	}
	return out
}
