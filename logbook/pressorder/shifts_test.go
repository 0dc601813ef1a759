package pressorder

import (
	"math"
	"testing"
	"time"

	"flaskside/logbook/house"
)

// TestSimulationOptions: the table of the house's own settings.
func TestSimulationOptions(t *testing.T) {
	h := house.Default()
	h.Work.RaiseS, h.Press.Presses = 31, 2
	o, err := Shifts{Shifts: 10, Flasks: 4, Mixes: 2, Apart: "15 min"}.Options(h)
	if err != nil {
		t.Fatal(err)
	}
	if o.Durations.Raise != 31*time.Second || o.Durations.Hold != time.Minute || o.Bench.Presses != 2 || len(o.Sizes) != 3 || len(o.Mixes) != 2 || o.Mixes[1]-o.Mixes[0] != 15*time.Minute {
		t.Errorf("%+v", o)
	}
	for _, z := range o.Sizes {
		sum := 0.0
		for _, c := range z.Totals {
			sum += c
		}
		// Common practice, no source: two closures at least, as the house minimum says.
		if math.Abs(sum-1) > 1e-9 || z.Totals[0] != 0 || math.Abs(z.Share-1./3) > 1e-12 {
			t.Errorf("%s: %v", z.Name, z)
		}
	}
}
