package cure

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/timers/longrun"
)

// anyCure is a programme that a laboratory might have: one to three stages that do not get cooler.
func anyCure(t *rapid.T) Programme {
	var p Programme
	tempC := 0.0
	for i := range rapid.IntRange(1, 3).Draw(t, "stages") {
		c := rapid.SampledFrom([]float64{65, 68, 70, 73, 74, 78, 85, 95, 100}).Draw(t, "temp")
		tempC = math.Max(tempC, c)
		s := Stage{TempC: tempC, Hold: time.Duration(rapid.SampledFrom([]int{30, 45, 60, 90, 120, 240, 480, 540}).Draw(t, "hold")) * time.Minute}
		if i > 0 || rapid.IntRange(0, 4).Draw(t, "cold start") == 0 {
			s.Ramp = time.Duration(rapid.SampledFrom([]int{0, 10, 20, 30, 60}).Draw(t, "ramp")) * time.Minute
		}
		p.Stages = append(p.Stages, s)
	}
	return p
}

// anyDips is a bath that follows its programme up to nowS but for some dips, and by the clock after it.
func anyDips(t *rapid.T, prog Programme) (bath []Knot, nowS float64) {
	total := prog.Total().Seconds()
	nowS = math.Floor(rapid.Float64Range(0.02, 1).Draw(t, "now") * total)
	var rs []BathReading
	start := time.Unix(0, 0)
	set := prog.Knots(22)
	type dip struct{ from, to, c float64 }
	var dips []dip
	for range rapid.IntRange(0, 3).Draw(t, "dips") {
		from := rapid.Float64Range(0, 1).Draw(t, "from") * nowS
		dips = append(dips, dip{from, from + rapid.Float64Range(0, 1).Draw(t, "long")*(nowS-from), rapid.SampledFrom([]float64{15, 24, 40, 55, 62, 68, 72}).Draw(t, "to")})
	}
	if rapid.IntRange(0, 5).Draw(t, "heater off") == 0 {
		dips = append(dips, dip{0, nowS, rapid.SampledFrom([]float64{15, 24, 40}).Draw(t, "cold")})
	}
	for s := 0.0; s <= nowS; s += math.Max(60, total/300) {
		c := BathAt(set, s)
		for _, d := range dips {
			if s >= d.from && s <= d.to {
				c = math.Min(c, d.c)
			}
		}
		rs = append(rs, BathReading{start.Add(time.Duration(s) * time.Second), c})
	}
	bath, err := Follow(prog, 22, start, rs)
	if err != nil {
		t.Fatal(err)
	}
	return bath, rs[len(rs)-1].At.Sub(start).Seconds()
}

// above is when the core first passes limit, in s; +Inf for never.
func above(r Result, limit float64) float64 {
	for i, c := range r.Curve.CoreC {
		if c > limit {
			return r.Curve.TimeS[i]
		}
	}
	return math.Inf(1)
}

// Whatever the programme and whatever the dips: who follows the advice never has more residual than the programme leaves,
// never has the thick part above 100 °C sooner than by the programme or by the clock, and never takes out a load that got
// no heat sooner than the programme begun anew allows. The advice never names a temperature that is not the programme's,
// nor fewer minutes than none.
func TestMakeUpNeverShortensNorHeats(t *testing.T) {
	longrun.Checks(t, 40, 100)
	rapid.Check(t, func(t *rapid.T) {
		prog := anyCure(t)
		bath, nowS := anyDips(t, prog)
		thin, err := ForSection(rapid.SampledFrom([]float64{1.5, 2, 3, 4}).Draw(t, "thin"), "")
		if err != nil {
			t.Fatal(err)
		}
		thick, err := ForSection(rapid.SampledFrom([]float64{4, 6, 8, 10}).Draw(t, "thick"), "")
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range []*Params{&thin, &thick} {
			p.PowderLiquid = rapid.SampledFrom([]float64{1.8, 2, 2.4}).Draw(t, "pl")
		}
		m, err := Make(thin, thick, prog, 22, bath, nowS)
		if err != nil {
			t.Fatal(err)
		}
		if m.Hold < 0 || m.Tail < 0 || m.Out < prog.Total() || m.SetC != prog.Stages[m.Stage].TempC {
			t.Fatalf("%+v of %s", m, prog)
		}
		hottest := 0.0
		for _, s := range prog.Stages {
			hottest = math.Max(hottest, s.TempC)
		}
		for _, k := range m.Bath {
			if k.TimeS > nowS && k.TempC > hottest+1e-9 {
				t.Fatalf("the advice goes to %g °C, the programme to %g", k.TempC, hottest)
			}
		}
		cold := true
		for _, k := range bath {
			cold = cold && (k.TimeS > nowS || k.TempC < 45)
		}
		if cold && nowS > 0 && BathAt(bath, nowS) < BathAt(prog.Knots(22), nowS)-2 && (!m.Again || m.Out.Seconds() < nowS+prog.Total().Seconds()-1) {
			t.Fatalf("no heat for %.0f min of %s, out after %s: %+v", nowS/60, prog, m.Out, m)
		}
		if !m.Reached {
			return
		}
		o := RunOptions{EndS: m.Out.Seconds()}
		r, err := Simulate(thin, m.Bath, o)
		if err != nil {
			t.Fatal(err)
		}
		if r.WMeanEnd > m.Planned*(1+3e-3)+1e-6 {
			t.Fatalf("%s leaves %.4f %%, by the advice %.4f %%: %+v", prog, m.Planned, r.WMeanEnd, m)
		}
		adv, err := Simulate(thick, m.Bath, o)
		if err != nil {
			t.Fatal(err)
		}
		// Both go on at the last temperature: a programme so short that it ends before the resin warms itself is none to
		// be held against.
		plan, err := Simulate(thick, prog.Knots(22), o)
		if err != nil {
			t.Fatal(err)
		}
		clock, err := Simulate(thick, bath, o)
		if err != nil {
			t.Fatal(err)
		}
		if _, endS := prog.span(m.Stage); !m.Again && m.Hold > 0 {
			// Nothing hotter comes before the thick part is as far as planned.
			p, err := Simulate(thick, prog.Knots(22), RunOptions{EndS: endS, AtS: []float64{endS}})
			if err != nil {
				t.Fatal(err)
			}
			heldS := math.Max(endS, nowS) + m.Hold.Seconds()
			a, err := Simulate(thick, m.Bath, RunOptions{EndS: heldS, AtS: []float64{heldS}})
			if err != nil {
				t.Fatal(err)
			}
			if a.WCore[0] > p.WCore[0]*1.005+0.02 {
				t.Fatalf("core of the thick part %.3f %%, planned %.3f %%: %+v", a.WCore[0], p.WCore[0], m)
			}
		}
		// Half a kelvin: a thinned bath and a step's length are not told apart.
		if a := above(adv, 100.5); a < math.Min(above(plan, 100), above(clock, 100))-60 {
			t.Fatalf("%s: above 100 °C after %.0f min by the advice, %.0f planned, %.0f by the clock: %+v", prog, a/60, above(plan, 100)/60, above(clock, 100)/60, m)
		}
	})
}

// Two hours at 24 °C in a programme of 73 °C 90 min and 100 °C 30 min: nothing was held at either temperature.
func TestColdBathIsBegunAnew(t *testing.T) {
	prog, err := ParseProgramme("73C 90min, ramp 30min, 100C 30min")
	if err != nil {
		t.Fatal(err)
	}
	var rs []BathReading
	for i := range 120 {
		rs = append(rs, reading(float64(i), 24))
	}
	bath, err := Follow(prog, 22, evening, rs)
	if err != nil {
		t.Fatal(err)
	}
	for _, nowMin := range []float64{30, 60, 100, 120} {
		m, err := Make(Defaults(), Defaults(), prog, 22, bath, nowMin*60)
		if err != nil {
			t.Fatal(err)
		}
		if !m.Again || m.Out < time.Duration(nowMin)*time.Minute+prog.Total() {
			t.Errorf("after %g min: %+v", nowMin, m)
		}
	}
	xs := OutOfBand(prog, evening, rs, 0)
	if len(xs) != 1 || xs[0].SetC != 73 {
		t.Fatalf("%+v: 73 °C was due", xs)
	}
	x, err := xs[0].Cost(Defaults(), prog, 22, evening, rs)
	if err != nil || !x.Never || x.SetC != 73 {
		t.Errorf("%+v, %v", x, err)
	}
	for i := 120; i < 151; i++ {
		rs = append(rs, reading(float64(i), 24))
	}
	xs = OutOfBand(prog, evening, rs, 0)
	if len(xs) != 2 || xs[0].SetC != 73 || xs[0].To != evening.Add(90*time.Minute) || xs[0].Open || xs[1].SetC != 100 || !xs[1].Goes || !xs[1].Open {
		t.Errorf("off in both holds: %+v", xs)
	}
	// Both are cold: that is not the core at the temperature of the bath.
	r := run(t, Defaults(), []Knot{{0, 24}}, 2)
	if r.CoreAtBath {
		t.Errorf("core at a bath of 24 °C after %g min", r.CoreAtBathMin)
	}
	if rg := rangeOf(&r, &r); strings.Contains(rg.AtBathText, "about 0 min") {
		t.Error(rg.AtBathText)
	}
	// A cold start: core and bath come up together, and are told from 60 °C on.
	cold, err := Simulate(Defaults(), []Knot{{0, 22}, {4 * 3600, 74}, {8 * 3600, 74}}, RunOptions{})
	if err != nil || cold.CoreAtBath && cold.CoreAtBathMin < 38.0/52*240 {
		t.Errorf("%v, %v", cold.CoreAtBathMin, err)
	}
}

// A bath that fell in the first stage is made up in the first stage, before the boil and at its temperature; one whose
// boil has begun goes back to it.
func TestEachStageAtItsOwnTemperature(t *testing.T) {
	prog, err := ParseProgramme("74C 2h, ramp 30min, 100C 1h")
	if err != nil {
		t.Fatal(err)
	}
	bath := []Knot{{0, 74}, {50 * 60, 74}, {51 * 60, 40}, {110 * 60, 40}, {111 * 60, 74}, {7200, 74}, {9000, 100}, {12600, 100}}
	m, err := Make(Defaults(), Defaults(), prog, 22, bath, 111*60)
	if err != nil {
		t.Fatal(err)
	}
	if m.Again || m.Back || m.Stage != 0 || m.SetC != 74 || m.Hold < 40*time.Minute || m.Hold > 100*time.Minute {
		t.Errorf("in the first stage: %+v", m)
	}
	m, err = Make(Defaults(), section(t, 8, ""), prog, 22, bath, 7260)
	if err != nil {
		t.Fatal(err)
	}
	if m.Again || !m.Back || m.Stage != 0 || m.SetC != 74 || m.Out < prog.Total()+40*time.Minute {
		t.Errorf("with the ramp begun: %+v", m)
	}
	// A bath that kept its programme asks for nothing, at any moment.
	for _, s := range []float64{0, 60, 1800, 7200, 8000, 12600} {
		m, err := Make(Defaults(), section(t, 8, ""), prog, 22, prog.Knots(22), s)
		if err != nil || !m.None() || m.Out != prog.Total() {
			t.Errorf("at %g s: %+v, %v", s, m, err)
		}
	}
}

// A thick part comes raw into the boil where a dip in the first stage is not made up in it: 117 °C by the clock, and below
// boiling monomer by the advice.
func TestDipIsMadeUpBeforeTheBoil(t *testing.T) {
	prog, err := ParseProgramme("74C 1h, ramp 10min, 100C 30min")
	if err != nil {
		t.Fatal(err)
	}
	bath := []Knot{{0, 40}, {1500, 40}, {1560, 74}, {3600, 74}, {4200, 100}, {6000, 100}}
	thick := section(t, 10, "large")
	thin := section(t, 1.5, "small")
	m, err := Make(thin, thick, prog, 22, bath, 1560)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := Simulate(thick, bath, RunOptions{EndS: 6000})
	if err != nil {
		t.Fatal(err)
	}
	made, err := Simulate(thick, m.Bath, RunOptions{EndS: m.Out.Seconds()})
	if err != nil {
		t.Fatal(err)
	}
	if raw.Peak < 110 || made.Peak > boilC || m.Hold < 15*time.Minute {
		t.Errorf("peak by the clock %.0f °C, by the advice %.0f °C: %+v", raw.Peak, made.Peak, m)
	}
}
