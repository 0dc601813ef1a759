package day

import (
	"testing"
	"time"

	"flaskside/timers"
)

// What a window lasted is told as the closure beside it tells it, in whole seconds that
// were; by how much it was missed is never nothing.
func TestLengthsAgreeAndNoMissIsNothing(t *testing.T) {
	sp := spell{min: time.Minute, max: 2 * time.Minute}
	for _, c := range []struct {
		took     time.Duration
		long, by string
	}{
		{69800 * time.Millisecond, "1 min 9 s", ""}, {59600 * time.Millisecond, "59 s", "1 s short"}, {time.Minute, "1 min", ""},
		{2 * time.Minute, "2 min", ""}, {120200 * time.Millisecond, "2 min", "1 s over"},
	} {
		p := timers.Passed{For: c.took}
		if long, by := sp.long(p), sp.by(p); long != c.long || by != c.by {
			t.Errorf("%s: %q, %q; want %q, %q", c.took, long, by, c.long, c.by)
		}
	}
}
