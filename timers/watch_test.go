package timers_test

import (
	"testing"
	"time"
	_ "time/tzdata" // the zones of these tests must not depend on the machine

	"flaskside/timers"
	"flaskside/timers/simclock"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func TestCompare(t *testing.T) {
	berlin, chicago := zone(t, "Europe/Berlin"), zone(t, "America/Chicago")
	type want struct {
		what   timers.ClockWhat
		by     time.Duration
		detail string
	}
	const ms = time.Millisecond
	for _, c := range []struct {
		name string
		from time.Time // zero: at
		do   func(ck *simclock.Hand)
		want []want
	}{
		{"a tick", at, func(ck *simclock.Hand) { ck.Run(time.Second) }, nil},
		{"a tick that was 5 s late", at, func(ck *simclock.Hand) { ck.Run(6 * time.Second) }, nil},
		{"slept for two seconds", at, func(ck *simclock.Hand) { ck.Sleep(2 * time.Second) }, nil},
		{"slept just longer", at, func(ck *simclock.Hand) { ck.Sleep(2*time.Second + ms) }, []want{{timers.Slept, 2*time.Second + ms, ""}}},
		{"slept for eight hours", at, func(ck *simclock.Hand) { ck.Run(ms); ck.Sleep(8 * h); ck.Run(time.Second) }, []want{{timers.Slept, 8 * h, ""}}},
		{"slept, and slow to wake", at, func(ck *simclock.Hand) { ck.Sleep(8 * h); ck.Run(20 * time.Second) }, []want{{timers.Slept, 8 * h, ""}}},
		{"slewed by two seconds", at, func(ck *simclock.Hand) { ck.Run(time.Second); ck.Step(2 * time.Second) }, nil},
		{"stepped on", at, func(ck *simclock.Hand) { ck.Run(time.Second); ck.Step(2*time.Second + ms) }, []want{{timers.Stepped, 2*time.Second + ms, ""}}},
		{"stepped back", at, func(ck *simclock.Hand) { ck.Run(time.Second); ck.Step(-h) }, []want{{timers.Stepped, -h, ""}}},
		{"frozen", at, func(ck *simclock.Hand) { ck.Freeze(2 * h); ck.Run(time.Second) }, []want{{timers.Stepped, 2 * h, ""}}},
		{"stalled", at, func(ck *simclock.Hand) { ck.Run(40 * time.Second) }, []want{{timers.Stalled, 40 * time.Second, ""}}},
		{"just stalled", at, func(ck *simclock.Hand) { ck.Run(6*time.Second + ms) }, []want{{timers.Stalled, 6*time.Second + ms, ""}}},
		{"slept and stepped on waking", at, func(ck *simclock.Hand) { ck.Sleep(8 * h); ck.Step(-time.Minute) }, []want{{timers.Slept, 8 * h, ""}, {timers.Stepped, -time.Minute, ""}}},
		{"stalled and stepped", at, func(ck *simclock.Hand) { ck.Run(time.Minute); ck.Step(time.Minute) }, []want{{timers.Stepped, time.Minute, ""}, {timers.Stalled, time.Minute, ""}}},
		{"taken to Chicago", at.In(berlin), func(ck *simclock.Hand) { ck.Run(time.Second); ck.In(chicago) }, []want{{timers.Zone, -7 * h, "CET (UTC+01:00) to CST (UTC-06:00)"}}},
		{"another name of the same time", at.In(berlin), func(ck *simclock.Hand) { ck.In(zone(t, "Europe/Paris")) }, []want{{timers.Zone, 0, "CET (UTC+01:00) to CET (UTC+01:00)"}}},
		{"summer time ends", time.Date(2026, 10, 25, 0, 59, 59, 5e8, time.UTC).In(berlin), func(ck *simclock.Hand) { ck.Run(time.Second) }, []want{{timers.Zone, -h, "CEST (UTC+02:00) to CET (UTC+01:00)"}}},
		{"summer time begins", time.Date(2026, 3, 29, 0, 59, 59, 5e8, time.UTC).In(berlin), func(ck *simclock.Hand) { ck.Run(time.Second) }, []want{{timers.Zone, h, "CET (UTC+01:00) to CEST (UTC+02:00)"}}},
		{"half an hour on Lord Howe", time.Date(2026, 4, 4, 14, 59, 59, 5e8, time.UTC).In(zone(t, "Australia/Lord_Howe")), func(ck *simclock.Hand) { ck.Run(time.Second) }, []want{{timers.Zone, -h / 2, "+11 (UTC+11:00) to +1030 (UTC+10:30)"}}},
		{"restarted, and nothing else is said", at, func(ck *simclock.Hand) { ck.Reboot(20*time.Minute, "boot-2"); ck.Step(h); ck.In(chicago) }, []want{{timers.Rebooted, h + 20*time.Minute, ""}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			ck := simclock.At(c.from, "boot-1")
			before := ck.Read()
			c.do(ck)
			after := ck.Read()
			got := timers.Compare(before, after, time.Second)
			if len(got) != len(c.want) {
				t.Fatalf("events %+v, want %+v", got, c.want)
			}
			for i, w := range c.want {
				want := timers.ClockEvent{What: w.what, By: w.by, Detail: w.detail, From: before.Wall, To: after.Wall}
				if got[i] != want {
					t.Errorf("event %+v, want %+v", got[i], want)
				}
			}
		})
	}
}

// Without a boot clock a late tick is a stall and not a step; sleep, which stops the
// only other clock, shows as a moved wall clock.
func TestCompareWithoutABootClock(t *testing.T) {
	read := func(wall, mono time.Duration) timers.Reading {
		return timers.Reading{Wall: at.Add(wall), Mono: mono}
	}
	for _, c := range []struct {
		name       string
		wall, mono time.Duration
		want       timers.ClockWhat // "": nothing
	}{
		{"a tick", time.Second, time.Second, ""},
		{"a tick that was 4 s late", 5 * time.Second, 5 * time.Second, ""},
		{"stalled", 40 * time.Second, 40 * time.Second, timers.Stalled},
		{"stepped", h, time.Second, timers.Stepped},
		{"slept", 8 * h, time.Second, timers.Stepped},
	} {
		got := timers.Compare(read(0, 0), read(c.wall, c.mono), time.Second)
		if c.want == "" && len(got) != 0 || c.want != "" && (len(got) != 1 || got[0].What != c.want) {
			t.Errorf("%s: events %+v, want %q", c.name, got, c.want)
		}
	}
}
