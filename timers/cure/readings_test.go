package cure

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var evening = time.Date(2026, 11, 24, 22, 0, 0, 0, time.FixedZone("CET", 3600))

func reading(min, c float64) BathReading {
	return BathReading{evening.Add(time.Duration(min * float64(time.Minute))), c}
}

func TestFollowTakesSoManyReadings(t *testing.T) {
	if _, err := Follow(Common()[0], 22, evening, make([]BathReading, MaxReadings+1)); err == nil {
		t.Error("too many readings were taken")
	}
}

func TestFollow(t *testing.T) {
	prog, err := ParseProgramme("74C 2h, ramp 30min, 100C 1h")
	if err != nil {
		t.Fatal(err)
	}
	at := func(bath []Knot, min float64) float64 { return BathAt(bath, min*60) }

	// No readings, or only another day's: the set point.
	for _, rs := range [][]BathReading{nil, {reading(-10, 60)}, {reading(-60*24*30, 60)}} {
		bath, err := Follow(prog, 22, evening, rs)
		if err != nil || len(bath) != 4 || at(bath, 0) != 74 || at(bath, 210) != 100 {
			t.Errorf("%v: %v, %v", rs, bath, err)
		}
	}

	// Readings replace the set point up to the last one, the set point holds after, joined over a minute.
	bath, err := Follow(prog, 22, evening, []BathReading{reading(-1, 72), reading(1, 70), reading(10, 74.05), reading(20, 74), reading(60, 71)})
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct{ min, want, tol float64 }{
		{0, 71, 1e-9}, {1, 70, 1e-9}, {10, 74.05, ThinK}, {20, 74, ThinK}, {40, 72.5, ThinK}, {60, 71, 1e-9},
		{61, 74, 1e-9}, {120, 74, 1e-9}, {135, 87, 1e-9}, {150, 100, 1e-9}, {210, 100, 1e-9},
	} {
		near(t, fmt.Sprintf("bath at %g min", row.min), at(bath, row.min), row.want, row.tol)
	}

	// Late first reading: the set point until a minute before.
	bath, err = Follow(prog, 22, evening, []BathReading{reading(30, 60), reading(40, 74)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "before the first reading", at(bath, 29), 74, 1e-9)
	near(t, "at the first reading", at(bath, 30), 60, 1e-9)

	// A cold start begins where the bath was.
	coldStart, _ := ParseProgramme("ramp 1h, 100C 30min")
	bath, err = Follow(coldStart, 18, evening, nil)
	if err != nil || at(bath, 0) != 18 || at(bath, 30) != 59 {
		t.Errorf("cold start: %v, %v", bath, err)
	}

	// Readings past the end, and right before it, leave a curve that reaches the end.
	for _, last := range []float64{205, 209.5, 210, 230} {
		bath, err = Follow(prog, 22, evening, []BathReading{reading(0, 74), reading(last, 99)})
		if err != nil {
			t.Fatal(err)
		}
		if err := CheckBath(bath); err != nil {
			t.Error(err)
		}
		if end := bath[len(bath)-1].TimeS; end != math.Max(210, last)*60 {
			t.Errorf("last reading at %g min: the curve ends at %g", last, end/60)
		}
	}

	for what, rs := range map[string][]BathReading{
		"runs back": {reading(5, 74), reading(4, 74)},
		"too hot":   {reading(5, 140)},
		"NaN":       {reading(5, 74), {evening.Add(time.Hour), math.NaN()}},
	} {
		if _, err := Follow(prog, 22, evening, rs); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
	// The same moment read twice: the later word.
	bath, err = Follow(prog, 22, evening, []BathReading{reading(0, 74), reading(5, 90), reading(5, 74), reading(10, 74)})
	if err != nil || at(bath, 5) != 74 {
		t.Errorf("read twice: %v, %v", bath, err)
	}
}

// Whatever was read, the curve is a bath a run takes, no farther than ThinK from any reading.
func TestFollowProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prog := anyProgramme(t)
		var rs []BathReading
		min := rapid.Float64Range(-100, 100).Draw(t, "first")
		for range rapid.IntRange(0, 60).Draw(t, "readings") {
			rs = append(rs, reading(min, rapid.Float64Range(0, 130).Draw(t, "c")))
			min += rapid.SampledFrom([]float64{0, 0.01, 1, 1, 1, 30}).Draw(t, "gap")
		}
		bath, err := Follow(prog, 20, evening, rs)
		if err != nil {
			t.Fatal(err)
		}
		if err := CheckBath(bath); err != nil {
			t.Fatal(err)
		}
		if bath[0].TimeS != 0 || bath[len(bath)-1].TimeS < prog.Total().Seconds() {
			t.Fatalf("curve from %g to %g s", bath[0].TimeS, bath[len(bath)-1].TimeS)
		}
		for i, r := range rs {
			s := r.At.Sub(evening).Seconds()
			if s < 0 || i+1 < len(rs) && rs[i+1].At.Equal(r.At) {
				continue
			}
			if d := math.Abs(BathAt(bath, s) - r.TempC); d > ThinK+1e-9 {
				t.Fatalf("curve is %g K off the reading at %g s", d, s)
			}
		}
	})
}

func TestThin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var bath []Knot
		s, c := 0.0, 74.0
		for range rapid.IntRange(1, 200).Draw(t, "points") {
			bath = append(bath, Knot{s, c})
			s += rapid.Float64Range(1, 100).Draw(t, "gap")
			c += rapid.Float64Range(-0.2, 0.2).Draw(t, "step")
		}
		thin := Thin(bath, 0.1)
		if thin[0] != bath[0] || thin[len(thin)-1] != bath[len(bath)-1] || len(thin) > len(bath) {
			t.Fatal("the ends moved")
		}
		for _, k := range bath {
			if math.Abs(BathAt(thin, k.TimeS)-k.TempC) > 0.1+1e-9 {
				t.Fatalf("%g K off at %g s", BathAt(thin, k.TimeS)-k.TempC, k.TimeS)
			}
		}
	})
	steady := make([]Knot, 841)
	for i := range steady {
		steady[i] = Knot{float64(i) * 60, 74 + 0.04*float64(i%2)}
	}
	if n := len(Thin(steady, 0.1)); n != 2 {
		t.Errorf("%d points left of a steady bath, want 2", n)
	}
	if n := len(Thin(steady, 0)); n != 841 {
		t.Errorf("%d points left without a tolerance, want all", n)
	}
}

// Thinned readings give the same cure, in less time.
func TestThinnedRunAgrees(t *testing.T) {
	full := minuteReadings()
	thin := Thin(full, ThinK)
	a, b := run(t, Defaults(), full, 14), run(t, Defaults(), thin, 14)
	near(t, "residual from thinned readings", b.WMeanEnd, a.WMeanEnd, 0.01)
	near(t, "peak from thinned readings", b.Peak, a.Peak, 0.15)
}

func TestFrom(t *testing.T) {
	bath := []Knot{{0, 70}, {600, 80}, {1200, 80}}
	late := from(bath, 300)
	if len(late) != 3 || late[0] != (Knot{0, 75}) || late[1] != (Knot{300, 80}) || late[2] != (Knot{900, 80}) {
		t.Errorf("%v", late)
	}
	if got := from(bath, 5000); len(got) != 1 || got[0] != (Knot{0, 80}) {
		t.Errorf("after the end: %v", got)
	}
	if from(nil, 0) != nil {
		t.Error("a bath from nothing")
	}
}
