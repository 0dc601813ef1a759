package cure

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func stay(t *testing.T, notation string, in time.Duration) Stay {
	t.Helper()
	p, err := ParseProgramme(notation)
	if err != nil {
		t.Fatal(err)
	}
	return Stay{Programme: p, Start: evening, BathC: p.Stages[0].TempC, In: in, Out: true, Thick: Defaults()}
}

func TestStanding(t *testing.T) {
	const boil = "74C 8h, ramp 30min, 100C 1h"
	full := 9*time.Hour + 30*time.Minute
	for _, row := range []struct {
		what  string
		y     Stay
		bathC float64
		read  [][2]float64 // minutes, °C
		want  Adherence
	}{
		{"no reading", stay(t, boil, full), 74, nil, TimeOnly},
		{"no reading and out early", stay(t, boil, time.Hour), 74, nil, TimeOnly},
		{"one in each hold", stay(t, boil, full), 74, [][2]float64{{120, 74}, {540, 100}}, AsSet},
		{"none in the boil", stay(t, boil, full), 74, [][2]float64{{60, 74}, {120, 74}, {400, 74.5}}, TimeOnly},
		{"a cold bath, three readings of 24", stay(t, boil, full), 23, [][2]float64{{60, 24}, {120, 24}, {400, 24}}, OffTemperature},
		{"a cold bath as it went in and nothing since", stay(t, boil, full), 23, nil, OffTemperature},
		{"cold in the boil", stay(t, boil, full), 74, [][2]float64{{120, 74}, {530, 80}}, OffTemperature},
		{"an hour at 60 in the night", stay(t, "74C 9h", 9*time.Hour), 74, [][2]float64{{120, 74}, {125, 60}, {185, 60}, {190, 74}, {500, 74}}, OffTemperature},
		{"the same, held an hour and a half longer", stay(t, "74C 9h", 10*time.Hour+30*time.Minute), 74, [][2]float64{{120, 74}, {125, 60}, {185, 60}, {190, 74}, {500, 74}, {620, 74}}, AsSet},
		{"a small dip as they went in", stay(t, "74C 9h", 9*time.Hour), 74, [][2]float64{{4, 71}, {13, 73.5}, {60, 74}}, AsSet},
		{"too hot", stay(t, "74C 9h", 9*time.Hour), 74, [][2]float64{{60, 74}, {120, 85}, {180, 74}}, OffTemperature},
		{"out an hour early", stay(t, "74C 9h", 8*time.Hour), 74, [][2]float64{{60, 74}, {400, 74}}, OffTemperature},
	} {
		row.y.BathC = row.bathC
		for _, r := range row.read {
			row.y.Readings = append(row.y.Readings, reading(r[0], r[1]))
		}
		s, err := row.y.Stand()
		if err != nil {
			t.Fatal(err)
		}
		if s.Word != row.want {
			t.Errorf("%s: %q, want %q: %+v", row.what, s.Word, row.want, s)
		}
	}
}

// Whatever was read: without a reading in every hold a cure is never as set; nor is one that was out early, or whose bath
// was read cold in half of its holds.
func TestNeverAsSetOnTimeAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prog := anyCure(t)
		y := Stay{Programme: prog, Start: evening, BathC: prog.Stages[0].TempC, Out: true, Thick: Defaults()}
		y.In = time.Duration(rapid.Float64Range(0.01, 1.3).Draw(t, "in") * float64(prog.Total())).Round(time.Second)
		at, cold, coldS := 0.0, false, math.Inf(1) // from when on it was seen cold
		inHold := make([]bool, len(prog.Stages))
		coldIn := make([]int, len(prog.Stages))
		for range rapid.IntRange(0, 12).Draw(t, "readings") {
			at += rapid.Float64Range(1, 200).Draw(t, "gap")
			after := time.Duration(at * float64(time.Minute))
			stage, setC, holds := prog.Hold(after)
			c := setC
			cold = cold || rapid.IntRange(0, 9).Draw(t, "heater") == 0
			if cold {
				c, coldS = 24, min(coldS, after.Seconds())
			}
			if holds && after <= y.In {
				inHold[stage] = true
				if cold {
					coldIn[stage]++
				}
			}
			y.Readings = append(y.Readings, reading(at, c))
		}
		s, err := y.Stand()
		if err != nil {
			t.Fatal(err)
		}
		for i, ok := range inHold {
			_, endS := prog.span(i)
			last := i == len(inHold)-1 && y.In.Seconds() > endS
			if !ok && !last && s.Word == AsSet {
				t.Fatalf("hold %d was not read: %+v", i+1, s)
			}
			if coldIn[i] > 0 && cold && s.Word == AsSet && y.In >= prog.Total() && prog.Stages[i].Hold > time.Hour && i == len(inHold)-1 &&
				coldS < endS-prog.Stages[i].Hold.Seconds()/2 { // later, what is missing can be less than is told of
				t.Fatalf("a bath that went cold and stayed so: %+v", s)
			}
		}
		if y.In < prog.Total()*8/10 && s.Word == AsSet {
			t.Fatalf("out after %s of %s: %+v", y.In, prog.Total(), s)
		}
		if len(y.Readings) == 0 && s.Word != TimeOnly {
			t.Fatalf("without a reading: %+v", s)
		}
	})
}
