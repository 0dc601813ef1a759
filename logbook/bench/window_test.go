package bench_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers"
)

// shown writes the windows that run, each with its flasks and its ends.
func shown(p *paper) string {
	var out []string
	for _, w := range p.b.Windows() {
		var ends []string
		for _, m := range w.Marks {
			if m.End != timers.Warning {
				ends = append(ends, fmt.Sprintf("%s %s", m.End, m.After))
			}
		}
		out = append(out, fmt.Sprintf("%s %v [%s]", w.What, w.Flasks, strings.Join(ends, ", ")))
	}
	return strings.Join(out, "; ")
}

// Which windows run after each step of the route, and that they began with it.
func TestWindowsAlongTheRoute(t *testing.T) {
	const cast, teeth = "cast half drying [1] [not before 10m0s]", "teeth half drying [1] [not before 10m0s]"
	want := map[int]string{
		0: "", 1: cast, 2: cast + "; " + teeth,
		3: cast + "; " + teeth, 4: cast + "; " + teeth,
		6: "press hold [1] [not before 1m0s]", 7: "", 10: "press hold [1] [not before 1m0s]", 14: "",
		15: "bench set [1] [not before 30m0s, not after 1h0m0s]",
		16: "cure [1] [not before 9h0m0s, not after 12h0m0s]",
		17: "bench cooling [1] [not before 30m0s]", 18: "water cooling [1] [not before 15m0s]", 19: "", 20: "", 21: "",
	}
	p := newPaper(t)
	for i, s := range route {
		p.do(s.after, s.body)
		exp, ok := want[i]
		if !ok {
			continue
		}
		var others []string // the dough beside
		for _, w := range strings.Split(shown(p), "; ") {
			if !strings.HasPrefix(w, "dough [1]") {
				others = append(others, w)
			} else if floor := strings.Contains(w, "not before"); i < 3 || i > 13 || floor != (i == 3) {
				t.Errorf("step %d, %s: the dough runs as %s", i, s.body.Kind(), w)
			}
		}
		if got := strings.Join(others, "; "); got != exp {
			t.Errorf("step %d, %s: windows %q, want %q", i, s.body.Kind(), got, exp)
		}
		for _, w := range p.b.Windows() {
			if w.What == bench.Dough && len(w.Marks) > 0 && w.Marks[len(w.Marks)-1].End != timers.Limit {
				t.Errorf("step %d: the dough has no limit: %v", i, w.Marks)
			}
			if k, ok := bench.SubjectOfKey(w.Key); !ok || k.No != 1 {
				t.Errorf("the key %q names no subject", w.Key)
			}
		}
	}
}

// Halves painted in one go are one window; painted again, another with another name.
func TestDryingWindows(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, action.Coat{Flask: 1, Half: "both"})
	if got := shown(p); got != "both halves drying [1] [not before 10m0s]" {
		t.Errorf("windows %q", got)
	}
	first := p.b.Windows()[0].Key
	p.do(minute, action.Coat{Flask: 1, Half: "both", DryMinS: 300, DryMaxS: 600})
	if got := shown(p); got != "both halves drying [1] [not before 5m0s, not after 10m0s]" {
		t.Errorf("painted again: %q", got)
	}
	if again := p.b.Windows()[0].Key; again == first {
		t.Errorf("both coats are called %q: an answer to the first alarm would silence the second", first)
	}
}

// Flasks out of the bath together cool in one window, apart in two.
func TestCoolingsTogether(t *testing.T) {
	p := newPaper(t)
	for place := 1; place <= 3; place++ {
		p.do(0, open(place))
	}
	p.do(0, action.BathLoad{Flasks: []int{1, 2, 3}, Programme: "long, 9 h"}, "1")
	p.do(9*hour, action.BathUnload{Flasks: []int{3, 1}})
	if got := shown(p); got != "cure [2] [not before 9h0m0s, not after 12h0m0s]; bench cooling [1 3] [not before 30m0s]" {
		t.Errorf("windows %q", got)
	}
	p.do(minute, action.BathUnload{Flasks: []int{2}})
	if got := shown(p); got != "bench cooling [1 3] [not before 30m0s]; bench cooling [2] [not before 30m0s]" {
		t.Errorf("windows %q", got)
	}
}

func TestOwnTimers(t *testing.T) {
	p := newPaper(t)
	p.do(0, action.TimerStart{Label: "tea", Count: "down", AimS: 240})
	p.do(0, action.TimerStart{Label: "stone", Count: "up"})
	p.do(0, action.TimerStart{Label: "wax", Count: "window", MinS: 60, AimS: 120, MaxS: 600})
	if got := shown(p); got != "timer [] [not before 4m0s]; timer [] []; timer [] [not before 1m0s, aim 2m0s, not after 10m0s]" {
		t.Errorf("windows %q", got)
	}
	p.do(0, action.TimerStop{Timer: 2})
	if got := len(p.b.Windows()); got != 2 || p.b.Windows()[0].Label != "tea" {
		t.Errorf("windows %q", shown(p))
	}
}

// An alarm's life at the bench: it rises, is heard, is put snoozed and comes
// back, and goes with what it was about.
func TestAlarmsAtTheBench(t *testing.T) {
	p := newPaper(t)
	state := func() string {
		var out []string
		for _, al := range p.b.Alarms(p.now()) {
			out = append(out, al.Key+": "+string(al.State))
		}
		return strings.Join(out, "; ")
	}
	p.do(0, action.TimerStart{Label: "tea", Count: "down", AimS: 240})
	p.ck.Run(4*minute - 1)
	if got := state(); got != "" {
		t.Errorf("a nanosecond early: %s", got)
	}
	p.ck.Run(1)
	const key = "timer/1/own#not before"
	if got := state(); got != key+": unacknowledged" {
		t.Errorf("risen: %s", got)
	}
	shelf := p.do(0, action.AlarmShelve{Alarm: key, ForS: 60})
	if got := state(); got != key+": shelved" {
		t.Errorf("snoozed: %s", got)
	}
	p.ck.Run(minute)
	if got := state(); got != key+": unacknowledged" {
		t.Errorf("back from the shelf: %s", got)
	}
	p.do(0, action.AlarmHeard{Alarm: key})
	if got := state(); got != key+": acknowledged" {
		t.Errorf("heard: %s", got)
	}
	p.do(0, action.TakeBack{Of: p.recs[len(p.recs)-1].Action.ID}, "6")
	if got := state(); got != key+": unacknowledged" {
		t.Errorf("the hearing taken back: %s", got)
	}
	p.do(0, action.TakeBack{Of: shelf}, "6")
	p.do(0, action.TimerStop{Timer: 1})
	if got := state(); got != "" {
		t.Errorf("stopped: %s", got)
	}
}

// The hold that was long enough, the cure that is done: the alarms of the route, each
// at its second.
func TestAlarmsOfTheRoute(t *testing.T) {
	for _, c := range []struct {
		stage bench.FlaskStage
		after time.Duration
		key   string
	}{
		{bench.Holding, minute, "flask/1/hold/2#not before"},
		{bench.Set, 30 * minute, "flask/1/set#not before"},
		{bench.Set, 55 * minute, "flask/1/set#soon over"},
		{bench.Set, hour, "flask/1/set#not after"},
		{bench.InBath, 9 * hour, "load/1/cure#not before"},
		{bench.InBath, 12*hour - 5*minute, "load/1/cure#soon over"},
		{bench.InBath, 12 * hour, "load/1/cure#not after"},
		{bench.Cooling, 30 * minute, "flask/1/cool#not before"},
		{bench.InWater, 15 * minute, "flask/1/water#not before"},
	} {
		p := upTo(t, c.stage)
		has := func() bool {
			for _, al := range p.b.Alarms(p.now()) {
				if al.Key == c.key && al.State == timers.Unacknowledged {
					return true
				}
			}
			return false
		}
		p.ck.Run(c.after - 1)
		if has() {
			t.Errorf("%s rings a nanosecond early", c.key)
		}
		p.ck.Sleep(1)
		if !has() {
			t.Errorf("%s does not ring after %v: %+v", c.key, c.after, p.b.Alarms(p.now()))
		}
	}
}

func TestSubjectOfKey(t *testing.T) {
	for key, want := range map[string]string{"flask/3/dry/cast/1": "f3", "flask/12/hold/2#not before": "f12", "mix/4/dough#soon over": "m4", "load/2/cure": "l2", "timer/1/own": "t1",
		"": "", "flask": "", "flask/": "", "flask/x/dry": "", "oven/1/x": "", "timer/1#aim": "t1"} {
		got, ok := bench.SubjectOfKey(key)
		if ok != (want != "") || ok && got.String() != want {
			t.Errorf("%q is about %v, %v, want %q", key, got, ok, want)
		}
	}
}
