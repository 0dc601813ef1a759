package tui

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/demo"
	"flaskside/logbook/keep"
	"flaskside/timers"
)

// TestNotices: the three control sequences by which terminals notify, as their own
// documents have them (OSC 9 and 777: invisible-island.net's xterm list and rxvt's
// extension; OSC 99: the desktop notification protocol; from memory), and nothing of an
// alarm's words that could be taken for a command.
func TestNotices(t *testing.T) {
	for _, c := range []struct {
		set      Notify
		terminal string
		want     string
	}{
		{"", "", "\x1b]9;flaskside: a;b\a"},
		{"auto", "xterm(388)", "\x1b]9;flaskside: a;b\a"},
		{"auto", "kitty(0.40.0)", "\x1b]99;;flaskside: a;b\a"},
		{"auto", "foot(1.20.0)", "\x1b]777;notify;flaskside;a,b\a"},
		{"auto", "tmux 3.5a", "\x1bPtmux;\x1b\x1b]9;flaskside: a;b\a\x1b\\"},
		{"99", "xterm(388)", "\x1b]99;;flaskside: a;b\a"},
		{"777", "", "\x1b]777;notify;flaskside;a,b\a"},
		{"none", "kitty", ""},
		{"none", "tmux 3.5a", ""},
	} {
		if got := c.set.of(c.terminal).sequence("a\x1b\a\u009d;b"); got != c.want {
			t.Errorf("%q on %q sends %q, want %q", c.set, c.terminal, got, c.want)
		}
	}
	if _, err := ParseNotify("8"); err == nil || !strings.Contains(err.Error(), "auto, 9, 777, 99 or none") {
		t.Errorf("a way unknown: %v", err)
	}
}

// TestNoticeFollowsTerminal: the bell first, then what the terminal said it knows; and
// the task bar (OSC 9;4) shows that an alarm waits.
func TestNoticeFollowsTerminal(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.feed(tea.TerminalVersionMsg{Name: "kitty(0.40.0)"})
	d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 100})
	if p := d.m.View().ProgressBar; p == nil || p.State != tea.ProgressBarDefault || p.Value != 0 {
		t.Errorf("at the start the task bar shows %+v", p)
	}
	d.wait(50 * time.Second)
	if p := d.m.View().ProgressBar; p == nil || p.Value != 50 {
		t.Errorf("half way the task bar shows %+v", p)
	}
	d.wait(51 * time.Second)
	if want := "\a\x1b]99;;flaskside: SOAK: TIME IS UP\a"; !slices.Equal(d.raw, []string{want}) {
		t.Errorf("sent %q, want %q", d.raw, want)
	}
	if p := d.m.View().ProgressBar; p == nil || p.State != tea.ProgressBarError {
		t.Errorf("with an alarm the task bar shows %+v", p)
	}
}

// TestShelfEnds: what is put snoozed is silent, comes back by itself and rings
// again.
func TestShelfEnds(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.record(action.TimerStart{Label: "soak", Count: "down", AimS: 60})
	d.wait(61 * time.Second)
	d.press("+ 7")
	d.sees("1 snoozed")
	d.raw = nil
	shelf := time.Duration(d.m.house().Alarms.ShelveS) * time.Second
	d.wait(shelf - 10*time.Second)
	if len(d.raw) > 0 {
		t.Errorf("rang snoozed: %q", d.raw)
	}
	d.wait(10 * time.Second)
	d.sees("SOAK", ". got it")
	if len(d.raw) != 1 {
		t.Errorf("back from the shelf it sent %q", d.raw)
	}
}

// TestFloodOnTheScreen: twelve timers at once are told as a flood in one line, and one
// bell is rung for it, not twelve.
func TestFloodOnTheScreen(t *testing.T) {
	d := newDesk(t, 80, 24)
	for i := range 12 {
		d.record(action.TimerStart{Label: fmt.Sprint("timer ", i), Count: "down", AimS: 60})
	}
	d.wait(2 * time.Minute)
	d.sees("TIMER 0", "FLOOD 12")
	for range 20 {
		d.wait(time.Second)
	}
	if len(d.raw) > 1 {
		t.Errorf("in a flood of what is not urgent it rang %d times", len(d.raw))
	}
	d.wait(11 * time.Minute)
	if strings.Contains(d.screen(), "FLOOD") {
		t.Errorf("the flood does not end:\n%s", d.screen())
	}
}

// TestFloodKeepsThePlace: however many alarms stand, and whoever is at the bench, the top line
// says where the most urgent one is, and FLOOD only behind it.
func TestFloodKeepsThePlace(t *testing.T) {
	checks(t, 25, 25)
	floods := 0
	rapid.Check(t, func(rt *rapid.T) {
		d := newDesk(t, rapid.IntRange(80, 170).Draw(rt, "width"), 24)
		d.m.cfg.Keeper = d.join(keep.Person{By: rapid.SampledFrom([]string{"", "KT", "ABCDEFGH"}).Draw(rt, "by"), Own: true})
		d.m.cfg.Title = rapid.SampledFrom([]string{"", "DEMO x20"}).Draw(rt, "title")
		many := rapid.Bool().Draw(rt, "many") // drying times of nine flasks end at once
		n := 9
		if !many {
			n = rapid.IntRange(4, 9).Draw(rt, "flasks")
		}
		for p := 1; p <= n; p++ {
			d.record(action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: "medium"})
			at := rapid.IntRange(0, 5).Draw(rt, "at")
			if many {
				at = 0
			}
			switch at {
			default:
				d.record(action.Coat{Flask: p, Half: "cast"})
				d.ck.Run(2 * time.Second)
				d.record(action.Coat{Flask: p, Half: "teeth"})
			case 1:
				d.record(action.Clamp{Flask: p})
			case 2:
				d.record(action.BathLoad{Bath: 1, Flasks: []int{p}, Programme: d.m.house().Programmes[0].Name})
			}
		}
		most := map[bool]int{true: 0, false: 12}[many]
		for i := range rapid.IntRange(0, most).Draw(rt, "timers") {
			d.record(action.TimerStart{Label: fmt.Sprint("timer ", i), Count: "down", AimS: 600})
		}
		d.wait(time.Duration(rapid.SampledFrom(map[bool][]int{true: {11, 12}, false: {5, 11, 12, 32}}[many]).Draw(rt, "minutes")) * time.Minute)
		var top *timers.Alarm
		for i := range d.m.alarms {
			if s := d.m.alarms[i].State; top == nil && (s == timers.Unacknowledged || s == timers.Returned) {
				top = &d.m.alarms[i]
			}
		}
		if top == nil {
			return
		}
		key, _ := timers.SplitSignalKey(top.Key)
		line := strings.Split(d.screen(), "\n")[0]
		at := -1
		if w, ok := d.m.windowByKey(key); ok && d.m.placesOf(w) != "" {
			if at = strings.Index(line, "place "+d.m.placesOf(w)); at < 0 {
				rt.Fatalf("the place %s of the top alarm is not in the top line:\n%s", d.m.placesOf(w), line)
			}
		}
		if d.m.floodOn && at >= 0 {
			floods++
		}
		if flood := strings.Index(line, "FLOOD"); d.m.floodOn && (flood < 0 || flood < at) {
			rt.Fatalf("FLOOD at %d, the place at %d:\n%s", flood, at, line)
		}
	})
	if floods == 0 && !testing.Short() { // of a few short runs none may come to it
		t.Error("no flood with a place came up")
	}
}

// TestAlarmLoad plays the invented shift to the end of its bath, nobody answering, and
// holds its alarms to what EEMUA 191 and ISA-18.2 / IEC 62682 give for one operator
// (from memory): on average at most one in ten minutes; at most ten in any ten minutes;
// 150 in a day; and the most urgent priority the rarest (about 5 % high, 15 % medium, 80 %
// low of a plant's thousands; a bench has too few for shares).
func TestAlarmLoad(t *testing.T) {
	d := newDesk(t, 80, 24)
	steps := demo.Shift()
	d.ck.Step(steps[0].After - time.Second)
	var f timers.Flood
	first := map[string]timers.Alarm{}
	look := func(until time.Time) {
		for d.ck.Read().Wall.Before(until) {
			d.ck.Run(min(10*time.Second, until.Sub(d.ck.Read().Wall)))
			now := timers.Now{Reading: d.ck.Read()}
			al := d.book.State().Bench.Alarms(now)
			for _, a := range al {
				if _, ok := first[a.Key]; !ok {
					first[a.Key] = a
				}
			}
			if n, on := f.Look(al, now); on {
				t.Errorf("a flood, %d in ten minutes, at %s", n, now.Wall.Format("15:04"))
			}
		}
	}
	for i, s := range steps {
		look(shiftStart.Add(s.After))
		if _, err := d.book.Append(s.Action(i, shiftStart)); err != nil {
			t.Fatalf("step %d: %v", i, err)
		}
	}
	look(shiftStart.Add(12 * time.Hour))
	by := map[timers.Priority]int{}
	for _, a := range first {
		by[a.Priority]++
	}
	hours := (12*time.Hour - steps[0].After).Hours()
	t.Logf("%d alarms in %.0f h: high %d, medium %d, low %d", len(first), hours, by[timers.High], by[timers.Medium], by[timers.Low])
	if rate := float64(len(first)) / (hours * 6); rate > 1 {
		t.Errorf("%.2f alarms in ten minutes on average, want at most 1", rate)
	}
	if len(first) > 150 {
		t.Errorf("%d alarms in a day, want at most 150", len(first))
	}
	if by[timers.High] > by[timers.Medium] || by[timers.High] > by[timers.Low] {
		t.Errorf("the most urgent alarms are not the rarest: %v", by)
	}
}
