package timers_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/timers"
	"flaskside/timers/simclock"
)

const h = time.Hour

func TestSince(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(ck *simclock.Hand)
		beat timers.Beat
		want timers.Passed
	}{
		{"an hour", func(ck *simclock.Hand) { ck.Run(h) }, timers.Beat{}, timers.Passed{For: h}},
		{"the wall clock put on an hour", func(ck *simclock.Hand) { ck.Run(10 * time.Minute); ck.Step(h); ck.Run(10 * time.Minute) }, timers.Beat{}, timers.Passed{For: 20 * time.Minute}},
		{"the wall clock put back an hour", func(ck *simclock.Hand) { ck.Run(10 * time.Minute); ck.Step(-h); ck.Run(10 * time.Minute) }, timers.Beat{}, timers.Passed{For: 20 * time.Minute}},
		{"the wall clock set to 1970", func(ck *simclock.Hand) { ck.Step(-time.Duration(at.Unix()) * time.Second); ck.Run(h) }, timers.Beat{}, timers.Passed{For: h}},
		{"eight hours of sleep", func(ck *simclock.Hand) { ck.Run(h); ck.Sleep(8 * h); ck.Run(time.Minute) }, timers.Beat{}, timers.Passed{For: 9*h + time.Minute}},
		{"sleep with the clock put on meanwhile", func(ck *simclock.Hand) { ck.Sleep(8 * h); ck.Step(h) }, timers.Beat{}, timers.Passed{For: 8 * h}},
		// A frozen machine cannot be told from a stepped wall clock: the time passed is
		// short by the freeze, never long.
		{"frozen for two hours", func(ck *simclock.Hand) { ck.Run(h); ck.Freeze(2 * h); ck.Run(h) }, timers.Beat{}, timers.Passed{For: 2 * h}},
		{"restarted", func(ck *simclock.Hand) { ck.Run(h); ck.Reboot(10*time.Minute, "boot-2"); ck.Run(h) }, timers.Beat{}, timers.Passed{For: 2*h + 10*time.Minute, Estimated: true}},
		{"restarted, clock back, uptime alone proves", func(ck *simclock.Hand) {
			ck.Run(h)
			ck.Reboot(20*time.Second, "boot-2")
			ck.Step(-3 * h)
			ck.Run(2 * h)
		},
			timers.Beat{}, timers.Passed{For: 2*h + 20*time.Second, Estimated: true, ClockBack: true}},
		{"restarted, clock back, beat and uptime prove", func(ck *simclock.Hand) {
			ck.Run(h)
			ck.Reboot(20*time.Second, "boot-2")
			ck.Step(-3 * h)
			ck.Run(2 * h)
		},
			timers.Beat{BootID: "boot-1", Boot: h + 50*time.Minute}, timers.Passed{For: 2*h + 50*time.Minute + 20*time.Second, Estimated: true, ClockBack: true}},
		{"restarted, clock back, a beat of another boot proves nothing", func(ck *simclock.Hand) { ck.Run(h); ck.Reboot(20*time.Second, "boot-2"); ck.Step(-3 * h) },
			timers.Beat{BootID: "boot-0", Boot: 9 * h}, timers.Passed{For: 20 * time.Second, Estimated: true, ClockBack: true}},
		{"restarted, clock back, a beat from before the start proves nothing", func(ck *simclock.Hand) { ck.Run(h); ck.Reboot(20*time.Second, "boot-2"); ck.Step(-3 * h) },
			timers.Beat{BootID: "boot-1", Boot: 10 * time.Minute}, timers.Passed{For: 20 * time.Second, Estimated: true, ClockBack: true}},
		{"restarted, the bound below the wall clock is not needed", func(ck *simclock.Hand) { ck.Run(h); ck.Reboot(h, "boot-2") },
			timers.Beat{BootID: "boot-1", Boot: h + 50*time.Minute}, timers.Passed{For: 2 * h, Estimated: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			ck := simclock.At(at, "boot-1")
			s := stamp(ck)
			c.do(ck)
			n := timers.Now{Reading: ck.Read(), Beat: c.beat}
			if got := n.Since(s); got != c.want {
				t.Errorf("passed %+v, want %+v", got, c.want)
			}
			if got, want := n.WallOf(s, 10*h), n.Wall.Add(10*h-c.want.For); !got.Equal(want) {
				t.Errorf("ten hours after is %v, want %v", got, want)
			}
		})
	}
}

// Where the system names no boot the wall clock decides, and nothing is called
// estimated that has no better to be held against; time never runs below zero.
func TestSinceWithoutABootClock(t *testing.T) {
	ck := simclock.At(at, "")
	s := stamp(ck)
	ck.Run(h)
	if got, want := now(ck).Since(s), (timers.Passed{For: h}); got != want {
		t.Errorf("passed %+v, want %+v", got, want)
	}
	ck.Step(-3 * h)
	if got, want := now(ck).Since(s), (timers.Passed{For: 0, ClockBack: true}); got != want {
		t.Errorf("clock put back: passed %+v, want %+v", got, want)
	}
	// A stamp of a system without a boot clock, read on one that has it.
	ck = simclock.At(at.Add(h), "boot-1")
	if got, want := now(ck).Since(s), (timers.Passed{For: h, Estimated: true}); got != want {
		t.Errorf("passed %+v, want %+v", got, want)
	}
}

func TestStampAt(t *testing.T) {
	ck := simclock.At(at, "boot-1") // an hour after the boot
	for _, c := range []struct {
		ago  time.Duration
		boot time.Duration
		id   string
	}{
		{0, h, "boot-1"},
		{20 * time.Minute, 40 * time.Minute, "boot-1"},
		{-time.Second, h + time.Second, "boot-1"}, // the jitter between two looks
		{h, 0, "boot-1"},
		{h + 1, 0, ""},
		{9 * h, 0, ""},
	} {
		s := timers.StampAt(at.Add(-c.ago), ck.Read())
		if s.BootID != c.id || s.Boot != c.boot || !s.At.Equal(at.Add(-c.ago)) {
			t.Errorf("%v ago: %+v, want boot %q %v", c.ago, s, c.id, c.boot)
		}
	}
	if s := timers.StampAt(at, simclock.At(at, "").Read()); s.BootID != "" || s.Boot != 0 {
		t.Errorf("without a boot clock: %+v", s)
	}
	mono := time.Now()
	if s := timers.StampAt(mono, ck.Read()); s.At != mono.Round(0) {
		t.Errorf("the stamp keeps a monotonic reading: %v", s.At)
	}
}

// Random histories of a machine: time runs, the machine sleeps, freezes, has its
// clock put on and back, and is restarted. Against the true time: in one boot the
// time passed is right to the nanosecond but for a freeze; it is never more than the
// truth, and so no window is done early, unless the clock was put on and a restart
// left nothing better to go by; it is never less than what was proved.
func TestRandomHistories(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(at, "boot-0")
		s := stamp(ck)
		floor := rapid.IntRange(1, 12*3600).Draw(t, "floor")
		w := timers.NewWindow("k", s, timers.Ends{FloorS: floor, LimitS: floor + 1800, WarnS: 300, Floor: timers.Low, Limit: timers.High})
		var (
			truth  time.Duration // true time since the start
			moved  time.Duration // how far the wall clock is from right, net
			frozen time.Duration // frozen in this boot
			boots  int
			beat   timers.Beat
			proved time.Duration // by the last beat of the first boot
			left   timers.Beat   // sign of life being left in this run
		)
		length := rapid.Int64Range(0, int64(4*h))
		for range rapid.IntRange(1, 25).Draw(t, "steps") {
			d := time.Duration(length.Draw(t, "d"))
			switch rapid.SampledFrom([]string{"run", "run", "sleep", "on", "back", "freeze", "beat", "restart"}).Draw(t, "what") {
			case "run":
				ck.Run(d)
				truth += d
			case "sleep":
				ck.Sleep(d)
				truth += d
			case "on":
				ck.Step(d)
				moved += d
			case "back":
				ck.Step(-d)
				moved -= d
			case "freeze":
				ck.Freeze(d)
				truth += d
				frozen += d
			case "beat":
				r := ck.Read()
				left = timers.Beat{Wall: r.Wall, BootID: r.BootID, Boot: r.Boot}
			case "restart":
				boots++
				ck.Reboot(d, "boot-"+string(rune('0'+boots)))
				truth += d
				frozen = 0
				beat = left
				proved = 0
				if beat.BootID == s.BootID && beat.Boot > s.Boot {
					proved = beat.Boot - s.Boot
				}
			}
			n := timers.Now{Reading: ck.Read(), Beat: beat}
			got := n.Since(s)
			st := w.Stand(n)
			if boots == 0 {
				if want := truth - frozen; got.For != want || got.Estimated || got.ClockBack {
					t.Fatalf("same boot: passed %+v, want %v", got, want)
				}
			} else {
				want := max(truth+moved, n.Boot+proved)
				if got.For != want || !got.Estimated || got.ClockBack != (truth+moved < n.Boot+proved) {
					t.Fatalf("after %d restarts: passed %+v, want %v", boots, got, want)
				}
			}
			if got.For < 0 {
				t.Fatalf("less than nothing passed: %+v", got)
			}
			done := st.Phase != timers.Early
			if really := truth >= time.Duration(floor)*time.Second; done && !really && moved <= 0 {
				t.Fatalf("done early: %v of %d s truly passed, %+v", truth, floor, got)
			}
			if done != (got.For >= time.Duration(floor)*time.Second) {
				t.Fatalf("phase %q at %v of %d s", st.Phase, got.For, floor)
			}
			if st.Next != nil && st.Left <= 0 || st.Next != nil && !st.Due.Equal(n.WallOf(s, st.Next.After)) {
				t.Fatalf("next %v in %v, due %v", st.Next, st.Left, st.Due)
			}
		}
	})
}
