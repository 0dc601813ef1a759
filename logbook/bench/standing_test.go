package bench_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers/cure"
)

// cooked is a flask in the bath on a programme with a boil, with readings at hours.
func cooked(t *testing.T, bathC float64, mix action.MixMake, read map[int]float64) *paper {
	t.Helper()
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, action.Coat{Flask: 1, Half: "both"})
	mix.Flasks = []int{1}
	p.do(0, mix, "1") // a ratio that is not usual is asked about
	p.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long and boil", BathC: bathC}, "1")
	for h := 1; h <= 9; h++ {
		if c, ok := read[h]; ok {
			p.do(hour, action.BathReading{Bath: 1, TempC: c, Source: bench.Typed})
			continue
		}
		p.ck.Run(hour)
	}
	p.ck.Run(30 * minute)
	return p
}

// A bath that was cold is asked about as it is left, with the figures, once; the standing
// says so in the word that sheet, tables and review use.
func TestColdBathIsAskedAbout(t *testing.T) {
	p := cooked(t, 23, action.MixMake{}, map[int]float64{1: 24, 4: 24, 8: 24})
	_, err := p.tryAt(0, action.BathUnload{Flasks: []int{1}}, "")
	var ask *bench.NeedsReason
	if !errors.As(err, &ask) || len(ask.Odd) != 1 || ask.Odd[0].Code != "cure-short" {
		t.Fatalf("%v", err)
	}
	for _, w := range []string{"in the bath 9 h 30 min of 9 h 30 min", "core at 74 °C about 0 s of ", "core at 100 °C about 0 s of ", "3 readings"} {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("it does not say %q: %v", w, err)
		}
	}
	p.do(0, action.BathUnload{Flasks: []int{1}}, "5")
	f := p.b.Flasks[1]
	if s, err := p.b.StandingOf(f, p.now()); err != nil || s.Word != cure.OffTemperature {
		t.Errorf("%+v, %v", s, err)
	}
	if len(f.Oddities) == 0 || f.Oddities[len(f.Oddities)-1].What != "cure-short" {
		t.Errorf("%+v", f.Oddities)
	}
}

// A bath that was read in both holds is as set; one that was not stands by its time.
func TestBathReadOnItsProgramme(t *testing.T) {
	for what, c := range map[string]struct {
		read map[int]float64
		want cure.Adherence
	}{
		"read":             {map[int]float64{2: 74, 6: 73.5, 9: 100}, cure.AsSet},
		"not in the boil":  {map[int]float64{2: 74, 6: 73.5}, cure.TimeOnly},
		"never":            {nil, cure.TimeOnly},
		"cold in the boil": {map[int]float64{2: 74, 9: 80}, cure.OffTemperature},
	} {
		p := cooked(t, 74, action.MixMake{}, c.read)
		why := ""
		if c.want == cure.OffTemperature {
			why = "5"
		}
		p.do(0, action.BathUnload{Flasks: []int{1}}, why)
		s, err := p.b.StandingOf(p.b.Flasks[1], p.now())
		if err != nil || s.Word != c.want {
			t.Errorf("%s: %q, want %q, %v", what, s.Word, c.want, err)
		}
		if got := s.Word == cure.AsSet; got && s.In < s.Want {
			t.Errorf("%s: as set after %s of %s", what, s.In, s.Want)
		}
	}
}

// The mix as weighed is the one that is cured: else its resin's, else the model's own. What
// the model does not take stands by its time, with the reason.
func TestRatioOfTheMix(t *testing.T) {
	for _, c := range []struct {
		mix  action.MixMake
		mass float64
		says string
	}{
		{action.MixMake{PowderG: 18, LiquidG: 10}, 1.8, "powder to liquid 1.8:1 by mass, of mix A"},
		{action.MixMake{}, 2.4, "powder to liquid 2.4:1 by mass, of mix A"},
	} {
		p := cooked(t, 74, c.mix, nil)
		if r := p.b.RatioOf(p.b.Flasks[1]); math.Abs(r.Mass-c.mass) > 0.02 || r.String() != c.says {
			t.Errorf("%+v: %s", r, r)
		}
	}
	p := cooked(t, 74, action.MixMake{PowderG: 150, LiquidG: 10}, map[int]float64{2: 74, 9: 100})
	s, err := p.b.StandingOf(p.b.Flasks[1], p.now())
	if s.Word != cure.TimeOnly || err == nil || !strings.Contains(err.Error(), "1.5 to 3.5") {
		t.Errorf("15:1 is %q, %v", s.Word, err)
	}
}

// High up the bath is held against what water does there.
func TestBathHighUp(t *testing.T) {
	p := newPaper(t)
	h := house.Default()
	h.Place.AltitudeM = 1600
	p.do(0, action.Settings{House: h, From: "typed"})
	p.do(0, open(1))
	p.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long and boil", BathC: 74}, "1")
	p.do(9*time.Hour, action.BathReading{Bath: 1, TempC: 94.5, Source: bench.Typed})
	if xs := p.b.Excursions(p.b.Loads[1]); len(xs) != 0 {
		t.Errorf("boiling at 1,600 m is off: %+v", xs)
	}
}
