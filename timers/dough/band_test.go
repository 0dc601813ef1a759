package dough

import (
	"math"
	"testing"
	"time"

	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

// By its meaning a tenth of all ends lies below an 80 % band and a tenth above it, on
// either side by the width that side has.
func TestTenthsLieOutsideTheBand(t *testing.T) {
	for _, b := range [][3]time.Duration{{25 * time.Minute, 30 * time.Minute, 40 * time.Minute}, {10 * time.Minute, 30 * time.Minute, 33 * time.Minute}} {
		low, mid, high := b[0], b[1], b[2]
		for at, want := range map[time.Duration]float64{low: .1, mid: .5, high: .9} {
			if got := chanceBefore(at, mid, low, high); math.Abs(got-want) > 1e-4 {
				t.Errorf("band %s to %s about %s: %.4f before %s, want %.1f", low, high, mid, got, at, want)
			}
		}
	}
}
