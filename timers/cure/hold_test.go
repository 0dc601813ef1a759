package cure

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// What a bath that failed for a while costs (74 °C 9 h, 3 mm): worked out once with an independent implementation, for
// falls at different times of the night.
func TestExtraHold(t *testing.T) {
	prog := Common()[0]
	for _, row := range []struct{ dropC, hours, lo, hi float64 }{
		{70, 1, 27, 30}, {65, 1, 46, 53}, {60, 1, 58, 67}, {60, 2, 110, 121}, {40, 1, 80, 90}, {40, 4, 257, 270},
	} {
		for _, atH := range []float64{1, 2, 3, 5} {
			bath := []Knot{{0, 74}, {atH*3600 - 60, 74}, {atH * 3600, row.dropC}, {(atH+row.hours)*3600 - 60, row.dropC}, {(atH + row.hours) * 3600, 74}}
			x, err := extraHold(Defaults(), prog, 22, bath, 0)
			if err != nil {
				t.Fatal(err)
			}
			if !x.Reached || x.Minutes < row.lo-1 || x.Minutes > row.hi+1 {
				t.Errorf("%g °C for %g h at %g h costs %.1f min, want %g to %g", row.dropC, row.hours, atH, x.Minutes, row.lo, row.hi)
			}
			// Held on for that long, the residual is indeed the planned one.
			r := run(t, Defaults(), bath, 9+x.Minutes/60)
			near(t, "residual after the extra hold", r.WMeanEnd, x.Planned, 2e-4)
			if x.AsItWas <= x.Planned {
				t.Errorf("a fallen bath left %.3f %%, no more than planned (%.3f)", x.AsItWas, x.Planned)
			}
		}
	}
}

func TestExtraHoldEdges(t *testing.T) {
	prog := Common()[0]
	for what, bath := range map[string][]Knot{
		"as planned": prog.Knots(22),
		"hotter":     {{0, 76}, {9 * 3600, 76}},
	} {
		x, err := extraHold(Defaults(), prog, 22, bath, 0)
		if err != nil || !x.Reached || x.Hold != 0 {
			t.Errorf("%s: %+v, %v, want no cost", what, x, err)
		}
	}
	// A bath that failed and stayed cold is taken to be back a minute after it was last seen.
	x, err := extraHold(Defaults(), prog, 22, []Knot{{0, 74}, {8 * 3600, 74}, {8*3600 + 60, 40}, {9 * 3600, 40}}, 0)
	if err != nil || !x.Reached || x.Minutes < 70 || x.Minutes > 120 {
		t.Errorf("cold at the end: %+v, %v", x, err)
	}
	// No peroxide, no cure: nothing to make up. Nearly none: not reached, and said.
	p := Defaults()
	p.Peroxide = 0
	if x, err := extraHold(p, prog, 22, []Knot{{0, 40}}, 0); err != nil || x.Hold != 0 {
		t.Errorf("no peroxide: %+v, %v", x, err)
	}
	if _, err := extraHold(Defaults(), Programme{}, 22, prog.Knots(22), 0); err == nil {
		t.Error("an empty programme was taken")
	}
	if _, err := extraHold(Defaults(), prog, 22, nil, 0); err == nil {
		t.Error("an empty bath was taken")
	}
}

// Hours from going in to 2.2 % by bath temperature (3 mm): worked out once with an independent implementation.
func TestHoldFor(t *testing.T) {
	for tempC, hours := range map[float64]float64{68: 23, 70: 17, 72: 12.8, 74: 9.6, 76: 7.3, 78: 5.6, 80: 4.3} {
		d, reached, err := HoldFor(Defaults(), tempC, limitPct)
		if err != nil || !reached {
			t.Fatalf("%g °C: %v, %v", tempC, reached, err)
		}
		near(t, fmt.Sprintf("hours at %g °C to 2.2 %%", tempC), d.Hours(), hours, 0.01*hours)
		r := run(t, Defaults(), []Knot{{0, tempC}}, d.Hours())
		near(t, "residual then", r.WMeanEnd, limitPct, 2e-4)
	}
	if _, reached, err := HoldFor(Defaults(), 50, limitPct); reached || err != nil {
		t.Errorf("50 °C: reached %v, %v", reached, err)
	}
	for _, bad := range [][2]float64{{400, 2}, {math.NaN(), 2}, {74, 0}, {74, 100}, {74, math.NaN()}} {
		if _, _, err := HoldFor(Defaults(), bad[0], bad[1]); err == nil {
			t.Errorf("%g °C to %g %% was taken", bad[0], bad[1])
		}
	}
}

func TestOutOfBand(t *testing.T) {
	prog, err := ParseProgramme("74C 2h, ramp 30min, 100C 1h")
	if err != nil {
		t.Fatal(err)
	}
	rs := []BathReading{
		reading(-5, 20),                                  // before the start
		reading(0, 74), reading(10, 72), reading(20, 76), // on the edge is in band
		reading(30, 71.9), reading(31, 65), reading(32, 70), reading(33, 73), // out, worst 65, back
		reading(60, 77), reading(61, 74),
		reading(130, 80), reading(140, 85), // a ramp is not judged
		reading(160, 100), reading(170, 97), reading(175, 96),
	}
	got := OutOfBand(prog, evening, rs, 0)
	want := []Excursion{
		{rs[4].At, rs[7].At, false, false, 0, 74, 65},
		{rs[8].At, rs[9].At, false, false, 0, 74, 77},
		{rs[13].At, rs[14].At, true, false, 1, 100, 96},
	}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("excursion %d: %+v, want %+v", i, got[i], want[i])
		}
	}
	if got := OutOfBand(prog, evening, rs, 15); len(got) != 0 {
		t.Errorf("in a band of 15 K: %+v", got)
	}
}

// An hour at 60 °C read minute by minute costs what the same fall costs as a curve; two excursions cost about their sum.
func TestExcursionCost(t *testing.T) {
	prog := Common()[0]
	var rs []BathReading
	for min := range 8 * 60 {
		c := 74.0
		if min >= 120 && min < 180 || min >= 300 && min < 330 {
			c = 60
		}
		rs = append(rs, reading(float64(min), c))
	}
	out := OutOfBand(prog, evening, rs, DefaultBandK)
	if len(out) != 2 || out[0].To.Sub(out[0].From) != time.Hour || out[1].WorstC != 60 {
		t.Fatalf("%+v", out)
	}
	sum := 0.0
	for i, want := range []struct{ lo, hi float64 }{{65, 68}, {34, 45}} { // half the time is more than half the cost: the core lags
		x, err := out[i].Cost(Defaults(), prog, 22, evening, rs)
		if err != nil {
			t.Fatal(err)
		}
		if x.Minutes < want.lo || x.Minutes > want.hi {
			t.Errorf("excursion %d costs %.1f min, want %g to %g", i, x.Minutes, want.lo, want.hi)
		}
		sum += x.Minutes
	}
	bath, err := Follow(prog, 22, evening, rs)
	if err != nil {
		t.Fatal(err)
	}
	all, err := extraHold(Defaults(), prog, 22, bath, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "cost of both", all.Minutes, sum, 2)

	// Live, with the bath still out: what it has cost so far, less than at the end.
	so := OutOfBand(prog, evening, rs[:150], DefaultBandK)
	if len(so) != 1 || !so[0].Open {
		t.Fatalf("%+v", so)
	}
	x, err := so[0].Cost(Defaults(), prog, 22, evening, rs[:150])
	if err != nil {
		t.Fatal(err)
	}
	if x.Minutes < 25 || x.Minutes > 40 {
		t.Errorf("half an hour into the fall: %.1f min", x.Minutes)
	}
	if _, err := so[0].Cost(Defaults(), prog, 22, evening, nil); err == nil {
		t.Error("a cost without readings")
	}
}

// A bath that dips five minutes after the flasks went in was not there for good: the hold counts from its coming back. One
// that kept for ten minutes was.
func TestBathIsThereOnceItStaysTenMinutes(t *testing.T) {
	prog := Common()[0]
	start := func(dipMin float64) StageStart {
		bath := []Knot{{0, 74}, {dipMin * 60, 74}, {dipMin*60 + 60, 70}, {25 * 60, 70}, {26 * 60, 74}, {9 * 3600, 74}}
		r, err := Simulate(Defaults(), bath, RunOptions{})
		if err != nil {
			t.Fatal(err)
		}
		return HoldStarts(prog, bath, &r)[0]
	}
	if s := start(5); !s.Bath || s.BathMin < 25 {
		t.Errorf("a dip after 5 min: there after %.1f min", s.BathMin)
	}
	if s := start(11); !s.Bath || s.BathMin != 0 {
		t.Errorf("a dip after 11 min: there after %.1f min", s.BathMin)
	}
}

// Flory-Huggins at 20 wt% and the boiling point, worked out by hand with 0.94 and 1.18 kg/L.
func TestBoilRatioByHand(t *testing.T) {
	near(t, "20 wt%", boilRatio(Air(0).MonomerBoilsC(), boilC, 20), 0.6831, 0.001)
}
