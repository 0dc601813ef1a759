package bath

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/timers/longrun"
)

var start = time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)

// nineHours is one medium flask of 3 mm in 74 °C for 9 h, in a bath so large that it
// hardly notices.
func nineHours() LoadCase {
	p, err := cure.ParseProgramme("74C 9h")
	if err != nil {
		panic(err)
	}
	return LoadCase{Load: 1, Bath: 1, Programme: p, Start: start, BathC: 74, BandK: 2, RoomC: 22, ThinMM: 3, ThickMM: 3, Size: "medium", Flasks: 1, Ratio: bench.Ratio{Mass: 2, From: "mix A"},
		Tank: tankOf(house.Bath{Litres: 500, HeaterW: 20000}, 22)}
}

// readings are one a minute; at gives the bath at minutes in.
func readings(c *LoadCase, from, to int, at func(min float64) float64) {
	for i := from; i <= to; i++ {
		c.Readings = append(c.Readings, cure.BathReading{At: c.Start.Add(time.Duration(i) * time.Minute), TempC: at(float64(i))})
	}
}

func estimate(t *testing.T, c LoadCase) LoadEstimate {
	t.Helper()
	e, err := c.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// TestAgainstTheReferenceCases holds an undisturbed load against the reference cases
// in testdata/cure (SciPy's Radau, see the README there).
func TestAgainstTheReferenceCases(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/cure/golden.json")
	if err != nil {
		t.Fatal(err)
	}
	var g struct {
		Cases []struct {
			Name string
			Grid struct {
				Peak float64
				Over float64
				Min  float64 `json:"t_over_min"`
				W    float64 `json:"w_mean_end"`
			} `json:"grid_a"`
		}
	}
	if err := json.Unmarshal(raw, &g); err != nil {
		t.Fatal(err)
	}
	for i, c := range []LoadCase{nineHours(), nineHours()} {
		if i == 1 {
			c.ThinMM, c.ThickMM = 6, 6
			if c.Programme, err = cure.ParseProgramme("74C 8h, ramp 30min, 100C 1h"); err != nil {
				t.Fatal(err)
			}
		}
		e, want := estimate(t, c), g.Cases[i]
		r := e.Cure.Thinnest
		// The bath of the load dips by a few hundredths of a kelvin.
		if math.Abs(r.WMeanEnd-want.Grid.W) > 0.01 || math.Abs(r.Over-want.Grid.Over) > 0.1 || math.Abs(r.TOverMin-want.Grid.Min) > 1.5 {
			t.Errorf("%s: residual %.4f over %.3f at %.1f min, want %+v", want.Name, r.WMeanEnd, r.Over, r.TOverMin, want.Grid)
		}
		if !e.MakeUp.None() {
			t.Errorf("%s: an undisturbed bath costs %+v", want.Name, e.MakeUp)
		}
	}
}

// TestDroppedBath: the cost of a bath that fell to 60 °C for an hour in the middle
// of the night. The reference model, for a fall at different hours, gives 58 to 67
// minutes; 65 °C for an hour 46 to 53, 40 °C for four hours 257 to 270.
func TestDroppedBath(t *testing.T) {
	for _, c := range []struct {
		toC    float64
		h      int
		lo, hi float64
	}{{60, 1, 58, 67}, {65, 1, 46, 53}, {40, 4, 257, 270}} {
		x := nineHours()
		readings(&x, 0, 540, func(m float64) float64 {
			if m >= 180 && m < 180+float64(60*c.h) {
				return c.toC
			}
			return 74
		})
		e := estimate(t, x)
		got := e.MakeUp.Longer(x.Programme).Minutes()
		if got < c.lo-1 || got > c.hi+1 {
			t.Errorf("%g °C for %d h costs %.0f min, want %g to %g", c.toC, c.h, got, c.lo, c.hi)
		}
		if len(e.Excursions) != 1 || e.Excursions[0].Open || e.Excursions[0].WorstC != c.toC || math.Abs(e.Excursions[0].Minutes-got) > 2 {
			t.Errorf("the excursion is %+v, all of it costs %.0f min", e.Excursions, got)
		}
	}
}

// TestThinnestAndThickest: the residual is that of the thin section, the peak that
// of the thick one.
func TestThinnestAndThickest(t *testing.T) {
	c := nineHours()
	c.ThinMM, c.ThickMM = 2, 8
	e := estimate(t, c)
	if a := e.Cure.Thinnest.Params; a.SectionMM() != 2 || e.Cure.Range.Residual.Value != e.Cure.Thinnest.WMeanEnd {
		t.Errorf("the residual is that of %g mm", a.SectionMM())
	}
	if a := e.Cure.Thickest.Params; a.SectionMM() != 8 || e.Cure.Range.Peak.Value != e.Cure.Thickest.Peak {
		t.Errorf("the peak is that of %g mm", a.SectionMM())
	}
}

// TestColdBath: a bath loaded cold on a programme without a ramp climbs as a body of
// water with one heater and one loss does (lumped capacitance, any textbook of heat
// transfer): T = Te - (Te - T0) exp(-t UA/C), Te = room + P/UA.
func TestColdBath(t *testing.T) {
	c := nineHours()
	c.BathC, c.Tank = 22, tankOf(house.Bath{Litres: 10, HeaterW: 1000}, 22)
	e := estimate(t, c)
	heat := 10*0.98*4190 + c.Tank.MetalJPK + 2000
	te := 22 + 1000/c.Tank.LossWPerK
	want := -heat / c.Tank.LossWPerK * math.Log((te-72)/(te-22)) / 60
	if h := e.Holds[0]; !h.Bath || math.Abs(h.BathMin-want) > 1 {
		t.Errorf("the bath is within 2 K after %.1f min, want %.1f", h.BathMin, want)
	}
	if !e.MakeUp.Again || e.MakeUp.Longer(c.Programme) < 20*time.Minute {
		t.Errorf("climbing for %.0f min costs only %v", want, e.MakeUp.Longer(c.Programme))
	}
	c.Tank.HeaterW = 100
	if e = estimate(t, c); len(e.Notes) != 1 || !strings.Contains(e.Notes[0], "cannot hold the programme") {
		t.Errorf("of a heater too weak is said %q", e.Notes)
	}
}

// TestOffNow: a bath that is off now finds back at the heater's pace, one that is
// too hot by its losses alone.
func TestOffNow(t *testing.T) {
	for _, now := range []float64{60, 85} {
		c := nineHours()
		c.Tank = tankOf(house.Bath{Litres: 10, HeaterW: 1000}, 22)
		readings(&c, 0, 120, func(m float64) float64 {
			if m >= 90 {
				return now
			}
			return 74
		})
		e := estimate(t, c)
		if e.KnownS != 7200 {
			t.Fatalf("known up to %g s", e.KnownS)
		}
		at := func(min float64) float64 { return cure.BathAt(e.Bath, min*60) }
		if math.Abs(at(120)-now) > cure.ThinK {
			t.Errorf("the bath is %.1f when it read %g", at(120), now)
		}
		// 45 kJ/K and one flask: 1000 W less some 190 W of losses give 1 K/min, losses
		// alone 0.3 K/min.
		rate := (at(125) - at(120)) / 5
		if lo, hi := 0.95, 1.1; now < 74 && (rate < lo || rate > hi) {
			t.Errorf("climbs by %.2f K/min", rate)
		}
		if now > 74 && (rate > -0.25 || rate < -0.4) {
			t.Errorf("falls by %.2f K/min", rate)
		}
		if math.Abs(at(300)-74) > 0.2 {
			t.Errorf("three hours later it is %.1f", at(300))
		}
	}
}

// TestAddition holds cold flasks that go in late against the reference tank: 10 L
// with 500 W and 4 flasks dip 1.7 K at 4 min and are within 1 K after 11 min; that
// costs those already in 1 to 5 min.
func TestAddition(t *testing.T) {
	c := nineHours()
	c.Tank = tankOf(house.Bath{Litres: 10, HeaterW: 500}, 22)
	a, err := Add(4, []LoadCase{c}, []time.Duration{2 * time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.Dip.DepthK-1.7) > 0.1 || math.Abs(a.Dip.LowestMin-4) > 1 || math.Abs(a.Dip.BackMin-11) > 1 {
		t.Errorf("the dip is %.2f K at %.1f min, back at %.1f min", a.Dip.DepthK, a.Dip.LowestMin, a.Dip.BackMin)
	}
	if len(a.Backs) != 1 || a.Backs[0].Extra < 30*time.Second || a.Backs[0].Extra > 5*time.Minute {
		t.Errorf("those in are set back %+v", a.Backs)
	}
	words := a.Words(units.Celsius, func(int) string { return "places 1 2" })
	if !strings.Contains(words, "dip of about 1.7 °C, back after about 11 min") || !strings.Contains(words, "sets places 1 2 back") || !strings.HasSuffix(words, "(estimate)") {
		t.Errorf("the words are %q", words)
	}
	// Once they are in, the estimate of the first load has the same dip in it.
	c.Added = []bench.Added{{After: 2 * time.Hour, Flasks: 4}}
	e := estimate(t, c)
	if got := cure.BathAt(e.Bath, 7200+60*a.Dip.LowestMin); math.Abs(got-(74-a.Dip.DepthK)) > 0.1 {
		t.Errorf("the bath is %.2f at its lowest", got)
	}
	if d := e.MakeUp.Longer(c.Programme); d < 30*time.Second || d > 5*time.Minute {
		t.Errorf("that costs %v", d)
	}
	// A reading taken since counts in place of the dip.
	readings(&c, 0, 180, func(float64) float64 { return 74 })
	if got := cure.BathAt(estimate(t, c).Bath, 7200+60*a.Dip.LowestMin); math.Abs(got-74) > 0.05 {
		t.Errorf("with readings the bath is %.2f", got)
	}
}

// TestFollowsReadings: whatever a bath reads, the curve goes through it, and every
// figure is finite.
func TestFollowsReadings(t *testing.T) {
	longrun.Checks(t, 30, 100)
	rapid.Check(t, func(t *rapid.T) {
		c := nineHours()
		c.Programme, _ = cure.ParseProgramme(rapid.SampledFrom([]string{"74C 9h", "ramp 1h, 70C 2h", "74C 2h, ramp 30min, 100C 1h"}).Draw(t, "programme"))
		c.BathC = rapid.Float64Range(10, 100).Draw(t, "bath")
		c.ThinMM = rapid.Float64Range(1, 6).Draw(t, "thin")
		c.ThickMM = rapid.Float64Range(c.ThinMM, 12).Draw(t, "thick")
		c.Size = rapid.SampledFrom(action.Sizes).Draw(t, "size")
		c.Flasks = rapid.IntRange(1, 9).Draw(t, "flasks")
		c.Tank = tankOf(house.Bath{Litres: rapid.Float64Range(1, 100).Draw(t, "l"), HeaterW: rapid.Float64Range(0, 5000).Draw(t, "w")}, 22)
		at := -30
		for range rapid.IntRange(0, 12).Draw(t, "n") {
			at += rapid.IntRange(1, 90).Draw(t, "gap")
			readings(&c, at, at, func(float64) float64 { return rapid.Float64Range(0, 130).Draw(t, "temp") })
		}
		if rapid.Bool().Draw(t, "late") {
			c.Added = []bench.Added{{After: time.Duration(rapid.IntRange(0, 600).Draw(t, "after")) * time.Minute, Flasks: 3}}
		}
		e, err := c.Estimate()
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range c.Readings {
			s := r.At.Sub(c.Start).Seconds()
			if s > 0 && s <= c.Programme.Total().Seconds() && math.Abs(cure.BathAt(e.Bath, s)-r.TempC) > cure.ThinK+1e-9 {
				t.Fatalf("at %g s the bath read %g and is taken for %g", s, r.TempC, cure.BathAt(e.Bath, s))
			}
		}
		raw, err := json.Marshal(e) // refuses NaN and infinity
		if err != nil {
			t.Fatal(err)
		}
		_ = raw
		forbidden(t, lines(e, units.Celsius)+lines(e, units.Fahrenheit))
	})
}

type fataler interface{ Fatalf(string, ...any) }

// forbidden are words that no estimate may use.
func forbidden(t fataler, text string) {
	for _, w := range []string{"safe", "passed", "no porosity", "NaN", "Inf"} {
		if strings.Contains(text, w) {
			t.Fatalf("%q is among the words:\n%s", w, text)
		}
	}
	if !strings.Contains(text, cure.EstimateNote) {
		t.Fatalf("it is not said that it is an estimate:\n%s", text)
	}
}

func lines(e LoadEstimate, u units.TempUnit) string {
	var out []string
	for _, l := range e.Lines(Say{Unit: u, At: func(d time.Duration) string { return start.Add(d).Format("Mon 15:04") }, Load: func(n int) string { return fmt.Sprint("load ", n) }}) {
		out = append(out, l.Text)
	}
	return strings.Join(out, "\n")
}

// TestWhatTheModelDoesNotTake is said in one line.
func TestWhatTheModelDoesNotTake(t *testing.T) {
	for what, change := range map[string]func(*LoadCase){
		"hold":      func(c *LoadCase) { c.Programme.Stages[0].Hold = 0 },
		"thickness": func(c *LoadCase) { c.ThinMM = -1 },
		"°C":        func(c *LoadCase) { c.BathC = 400 },
	} {
		c := nineHours()
		change(&c)
		if _, err := c.Estimate(); err == nil || !strings.Contains(err.Error(), what) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: the error is %v", what, err)
		}
	}
}

// TestKey: a case is worked out anew only when something about it changed.
func TestKey(t *testing.T) {
	a, b := nineHours(), nineHours()
	if a.Key() != b.Key() {
		t.Error("the same case has two keys")
	}
	readings(&b, 0, 3, func(float64) float64 { return 74 })
	c := b
	c.Readings = append([]cure.BathReading(nil), b.Readings...)
	c.Readings[1].TempC = 73
	if a.Key() == b.Key() || b.Key() == c.Key() {
		t.Error("a reading more, or a corrected one, leaves the key as it was")
	}
}

// BenchmarkEstimate is what the page of a load costs after a night of readings a
// minute that no thinning helps, with a fall in it.
func BenchmarkEstimate(b *testing.B) {
	c := nineHours()
	c.ThinMM, c.ThickMM = 2, 4
	c.Programme, _ = cure.ParseProgramme("74C 12h, ramp 30min, 100C 1h30min")
	readings(&c, 0, 840, func(m float64) float64 {
		t := cure.BathAt(c.Programme.Knots(74), m*60) + 0.3*math.Sin(m*0.9) + 0.1*math.Sin(m*2.7)
		if m > 200 && m < 260 {
			t -= 10
		}
		return t
	})
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Estimate(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkEstimateWithoutReadings is the same before anything was read.
func BenchmarkEstimateWithoutReadings(b *testing.B) {
	c := nineHours()
	c.ThinMM, c.ThickMM = 2, 4
	for b.Loop() {
		if _, err := c.Estimate(); err != nil {
			b.Fatal(err)
		}
	}
}

// TestClash: two loads in one bath that want different temperatures of it are told
// of each other, from the minute on at which they do.
func TestClash(t *testing.T) {
	h := house.Default()
	in := func(no int, after time.Duration, programme int) *bench.Load {
		return &bench.Load{No: no, Bath: 1, Flasks: []int{no}, Stages: h.Programmes[programme].Stages, In: timers.Stamp{At: start.Add(after)}, BathC: 74}
	}
	for _, c := range []struct {
		name        string
		a, b        *bench.Load
		wantA       clashing
		wantB       clashing
		sameBathToo bool
	}{
		{"both long", in(1, 0, 0), in(2, time.Hour, 0), clashing{}, clashing{}, true},
		// 74 °C for 2 h, a ramp of 30 min, 100 °C for 1 h; the other an hour later.
		{"both boil", in(1, 0, 2), in(2, time.Hour, 2), clashing{2, 150 * time.Minute, 100, 74}, clashing{1, 90 * time.Minute, 74, 100}, true},
		{"another bath", in(1, 0, 2), in(2, time.Hour, 2), clashing{}, clashing{}, false},
		{"one after the other", in(1, 0, 2), in(2, 4*time.Hour, 0), clashing{}, clashing{}, true},
	} {
		if !c.sameBathToo {
			c.b.Bath = 2
		}
		be := &bench.Bench{House: h, Loads: map[int]*bench.Load{1: c.a, 2: c.b},
			Flasks: map[int]*bench.Flask{1: {No: 1, Load: 1, Stage: bench.InBath, Size: "medium"}, 2: {No: 2, Load: 2, Stage: bench.InBath, Size: "large"}}}
		a, b := Of(be, c.a), Of(be, c.b)
		if a.Clash != c.wantA || b.Clash != c.wantB {
			t.Errorf("%s: %+v and %+v, want %+v and %+v", c.name, a.Clash, b.Clash, c.wantA, c.wantB)
		}
		if a.Size != "medium" || b.Size != "large" || !a.Assumed || a.ThinMM != ThinMM {
			t.Errorf("%s: the cases are %+v and %+v", c.name, a, b)
		}
	}
}

// A load that is out is estimated for the time it was in, in a bath that did not come back
// by itself: one that was read cold to the end, or was out after an hour, is raw.
func TestLoadThatIsOut(t *testing.T) {
	cold := nineHours()
	cold.BathC, cold.Out = 23, 9*time.Hour
	readings(&cold, 60, 62, func(float64) float64 { return 24 })
	soon := nineHours()
	soon.Out = 30 * time.Minute
	for what, c := range map[string]LoadCase{"cold": cold, "out soon": soon} {
		if w := estimate(t, c).Cure.Thinnest.WMeanEnd; w < 25 {
			t.Errorf("%s: a residual of %.1f %%", what, w)
		}
	}
	whole := nineHours()
	in := estimate(t, whole).Cure.Thinnest.WMeanEnd
	whole.Out = 9*time.Hour + 10*time.Minute
	if out := estimate(t, whole).Cure.Thinnest.WMeanEnd; math.Abs(out-in) > 1e-9 {
		t.Errorf("kept to its end: %.3f %%, before it was out %.3f %%", out, in)
	}
}
