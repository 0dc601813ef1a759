package bench

import (
	"testing"
	"time"

	"flaskside/timers"
)

// One instant told twice is one instant, although the boot clock of each telling is worked
// out from two clocks that were read one after the other; an instant in whole seconds is any
// in that second. A clock that was set back stays one.
func TestSameSecondIsEqual(t *testing.T) {
	at := time.Date(2026, 11, 25, 17, 36, 2, 0, time.UTC)
	stamp := func(wall, boot time.Duration) timers.Stamp {
		return timers.Stamp{At: at.Add(wall), BootID: "boot-1", Boot: time.Hour + boot}
	}
	const us, ms, s = time.Microsecond, time.Millisecond, time.Second
	for _, c := range []struct {
		what         string
		recorded, at timers.Stamp
		earlier      bool
	}{
		{"the same, read 3 µs apart", stamp(0, 0), stamp(0, -3*us), false},
		{"the same, on a busy machine", stamp(0, 0), stamp(0, -400*ms), false},
		{"later on the wall, the reading jittered", stamp(0, 0), stamp(2*us, -us), false},
		{"whole seconds after a fraction", stamp(700*ms, 700*ms), stamp(0, 0), false},
		{"a fraction before a fraction", stamp(700*ms, 700*ms), stamp(300*ms, 300*ms), true},
		{"a second before", stamp(0, 0), stamp(-s, -s), true},
		{"the clock was set back, time ran on", stamp(0, 0), stamp(-time.Hour, 2*s), false},
		{"the clock was set ahead, the act is old", stamp(0, 0), stamp(time.Hour, -5*s), true},
		{"another boot, a second before", stamp(0, 0), timers.Stamp{At: at.Add(-s)}, true},
		{"another boot, the same", stamp(0, 0), timers.Stamp{At: at}, false},
	} {
		if got := earlier(c.at, c.recorded); got != c.earlier {
			t.Errorf("%s: earlier %v, want %v", c.what, got, c.earlier)
		}
	}
}
