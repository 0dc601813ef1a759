package flash

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// house rule: common practice, no source (2 to 3 closures as a rule, 3000 psi on the gauge,
// hold 1 to 2 min); the grade and the length of a final closure are house defaults.
var house = Rule{Grade: Slight, MinTrials: 2, PressurePSI: 3000, HoldS: 60, FinalS: 120}

// input makes an Input from trials all made at the house pressure and hold, with dough
// enough.
func input(t testing.TB, s string) Input {
	left := 1200.0
	in := Input{Rule: house, DoughLeftS: &left}
	for _, tr := range trials(t, s) {
		in.Closures = append(in.Closures, Closure{Trial: tr, PressurePSI: 3000, HoldS: 60})
	}
	return in
}

func codes(v Verdict) (cs []ReasonCode) {
	for _, r := range v.Reasons {
		cs = append(cs, r.Code)
	}
	return cs
}

func TestReady(t *testing.T) {
	last := func(in *Input) *Closure { return &in.Closures[len(in.Closures)-1] }
	left := func(s float64) func(*Input) { return func(in *Input) { in.DoughLeftS = &s } }
	for _, c := range []struct {
		name   string
		trials string
		change func(*Input)
		want   []ReasonCode
		line   string
	}{
		{"all holds", "heavy,slight", nil, nil, "READY for final closure"},
		{"down to none", "heavy,slight,none", nil, nil, "READY for final closure"},
		{"nothing done", "", nil, []ReasonCode{NoTrials}, "not yet: no trial closure yet"},
		{"heavy", "heavy,heavy", nil, []ReasonCode{FlashAbove}, "not yet: last trial heavy"},
		{"one is too few", "heavy", nil, []ReasonCode{FlashAbove, FewTrials}, "not yet: last trial heavy"},
		{"one slight is too few", "slight", nil, []ReasonCode{FewTrials}, "not yet: 1 of 2 trials"},
		{"none at the very first", "none", nil, []ReasonCode{ShortMould, FewTrials}, "not yet: mould may be underfilled: add dough and close again, or check it and record it as full"},
		{"none at the very first, one trial asked", "none", func(in *Input) { in.Rule.MinTrials = 1 }, []ReasonCode{ShortMould}, "not yet: mould may be underfilled: add dough and close again, or check it and record it as full"},
		{"none at the very first, but somebody looked", "none,none", func(in *Input) { in.SeenFull = true }, nil, "READY for final closure"},
		{"never any flash", "none,none,none", nil, []ReasonCode{NeverFull}, "not yet: mould may be underfilled: add dough and close again, or check it and record it as full"},
		{"dough added, flash came", "none,+slight,slight", nil, nil, "READY for final closure"},
		{"grew", "heavy,none,slight", nil, []ReasonCode{FlashGrew}, "not yet: last trial slight after none"},
		{"grew with dough added", "none,+slight", nil, []ReasonCode{FlashGrew}, "not yet: last trial slight after none"},
		{"house grade none", "heavy,slight", func(in *Input) { in.Rule.Grade = None }, []ReasonCode{FlashAbove}, "not yet: last trial slight"},
		{"added since", "heavy,slight", func(in *Input) { in.AddedSince = true }, []ReasonCode{AddedLast}, "not yet: dough was added since the last trial"},
		{"pressure low", "heavy,slight", func(in *Input) { last(in).PressurePSI = 2999 }, []ReasonCode{PressureLow}, "not yet: last trial below the house pressure"},
		{"pressure low before the last", "heavy,slight", func(in *Input) { in.Closures[0].PressurePSI = 1000 }, nil, "READY for final closure"},
		{"pressure not recorded", "heavy,slight", func(in *Input) { last(in).PressurePSI = 0 }, []ReasonCode{PressureGap}, "not yet: pressure of the last trial not recorded"},
		{"hold short", "heavy,slight", func(in *Input) { last(in).HoldS = 59 }, []ReasonCode{HoldShort}, "not yet: last trial held too short"},
		{"hold not recorded", "heavy,slight", func(in *Input) { last(in).HoldS = 0 }, []ReasonCode{HoldGap}, "not yet: hold of the last trial not recorded"},
		{"no hold asked", "heavy,slight", func(in *Input) { last(in).HoldS, in.Rule.HoldS = 0, 0 }, nil, "READY for final closure"},
		{"dough just enough", "heavy,slight", left(120), nil, "READY for final closure"},
		{"dough too short", "heavy,slight", left(119), []ReasonCode{DoughTooShort}, "not yet: a final closure takes longer than the dough has left"},
		{"dough over", "heavy,slight", left(-1), []ReasonCode{DoughOver}, "not yet: the dough's working time is over"},
		{"no mix", "heavy,slight", func(in *Input) { in.DoughLeftS = nil }, []ReasonCode{DoughUnknown}, "not yet: no mix recorded, so the dough's time is not known"},
		{"everything", "none", func(in *Input) {
			in.AddedSince = true
			*last(in) = Closure{Trial: Trial{Grade: None}, PressurePSI: 500, HoldS: 5}
			left(-60)(in)
		}, []ReasonCode{DoughOver, AddedLast, ShortMould, FewTrials, PressureLow, HoldShort}, "not yet: the dough's working time is over"},
	} {
		in := input(t, c.trials)
		if c.change != nil {
			c.change(&in)
		}
		v, err := Ready(in)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := codes(v); v.Ready != (len(c.want) == 0) || !slices.Equal(got, c.want) {
			t.Errorf("%s: ready %v, %v, want %v", c.name, v.Ready, got, c.want)
		}
		if v.String() != c.line {
			t.Errorf("%s: %q, want %q", c.name, v, c.line)
		}
	}
}

func TestReasonsAreWhole(t *testing.T) {
	seen := map[ReasonCode]bool{}
	for _, r := range reasons() {
		if r.Code == "" || r.Why == "" || r.Mend == "" || seen[r.Code] {
			t.Errorf("reason %+v", r)
		}
		seen[r.Code] = true
	}
	in := input(t, "heavy")
	in.Closures[0].HoldS, in.Closures[0].PressurePSI = 30, 2500
	v, err := Ready(in)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range v.Reasons {
		if strings.ContainsAny(r.Why+r.Mend, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") {
			t.Errorf("a word was not filled in: %+v", r)
		}
		want := map[ReasonCode][2]float64{FewTrials: {1, 2}, PressureLow: {2500, 3000}, HoldShort: {30, 60}}[r.Code]
		if r.Have != want[0] || r.Want != want[1] {
			t.Errorf("figures of %+v, want %v", r, want)
		}
	}
	if len(v.Reasons) != 4 {
		t.Errorf("reasons %+v", v.Reasons)
	}
}

// The five rules, said again in other words, over any bench.
func TestReadyRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := drawHistory(t, 5)
		in := Input{Rule: house, AddedSince: h.AddedSince, SeenFull: rapid.Bool().Draw(t, "seen full")}
		in.Rule.MinTrials = rapid.IntRange(1, 3).Draw(t, "minimum")
		in.Rule.Grade = Grade(rapid.IntRange(1, 2).Draw(t, "house grade"))
		left := float64(rapid.SampledFrom([]int{-5, 0, 100, 120, 900}).Draw(t, "left"))
		in.DoughLeftS = &left
		for _, tr := range h.Trials {
			in.Closures = append(in.Closures, Closure{Trial: tr,
				PressurePSI: rapid.SampledFrom([]float64{0, 2000, 3000, 3300}).Draw(t, "psi"),
				HoldS:       rapid.SampledFrom([]float64{0, 30, 60, 90}).Draw(t, "hold")})
		}
		v, err := Ready(in)
		if err != nil {
			t.Fatal(err)
		}
		n := len(in.Closures)
		want := n >= in.Rule.MinTrials && n > 0 && !in.AddedSince && left > 0 && left >= 120
		if want {
			last := in.Closures[n-1]
			flash := in.SeenFull
			for _, c := range in.Closures {
				flash = flash || c.Grade == Slight || c.Grade == Heavy
			}
			want = flash && last.Grade <= in.Rule.Grade && last.PressurePSI >= 3000 && last.HoldS >= 60 &&
				(n == 1 || last.Grade <= in.Closures[n-2].Grade)
		}
		if v.Ready != want || v.Ready != (len(v.Reasons) == 0) {
			t.Fatalf("ready %v, want %v: %+v", v.Ready, want, v.Reasons)
		}
		if n == 1 && in.Closures[0].Grade == None && !in.SeenFull && (v.Ready || !slices.Contains(codes(v), ShortMould)) {
			t.Fatalf("a bare first trial gives %+v", v)
		}
	})
}

func TestReadyRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		change func(*Input)
		want   string
	}{
		{func(in *Input) { in.Rule.Grade = Heavy }, `house grade "heavy": it is none or slight`},
		{func(in *Input) { in.Rule.Grade = 0 }, `house grade "no grade"`},
		{func(in *Input) { in.Rule.MinTrials = 0 }, "house minimum of 0 trials: it is from 1 to 50"},
		{func(in *Input) { in.Rule.PressurePSI = nan }, "house pressure NaN psi"},
		{func(in *Input) { in.Rule.HoldS = -1 }, "house hold -1 s"},
		{func(in *Input) { in.Rule.FinalS = math.Inf(1) }, "final closure of +Inf s"},
		{func(in *Input) { in.DoughLeftS = &nan }, "the dough's time left must be a number of seconds"},
		{func(in *Input) { in.Closures[1].PressurePSI = -1 }, "trial 2: pressure -1 psi"},
		{func(in *Input) { in.Closures[1].HoldS = nan }, "trial 2: hold NaN s"},
		{func(in *Input) { in.Closures[0].Grade = 0 }, "trial 1: the grade is missing"},
	} {
		in := input(t, "heavy,slight")
		c.change(&in)
		if _, err := Ready(in); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

func TestAllowed(t *testing.T) {
	for _, c := range []struct {
		left, trial, final float64
		want               int
	}{
		{1200, 210, 120, 5}, {330, 210, 120, 1}, {329, 210, 120, 0}, {100, 210, 120, 0}, {-5, 210, 120, 0},
		{1e12, 1, 0, MaxTrials}, {1200, 0, 120, 0}, {1200, -1, 120, 0}, {math.NaN(), 210, 120, 0}, {math.Inf(1), 210, 120, MaxTrials},
	} {
		if got := Allowed(c.left, c.trial, c.final); got != c.want {
			t.Errorf("Allowed(%g, %g, %g) = %d, want %d", c.left, c.trial, c.final, got, c.want)
		}
	}
}
