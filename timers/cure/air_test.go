package cure

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// IAPWS-IF97, table 36: saturation temperature by the backward equation of region 4.
func TestWaterBoilsByIF97(t *testing.T) {
	for _, row := range []struct{ hPa, kelvin float64 }{{1e3, 372.755919}, {1e4, 453.035632}, {1e5, 584.149488}} {
		near(t, fmt.Sprintf("%g hPa", row.hPa), Air(row.hPa).WaterBoilsC()+Kelvin, row.kelvin, 5e-7)
	}
	// 99.974 °C at 1013.25 hPa: a national metrology guide on the ice point, figure 1.
	near(t, "standard atmosphere", SeaLevel.WaterBoilsC(), 99.974, 5e-4)
}

// The standard atmosphere: ASHRAE's table as held against by public psychrometric libraries.
func TestAirAtAltitude(t *testing.T) {
	for m, pa := range map[float64]float64{0: 101325, 500: 95461, 1000: 89875, 4000: 61640} {
		a, err := AtAltitude(m)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("%g m", m), float64(a)*100, pa, 2)
	}
	for _, m := range []float64{math.NaN(), math.Inf(1), -451, 5501} {
		if _, err := AtAltitude(m); err == nil {
			t.Errorf("%g m was taken", m)
		}
	}
	for _, bad := range []Air{Air(math.NaN()), -1, 100, 479, 1091, 101325} {
		if bad.Valid() == nil {
			t.Errorf("%g hPa was taken", float64(bad))
		}
	}
}

// Measured boiling points in the Alps and Scotland: data set forbes of the R package MASS (17 pairs, °F and inches of
// mercury). Its 12th pair is the outlier of the textbooks.
func TestWaterBoilsAsForbesMeasured(t *testing.T) {
	const paPerInHg = 3386.389
	for i, row := range [][2]float64{
		{194.5, 20.79}, {194.3, 20.79}, {197.9, 22.40}, {198.4, 22.67}, {199.4, 23.15}, {199.9, 23.35}, {200.9, 23.89}, {201.1, 23.99}, {201.4, 24.02},
		{201.3, 24.01}, {203.6, 25.14}, {204.6, 26.57}, {209.5, 28.49}, {208.6, 27.76}, {210.7, 29.04}, {211.9, 29.88}, {212.2, 30.06},
	} {
		tol := 0.23
		if i == 11 {
			tol = 0.8
		}
		near(t, fmt.Sprintf("pair %d", i+1), Air(row[1]*paPerInHg/100).WaterBoilsC(), (row[0]-32)/1.8, tol)
	}
}

// Water by IF97 and monomer by Clausius and Clapeyron from 100.2 °C, worked out once elsewhere.
func TestBoilingPointsByAltitude(t *testing.T) {
	for _, row := range []struct{ m, water, monomer float64 }{
		{0, 99.97, 100.2}, {500, 98.31, 98.3}, {1000, 96.65, 96.4}, {1600, 94.65, 94.1}, {2500, 91.64, 90.7}, {4000, 86.62, 84.9},
	} {
		a, err := AtAltitude(row.m)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("water at %g m", row.m), a.WaterBoilsC(), row.water, 0.01)
		near(t, fmt.Sprintf("monomer at %g m", row.m), a.MonomerBoilsC(), row.monomer, 0.08)
		near(t, "vapour of pure monomer there", boilRatio(a.MonomerBoilsC(), a.MonomerBoilsC(), 100), 1, 1e-9)
	}
	if Air(0).WaterBoilsC() != 100 || Air(0).MonomerBoilsC() != boilC {
		t.Error("without a place the limits are not those of teaching texts")
	}
}

func at1600(t *testing.T) Air {
	a, err := AtAltitude(1600)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// At 1,600 m a boil of an hour leaves 1.2 %, not 0.5 %, and about 1 h 48 min of it leaves what an hour at 100 °C does.
func TestBoilIsCappedByTheAir(t *testing.T) {
	prog := Common()[2] // 74 °C 2 h, ramp 30 min, 100 °C 1 h
	here, capped := prog.Under(at1600(t))
	if len(capped) != 1 || capped[0].Stage != 1 || capped[0].SetC != 100 || math.Abs(capped[0].BoilsC-94.65) > 0.01 || here.Stages[1].TempC != capped[0].BoilsC {
		t.Fatalf("%+v", capped)
	}
	r := run(t, Defaults(), here.Knots(22), here.Total().Hours())
	near(t, "residual at 1,600 m", r.WMeanEnd, 1.2, 0.06)
	p := run(t, Defaults(), prog.Knots(22), prog.Total().Hours())
	near(t, "residual at sea level", p.WMeanEnd, 0.5, 0.06)
	x, err := Longer(Defaults(), prog, 22, at1600(t))
	if err != nil || len(x) != 1 || !x[0].Reached {
		t.Fatalf("%+v, %v", x, err)
	}
	if min := 60 + x[0].Minutes; min < 103 || min > 116 {
		t.Errorf("%.0f min make up for 60 at 100 °C, want 106 to 110 or so", min)
	}
	// Weather is no altitude, and below the sea nothing gets shorter.
	for _, hPa := range []Air{1000, SeaLevel, 1050, 1085, 0} {
		if p, capped := prog.Under(hPa); len(capped) > 0 || p.Stages[1].TempC != 100 {
			t.Errorf("%g hPa: %+v", float64(hPa), capped)
		}
		if x, err := Longer(Defaults(), prog, 22, hPa); err != nil || len(x) > 0 {
			t.Errorf("%g hPa: %+v, %v", float64(hPa), x, err)
		}
	}
}

// A thick base at 74 °C is above the boiling point of monomer at 1,600 m and below it at the sea; the boil of a thin one
// that is nearly cured is no caution there either.
func TestCautionMovesWithTheAir(t *testing.T) {
	caution := func(mm float64, prog Programme, a Air) Range {
		p := section(t, mm, "")
		here, _ := prog.Under(a)
		r, err := Simulate(p, here.Knots(22), RunOptions{EndS: here.Total().Seconds(), Air: a})
		if err != nil {
			t.Fatal(err)
		}
		return rangeOf(&r, &r)
	}
	if r := caution(8, Common()[0], 0); r.MayBoil {
		t.Errorf("8 mm at the sea: %s", r.CautionText)
	}
	if r := caution(8, Common()[0], at1600(t)); !r.MayBoil || math.Abs(r.BoilsC-94.1) > 0.1 {
		t.Errorf("8 mm at 1,600 m: boils at %.2f, caution %q", r.BoilsC, r.CautionText)
	}
	for _, mm := range []float64{2, 3, 4} {
		if r := caution(mm, Common()[1], at1600(t)); r.MayBoil {
			t.Errorf("%g mm, boil after 8 h at 1,600 m: %s", mm, r.CautionText)
		}
	}
}

// Less air never lets a stage be hotter, a hold shorter or the limit higher.
func TestThinnerAirNeverShortens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prog := anyProgramme(t)
		a := Air(rapid.Float64Range(MinAirHPa, MaxAirHPa).Draw(t, "hPa"))
		b := Air(rapid.Float64Range(MinAirHPa, float64(a)).Draw(t, "less"))
		if b.WaterBoilsC() > a.WaterBoilsC() || b.MonomerBoilsC() > a.MonomerBoilsC() {
			t.Fatal("a boiling point rises as the air gets thinner")
		}
		pa, _ := prog.Under(a)
		pb, cb := prog.Under(b)
		if pb.Total() != prog.Total() {
			t.Fatal("the length changed")
		}
		for i := range prog.Stages {
			if pb.Stages[i].TempC > pa.Stages[i].TempC || pa.Stages[i].TempC > prog.Stages[i].TempC {
				t.Fatal("a stage got hotter")
			}
		}
		for _, c := range cb {
			if c.SetC <= c.BoilsC {
				t.Fatal("capped upward")
			}
		}
	})
}
