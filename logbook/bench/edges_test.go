package bench_test

import (
	"errors"
	"slices"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
)

// Nobody stands beside a probe: what it reads outside the usual has that for its reason, and only that; a reason that came
// with it stays, and a person is asked.
func TestReasonOfAProbe(t *testing.T) {
	for _, c := range []struct {
		tempC          float64
		source, why    string
		want           string
		unusual, asked bool
	}{
		{74, "probe", "", "", false, false},
		{120, "probe", "", "as the probe read it", true, false},
		{120, "probe", "the element stuck", "the element stuck", true, false},
		{74, bench.Typed, "", "", false, false},
		{120, bench.Typed, "", "", true, true},
		{120, "", "", "", true, true},
	} {
		p := upTo(t, bench.Holding)
		a, err := p.tryAt(0, action.BathReading{Bath: 1, TempC: c.tempC, Source: c.source}, c.why)
		var ask *bench.NeedsReason
		if errors.As(err, &ask) != c.asked || a.Why != c.want || (len(a.Unusual) > 0) != c.unusual {
			t.Errorf("%+v: why %q, unusual %v, error %v", c, a.Why, a.Unusual, err)
		}
	}
}

// A code names a flask after the @, as a number or not at all.
func TestFlaskOfACode(t *testing.T) {
	for code, want := range map[string]struct {
		bare string
		no   int
	}{"separator-wet@3": {"separator-wet", 3}, "separator-wet": {"separator-wet", 0}, "a@b": {"a@b", 0}, "a@": {"a@", 0}, "": {"", 0}} {
		if bare, no := bench.OddOf(code); bare != want.bare || no != want.no {
			t.Errorf("%q: %q, %d, want %+v", code, bare, no, want)
		}
	}
}

// A cure that was cold stands as short once the flask is out, not while it may be made up.
func TestShortCureIsToldOnceItIsOut(t *testing.T) {
	p := cooked(t, 23, action.MixMake{}, map[int]float64{1: 24, 4: 24, 8: 24})
	if got := p.b.UnusualOf(p.b.Flasks[1]); slices.Contains(got, "cure-short") {
		t.Errorf("in the bath: %v", got)
	}
	p.do(0, action.BathUnload{Flasks: []int{1}}, "5")
	// Also where nobody was asked.
	p.b.Flasks[1].Oddities = nil
	if got := p.b.UnusualOf(p.b.Flasks[1]); !slices.Contains(got, "cure-short") {
		t.Errorf("out of the bath: %v", got)
	}
}

// The name of a programme of the house makes other stages not the house's.
func TestHouseNameWithOtherStagesIsAskedAbout(t *testing.T) {
	h := house.Default()
	own := h.Programmes[0]
	other := slices.Clone(own.Stages)
	other[0].HoldS = 600
	p := upTo(t, bench.Holding)
	p.do(0, action.Settings{House: func() house.House { h.Programmes[0].Stages = other; return h }(), From: "typed"}, "8")
	_, err := p.tryAt(0, action.BathLoad{Flasks: []int{1}, Programme: own.Name, Stages: other}, "")
	if slices.Contains(codesAsked(err), "range-hold") {
		t.Errorf("the house's own stages: %v", err)
	}
	other = slices.Clone(other)
	other[0].HoldS = 601
	_, err = p.tryAt(0, action.BathLoad{Flasks: []int{1}, Programme: own.Name, Stages: other}, "")
	if !slices.Contains(codesAsked(err), "range-hold") {
		t.Errorf("stages that are not the house's: %v", err)
	}
}

// The thickness remembered is one of which both figures were told.
func TestThicknessIsRememberedWhole(t *testing.T) {
	b := &bench.Bench{Flasks: map[int]*bench.Flask{}, Loads: map[int]*bench.Load{}}
	for i, s := range []action.Section{{Flask: 1, ThinMM: 2, ThickMM: 8}, {Flask: 2, ThickMM: 9}, {Flask: 3, ThinMM: 3}, {Flask: 4}} {
		no := i + 1
		b.Flasks[no] = &bench.Flask{No: no, Size: "medium"}
		b.Loads[no] = &bench.Load{No: no, Flasks: []int{no}, Sections: map[int]action.Section{no: s}}
	}
	b.Flasks[5] = &bench.Flask{No: 5, Size: "large"}
	b.Loads[5] = &bench.Load{No: 5, Flasks: []int{5}, Sections: map[int]action.Section{5: {ThinMM: 4, ThickMM: 12}}}
	if s, ok := b.LastThickness("medium"); !ok || s.ThinMM != 2 || s.ThickMM != 8 {
		t.Errorf("%+v, %v", s, ok)
	}
	if s, ok := b.LastThickness("small"); ok {
		t.Errorf("none was told of a small one: %+v", s)
	}
}
