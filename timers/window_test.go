package timers_test

import (
	"slices"
	"testing"
	"time"

	"flaskside/timers"
	"flaskside/timers/simclock"
)

var at = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))

// stamp gives the present moment of a clock as a start.
func stamp(c timers.Clock) timers.Stamp {
	r := c.Read()
	return timers.Stamp{At: r.Wall, BootID: r.BootID, Boot: r.Boot}
}

func now(c timers.Clock) timers.Now { return timers.Now{Reading: c.Read()} }

func ends(w timers.Window) (out []timers.End) {
	for _, m := range w.Marks {
		out = append(out, m.End)
	}
	return out
}

func TestNewWindow(t *testing.T) {
	for _, c := range []struct {
		name                     string
		floor, aim, limit, warnS int
		want                     []timers.EndMark
	}{
		{"plain count-up", 0, 0, 0, 300, nil},
		{"floor alone", 600, 0, 0, 300, []timers.EndMark{{timers.Floor, 600 * time.Second, timers.Low}}},
		{"aim alone makes no alarm", 0, 90, 0, 300, []timers.EndMark{{timers.Aim, 90 * time.Second, timers.Silent}}},
		{"limit with a warning", 0, 0, 2700, 300, []timers.EndMark{{timers.Warning, 2400 * time.Second, timers.Medium}, {timers.Limit, 2700 * time.Second, timers.High}}},
		{"limit without a warning", 0, 0, 2700, 0, []timers.EndMark{{timers.Limit, 2700 * time.Second, timers.High}}},
		{"no room for a warning before the limit", 0, 0, 300, 300, []timers.EndMark{{timers.Limit, 300 * time.Second, timers.High}}},
		{"no room for a warning after the floor", 600, 0, 900, 300, []timers.EndMark{{timers.Floor, 600 * time.Second, timers.Low}, {timers.Limit, 900 * time.Second, timers.High}}},
		{"just room after the floor", 600, 0, 901, 300, []timers.EndMark{{timers.Floor, 600 * time.Second, timers.Low}, {timers.Warning, 601 * time.Second, timers.Medium}, {timers.Limit, 901 * time.Second, timers.High}}},
		{"no room for a warning after the aim", 60, 600, 660, 300, []timers.EndMark{{timers.Floor, 60 * time.Second, timers.Low}, {timers.Aim, 600 * time.Second, timers.Silent}, {timers.Limit, 660 * time.Second, timers.High}}},
		{"all four", 600, 1200, 3600, 300, []timers.EndMark{{timers.Floor, 600 * time.Second, timers.Low}, {timers.Aim, 1200 * time.Second, timers.Silent}, {timers.Warning, 3300 * time.Second, timers.Medium}, {timers.Limit, 3600 * time.Second, timers.High}}},
		{"floor and aim at one moment", 600, 600, 0, 0, []timers.EndMark{{timers.Floor, 600 * time.Second, timers.Low}}},
		{"floor and limit at one moment", 600, 0, 600, 60, []timers.EndMark{{timers.Floor, 600 * time.Second, timers.Low}, {timers.Limit, 600 * time.Second, timers.High}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := timers.NewWindow("k", timers.Stamp{At: at}, timers.Ends{FloorS: c.floor, AimS: c.aim, LimitS: c.limit, WarnS: c.warnS, Floor: timers.Low, Limit: timers.High})
			if !slices.Equal(w.Marks, c.want) {
				t.Errorf("marks %v, want %v", w.Marks, c.want)
			}
			for _, m := range c.want {
				if got := w.After(m.End); got == nil || *got != m {
					t.Errorf("After(%s) = %v, want %v", m.End, got, m)
				}
			}
		})
	}
	if got := timers.NewWindow("k", timers.Stamp{At: at}, timers.Ends{}).After(timers.Limit); got != nil {
		t.Errorf("a count-up has the limit %v", got)
	}
}

// An end is reached at its nanosecond and not one before.
func TestEndsToTheNanosecond(t *testing.T) {
	for _, c := range []struct {
		name              string
		floor, aim, limit int
	}{
		{"press hold", 60, 0, 0},
		{"separator", 600, 0, 900},
		{"dough", 600, 0, 2700},
		{"cure", 9 * 3600, 0, 12 * 3600},
		{"egg timer", 0, 240, 0},
		{"window of one's own", 300, 600, 3000},
		{"one second", 1, 0, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			ck := simclock.At(at, "boot-1")
			w := timers.NewWindow("k", stamp(ck), timers.Ends{FloorS: c.floor, AimS: c.aim, LimitS: c.limit, WarnS: 60, Floor: timers.Low, Limit: timers.High})
			var gone time.Duration
			var last *timers.EndMark
			for _, m := range w.Marks {
				ck.Run(m.After - 1 - gone)
				gone = m.After - 1
				st := w.Stand(now(ck))
				if m.End == timers.Warning { // told by Soon alone
					ck.Run(1)
					gone++
					if later := w.Stand(now(ck)); st.Soon || !later.Soon || later.Next == nil || later.Next.End != timers.Limit || later.Left != time.Minute {
						t.Errorf("around the warning: %+v, then %+v", st, later)
					}
					continue
				}
				if st.Next == nil || *st.Next != m || st.Left != 1 {
					t.Fatalf("1 ns before %q: next %v in %v", m.End, st.Next, st.Left)
				}
				if (st.Last == nil) != (last == nil) || last != nil && *st.Last != *last {
					t.Errorf("1 ns before %q: last %v, want %v", m.End, st.Last, last)
				}
				last = &m
				if m.End == timers.Floor && st.Phase != timers.Early {
					t.Errorf("1 ns before the floor the phase is %q", st.Phase)
				}
				if m.End == timers.Limit && st.Phase != timers.Open {
					t.Errorf("1 ns before the limit the phase is %q", st.Phase)
				}
				if want := c.floor > 0 && gone < time.Duration(c.floor)*time.Second; want != (st.Phase == timers.Early) {
					t.Errorf("at %v the phase is %q", gone, st.Phase)
				}
				ck.Run(1)
				gone++
				st = w.Stand(now(ck))
				if st.Last == nil || *st.Last != m || !st.Due.Equal(at.Add(m.After)) && st.Next == nil {
					t.Errorf("at %q: last %v, due %v", m.End, st.Last, st.Due)
				}
				switch {
				case m.End == timers.Limit && st.Phase != timers.Over:
					t.Errorf("at the limit the phase is %q", st.Phase)
				case m.End == timers.Floor && st.Phase != timers.Open:
					t.Errorf("at the floor the phase is %q", st.Phase)
				}
				if st.Estimated || st.ClockBack || st.For != gone {
					t.Errorf("passed %+v, want %v", st.Passed, gone)
				}
			}
			ck.Run(time.Minute)
			if st := w.Stand(now(ck)); st.Next != nil || st.Left != -time.Minute {
				t.Errorf("a minute after the last end: next %v, left %v", st.Next, st.Left)
			}
		})
	}
}

// A warning is raised at its place, and gives way to the limit.
func TestWarningThenLimit(t *testing.T) {
	ck := simclock.At(at, "boot-1")
	w := timers.NewWindow("mix/1/dough", stamp(ck), timers.Ends{FloorS: 600, LimitS: 2700, WarnS: 300, Floor: timers.Low, Limit: timers.High})
	for _, c := range []struct {
		at       time.Duration
		end      timers.End // "" for no signal
		priority timers.Priority
	}{
		{0, "", 0},
		{10*time.Minute - 1, "", 0},
		{10 * time.Minute, timers.Floor, timers.Low},
		{40*time.Minute - 1, timers.Floor, timers.Low},
		{40 * time.Minute, timers.Warning, timers.Medium},
		{45*time.Minute - 1, timers.Warning, timers.Medium},
		{45 * time.Minute, timers.Limit, timers.High},
		{20 * time.Hour, timers.Limit, timers.High},
	} {
		n := now(ck)
		n.Wall, n.Boot, n.Mono = n.Wall.Add(c.at), n.Boot+c.at, n.Mono+c.at
		got := w.Signals(n)
		if c.end == "" {
			if len(got) != 0 {
				t.Errorf("at %v: signals %v, want none", c.at, got)
			}
			continue
		}
		if len(got) != 1 || got[0].Key != "mix/1/dough#"+string(c.end) || got[0].Priority != c.priority {
			t.Errorf("at %v: signals %+v, want one for %q", c.at, got, c.end)
			continue
		}
		if want := at.Add(w.After(c.end).After); !got[0].Rose.At.Equal(want) || got[0].Rose.BootID != "boot-1" {
			t.Errorf("at %v: rose %+v, want %v", c.at, got[0].Rose, want)
		}
		if k, e := timers.SplitSignalKey(got[0].Key); k != w.Key || e != c.end {
			t.Errorf("key %q comes apart as %q and %q", got[0].Key, k, e)
		}
	}
	quiet := timers.NewWindow("timer/1/own", stamp(ck), timers.Ends{AimS: 60, Floor: timers.Low, Limit: timers.High})
	ck.Run(time.Hour)
	if got := quiet.Signals(now(ck)); len(got) != 0 {
		t.Errorf("an aim made the signals %v", got)
	}
	if k, e := timers.SplitSignalKey("plain"); k != "plain" || e != "" {
		t.Errorf("a plain key comes apart as %q and %q", k, e)
	}
}

// A signal that rose after the machine was restarted rose when the wall clock says,
// however long the machine has been up since.
func TestSignalAfterRestart(t *testing.T) {
	ck := simclock.At(at, "boot-1")
	w := timers.NewWindow("load/1/cure", stamp(ck), timers.Ends{FloorS: 9 * 3600, Floor: timers.Medium, Limit: timers.High})
	ck.Run(time.Hour)
	ck.Reboot(time.Minute, "boot-2")
	ck.Run(8*time.Hour + 29*time.Minute) // half an hour past the end
	sig := w.Signals(now(ck))
	if len(sig) != 1 {
		t.Fatalf("signals %v, want one", sig)
	}
	al := timers.Survey(sig, nil, now(ck))
	if len(al) != 1 || al[0].Since.For != 30*time.Minute || !al[0].Since.Estimated || al[0].Since.ClockBack {
		t.Errorf("alarm %+v, want one that rose 30 min ago by the wall clock", al)
	}
}

func TestStandAllOrder(t *testing.T) {
	ck := simclock.At(at, "boot-1")
	mk := func(key string, began time.Duration, floor, aim, limit int) timers.Window {
		s := stamp(ck)
		s.At, s.Boot = s.At.Add(-began), s.Boot-began
		return timers.NewWindow(key, s, timers.Ends{FloorS: floor, AimS: aim, LimitS: limit, Floor: timers.Low, Limit: timers.High})
	}
	medium := func(w timers.Window) timers.Window {
		w.Marks[0].Priority = timers.Medium
		return w
	}
	ws := []timers.Window{
		mk("up short", time.Minute, 0, 0, 0),
		mk("waits short", 11*time.Minute, 600, 0, 0),
		mk("next in 5 min", 0, 300, 0, 0),
		mk("over by 1 min", 11*time.Minute, 0, 0, 600),
		mk("twin a", 5*time.Minute, 600, 0, 0),
		mk("up long", time.Hour, 0, 0, 0),
		mk("twin b", 5*time.Minute, 600, 0, 0),
		mk("over by 9 min", 19*time.Minute, 0, 0, 600),
		mk("next in 1 s", 10*time.Minute-time.Second, 600, 0, 0),
		mk("waits long", 30*time.Minute, 600, 0, 0),
		mk("twin c", 5*time.Minute, 600, 0, 0),
		medium(mk("calls short", 11*time.Minute, 600, 0, 0)),
		medium(mk("calls long", 12*time.Minute, 600, 0, 0)),
		mk("aim gone by", 12*time.Minute, 0, 600, 0),
	}
	want := []string{"over by 9 min", "over by 1 min", "calls long", "calls short", "next in 1 s", "next in 5 min", "twin a", "twin b", "twin c", "waits long", "aim gone by", "waits short", "up long", "up short"}
	names := func(ws []timers.Window) (out []string) {
		for _, s := range timers.StandAll(ws, now(ck)) {
			out = append(out, s.Key)
		}
		return out
	}
	if got := names(ws); !slices.Equal(got, want) {
		t.Errorf("order %q\n want %q", got, want)
	}
	// Equal ones keep the order they came in, whatever stands between them.
	slices.Reverse(ws)
	want = []string{"over by 9 min", "over by 1 min", "calls long", "calls short", "next in 1 s", "twin c", "twin b", "twin a", "next in 5 min", "waits long", "aim gone by", "waits short", "up long", "up short"}
	if got := names(ws); !slices.Equal(got, want) {
		t.Errorf("reversed: order %q\n want %q", got, want)
	}
	// Many equal ones too.
	ws = nil
	want = nil
	for i := range 60 {
		ws = append(ws, mk(string(rune('A'+i)), time.Duration(i%2)*time.Minute, 600, 0, 0))
	}
	for odd := 1; odd >= 0; odd-- {
		for i := odd; i < 60; i += 2 {
			want = append(want, string(rune('A'+i)))
		}
	}
	if got := names(ws); !slices.Equal(got, want) {
		t.Errorf("sixty in two kinds: order %q\n want %q", got, want)
	}
	if got := timers.StandAll(nil, now(ck)); len(got) != 0 {
		t.Errorf("no windows stand as %v", got)
	}
	if got := ends(mk("x", 0, 1, 2, 3)); !slices.Equal(got, []timers.End{timers.Floor, timers.Aim, timers.Limit}) {
		t.Errorf("ends %v", got)
	}
}

// The hour shown for what comes next follows the wall clock as it stands.
func TestDueFollowsTheWallClock(t *testing.T) {
	ck := simclock.At(at, "boot-1")
	w := timers.NewWindow("k", stamp(ck), timers.Ends{FloorS: 3600, Floor: timers.Low, Limit: timers.High})
	ck.Run(20 * time.Minute)
	ck.Step(2 * time.Hour)
	st := w.Stand(now(ck))
	if want := at.Add(3 * time.Hour); !st.Due.Equal(want) || st.Left != 40*time.Minute {
		t.Errorf("due %v in %v, want %v in 40 min", st.Due, st.Left, want)
	}
	ck.Run(50 * time.Minute)
	st = w.Stand(now(ck))
	if want := at.Add(3 * time.Hour); !st.Due.Equal(want) || st.Left != -10*time.Minute {
		t.Errorf("was due %v, left %v, want %v, -10 min", st.Due, st.Left, want)
	}
}
