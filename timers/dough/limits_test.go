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

// In a room the same all along book minutes go by Q10^((T-Tref)/10): their logarithm moves by (T-Tref)/10 with ln Q10 and
// by ln Q10/10 a degree. What one end of the window does not know it has from them, and from the mix.
func TestWhatAnEndDoesNotKnowInAPlainRoom(t *testing.T) {
	r := HouseDefault()
	for _, room := range []float64{13, 23, 30} {
		c := Conditions{RoomC: room}
		e := newEnd(r, c, newClock(r, c), r.WorkUntilMin, r.WorkLnSD)
		want := [3]float64{r.MixLnSD, r.Q10LnSD * (room - r.RefTempC) / 10, roomSDC * math.Log(r.Q10) / 10}
		for i := range want {
			near(t, "shared", e.shared[i], want[i], 1e-9)
		}
	}
}

// The eighty per cent about a fitted Q10 are e to 1.2816 standard errors of its logarithm, down and up.
func TestBandOfAFittedQ10(t *testing.T) {
	f := ResinFit{Q10Fitted: true, Q10: 2, LnSD: 0.1, CoolestC: 18, WarmestC: 26}
	if got, want := f.String(), "0 marks (0 dough, 0 too stiff); Q10 2.00 (80 %: 1.76 to 2.27) fitted from rooms of 18 to 26 °C"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
