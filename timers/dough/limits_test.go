package dough

import (
	"math"
	"testing"
)

// The limits of room, storage and time out of it are themselves taken, what lies beyond
// is not.
func TestConditionsAreTakenUpToTheirLimits(t *testing.T) {
	at := func(room, stored, out float64) Conditions {
		return Conditions{RoomC: room, Stored: &Storage{TempC: stored, OutMin: out}}
	}
	for _, c := range []Conditions{at(minRoomC, 5, 0), at(maxRoomC, 5, 0), at(23, minStoredC, 0), at(23, maxStoredC, 0), at(23, 5, maxOutMin)} {
		if err := c.Validate(); err != nil {
			t.Errorf("room %g, stored at %g, out %g min: %v", c.RoomC, c.Stored.TempC, c.Stored.OutMin, err)
		}
	}
	over := func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	under := func(x float64) float64 { return math.Nextafter(x, math.Inf(-1)) }
	for _, c := range []Conditions{at(under(minRoomC), 5, 0), at(over(maxRoomC), 5, 0), at(23, under(minStoredC), 0), at(23, over(maxStoredC), 0),
		at(23, 5, under(0)), at(23, 5, over(maxOutMin)), at(math.NaN(), 5, 0), at(23, math.NaN(), 0), at(23, 5, math.NaN())} {
		if c.Validate() == nil {
			t.Errorf("taken: room %g, stored at %g, out %g min", c.RoomC, c.Stored.TempC, c.Stored.OutMin)
		}
	}
}
