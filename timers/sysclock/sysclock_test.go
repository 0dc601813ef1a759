package sysclock

import (
	"runtime"
	"testing"
	"time"
	_ "time/tzdata" // the zones of these tests must not depend on the machine

	"flaskside/timers"
)

func TestRead(t *testing.T) {
	c := New()
	a := c.Read()
	if d := time.Since(a.Wall); d < 0 || d > time.Minute {
		t.Errorf("the wall clock is off by %v", d)
	}
	if a.Wall != a.Wall.Round(0) {
		t.Error("the wall clock carries a monotonic part")
	}
	time.Sleep(20 * time.Millisecond)
	b := c.Read()
	mono := b.Mono - a.Mono
	if mono < 20*time.Millisecond || mono > time.Minute {
		t.Errorf("the monotonic clock ran %v in 20 ms", mono)
	}
	if a.BootID != b.BootID {
		t.Errorf("two boots in a moment: %q and %q", a.BootID, b.BootID)
	}
	switch runtime.GOOS {
	case "linux", "darwin", "windows":
		if a.BootID == "" || a.Boot <= 0 {
			t.Fatalf("no boot clock: %+v", a)
		}
		// GetTickCount64 moves by up to 16 ms at a time.
		if boot := b.Boot - a.Boot; boot < mono-20*time.Millisecond || boot > mono+time.Second {
			t.Errorf("the boot clock ran %v, the monotonic %v", boot, mono)
		}
	}
	if got := New().Read(); got.BootID != a.BootID {
		t.Errorf("another start of the program names another boot: %q, %q", got.BootID, a.BootID)
	}
	if ev := timers.Compare(a, b, time.Second); len(ev) != 0 {
		t.Errorf("in a moment this happened: %+v", ev)
	}
	if p := (timers.Now{Reading: b}).Since(timers.StampAt(a.Wall, a)); p.For < 0 || p.For > time.Minute || p.Estimated {
		t.Errorf("since a moment ago: %+v", p)
	}
}

// A clock is read by several goroutines.
func TestReadTogether(t *testing.T) {
	c := New()
	done := make(chan timers.Reading)
	for range 8 {
		go func() {
			var last timers.Reading
			for range 200 {
				r := c.Read()
				if r.Mono < last.Mono || r.Boot < last.Boot {
					t.Error("a clock ran back")
				}
				last = r
			}
			done <- last
		}()
	}
	for range 8 {
		<-done
	}
}

func TestZonesNamed(t *testing.T) {
	var z zones
	for _, c := range []struct{ name, want string }{
		{"Europe/Berlin", "Europe/Berlin"}, {"Europe/Berlin", "Europe/Berlin"}, {"America/Chicago", "America/Chicago"},
		{"", time.Local.String()}, {"No/Where", time.Local.String()}, {"../etc/passwd", time.Local.String()}, {"UTC", "UTC"},
	} {
		if got := z.named(c.name).String(); got != c.want {
			t.Errorf("zone %q is %q, want %q", c.name, got, c.want)
		}
	}
}

func BenchmarkRead(b *testing.B) {
	c := New()
	for b.Loop() {
		c.Read()
	}
}
