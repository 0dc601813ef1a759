package plan

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flaskside/timers/longrun"
)

// anyHouse is a house of any sort that its Check passes.
func anyHouse(t *rapid.T) Lab {
	h := refHouse()
	h.Simple = rapid.Bool().Draw(t, "simple")
	f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	n := func(name string, lo, hi int) int { return rapid.IntRange(lo, hi).Draw(t, name) }
	// What the chance of a mix depends on is one of a few, so that it is counted out once.
	bench := rapid.SampledFrom([][2]int{{1, 1}, {2, 1}, {3, 2}}).Draw(t, "bench")
	h.Hands, h.Presses, h.Baths, h.BathPlaces = bench[0], bench[1], n("baths", 1, 3), n("places", 1, 6)
	h.TrimMin = rapid.SampledFrom([]float64{0, 1.5}).Draw(t, "trim")
	h.CoatMin, h.DryMin = f("coat", 1, 15), f("dry", 0, 40)
	h.MixMin, h.SetMin, h.CoolMin, h.FinishMin = f("mix", 1, 8), f("set", 0, 90), f("cool", 0, 120), f("finish", 5, 120)
	h.ShortMin, h.LongMin = float64(n("short", 0, 5)*60), float64(n("long", 6, 12)*60)
	h.DoughMin = f("dough", 4, 25)
	h.EndMin = h.DoughMin + rapid.SampledFrom([]float64{2, 28}).Draw(t, "window")
	h.Doughs = nil
	if rapid.Bool().Draw(t, "doughs") {
		h.Doughs = []DoughSpan{{5, 1, 7, 2, 2}, {10, 2, 38, 3, 1}}
	}
	h.OpensMin = float64(n("opens", 6, 10) * 60)
	h.ClosesMin = h.OpensMin + float64(n("hours", 4, 10)*60)
	h.OvertimeMin = min(Day, h.ClosesMin+float64(n("overtime", 0, 120)))
	h.LunchMin, h.LunchForMin = h.OpensMin+float64(n("lunch", 60, 300)), float64(n("lunch for", 0, 60))
	h.StartMin = f("start", 0, h.ClosesMin)
	if rapid.Bool().Draw(t, "other hours") {
		at := float64(n("first", 0, 20) * 60)
		h.FirstDay = &Hours{at, at + float64(n("first for", 30, 180)), Day}
		h.StartMin = f("first start", 0, h.FirstDay.ClosesMin)
	}
	h.Off = rapid.SliceOfN(rapid.Bool(), 0, 6).Draw(t, "off")
	h.BathFreeMin = rapid.SliceOfN(rapid.Float64Range(0, 2000), 0, h.Baths).Draw(t, "free")
	if err := h.Check(); err != nil {
		t.Fatal(err)
	}
	return h
}

// anyWish is a choice that can be.
func anyWish(t *rapid.T, cases []Case) (w Wish) {
	for i, c := range cases {
		if c.mixed() || rapid.IntRange(0, 2).Draw(t, "chosen") > 0 {
			continue
		}
		if rapid.Bool().Draw(t, "first") {
			w.First = append(w.First, i)
		}
		if k := len(w.Together) - 1; k >= 0 && cases[w.Together[k][0]].Resin == c.Resin && rapid.Bool().Draw(t, "with the last") {
			w.Together[k] = append(w.Together[k], i)
		} else if rapid.Bool().Draw(t, "alone") {
			w.Together = append(w.Together, []int{i})
		}
	}
	return w
}

func anyCases(t *rapid.T, most int) []Case {
	var out []Case
	for i := range rapid.IntRange(0, most).Draw(t, "cases") {
		out = append(out, Case{Key: uint64(i*i + 7), Size: Size(rapid.IntRange(0, 2).Draw(t, "size")), Resin: rapid.IntRange(0, 2).Draw(t, "resin"),
			DueMin: rapid.Float64Range(-2*Day, 6*Day).Draw(t, "due"), Weight: rapid.Float64Range(.5, 4).Draw(t, "weight"), FromMin: rapid.SampledFrom([]float64{0, 0, 0, 600, 2000}).Draw(t, "from")})
		if rapid.IntRange(0, 3).Draw(t, "mould") == 0 {
			for range rapid.IntRange(1, 5).Draw(t, "works") {
				out[i].Prep = append(out[i].Prep, Prep{rapid.SampledFrom([]float64{0, 5, 20, 90}).Draw(t, "hands"), rapid.SampledFrom([]float64{0, 15, 60, 2000}).Draw(t, "then")})
			}
		}
	}
	return out
}

// beginSome sets some of the cases to work, at any step, also such as a clock set back or a late entry would tell.
func beginSome(t *rapid.T, h *Lab, cases []Case) {
	pressed := 0
	for i := range cases {
		if !rapid.Bool().Draw(t, "at work") {
			continue
		}
		b := &Begun{Step: rapid.SampledFrom([]Progress{LostDough, Painted, Packed, Untrimmed, Pressed, Pressed, Clamped, Bathed, Bathed, Bathed, Cooling, Deflasked}).Draw(t, "step"), FromMin: h.start() + rapid.SampledFrom([]float64{-700, -30, 0, .5, 25, 180, 400}).Draw(t, "since")}
		if b.Step == Pressed {
			if pressed++; pressed > h.Presses && rapid.Bool().Draw(t, "press free") {
				b.Step = Untrimmed
			}
		}
		if b.Step == Bathed {
			b.Bath = rapid.IntRange(-1, h.Baths-1).Draw(t, "bath")
		}
		cases[i].Begun = b
		if !cases[i].live() {
			continue
		}
		b.Mix = cases[i].Resin // a mix is of one resin
		b.MadeMin = h.start() - rapid.Float64Range(0, 90).Draw(t, "mixed ago")
		b.DoughMin = b.MadeMin + 12
		b.EndMin = b.DoughMin + rapid.Float64Range(0, 60).Draw(t, "window of")
		b.Made = rapid.IntRange(0, 4).Draw(t, "made")
		b.More = rapid.SampledFrom([][]float64{{1}, {0, 1}, {.5, .3, .2}, {0, .4, .3, .2, .1}}).Draw(t, "more")
	}
	if err := checkCases(cases); err != nil {
		t.Fatal(err)
	}
}

// anyPlan is a plan that nobody would make and that its Check passes.
func anyPlan(t *rapid.T, h *Lab, cases []Case) Plan {
	p := Plan{GateMin: rapid.SampledFrom([]float64{0, 4, 8, 30, 1000}).Draw(t, "gate")}
	order := rapid.Permutation(cases).Draw(t, "order")
	index := func(c Case) int { return slices.IndexFunc(cases, func(x Case) bool { return x.Key == c.Key }) }
	when := func(name string) float64 {
		return rapid.SampledFrom([]float64{0, 0, 500, 700, 900, 1015, 1021, 1500, 1920, 3500}).Draw(t, name)
	}
	for _, c := range order {
		if c.mixed() {
			// nothing moves it
		} else if k := len(p.Mixes) - 1; k >= 0 && len(p.Mixes[k].Cases) < 4 && cases[p.Mixes[k].Cases[0]].Resin == c.Resin && rapid.Bool().Draw(t, "join") {
			p.Mixes[k].Cases = append(p.Mixes[k].Cases, index(c))
		} else {
			p.Mixes = append(p.Mixes, Mix{[]int{index(c)}, when("at")})
		}
		if c.bathed() || !rapid.Bool().Draw(t, "loaded") {
			continue
		}
		if k := len(p.Loads) - 1; k >= 0 && len(p.Loads[k].Cases) < h.BathPlaces && rapid.Bool().Draw(t, "share") {
			p.Loads[k].Cases = append(p.Loads[k].Cases, index(c))
		} else {
			p.Loads = append(p.Loads, Load{rapid.IntRange(0, h.Baths-1).Draw(t, "bath"), h.ShortMin == 0 || rapid.Bool().Draw(t, "long"), []int{index(c)}, when("latest")})
		}
	}
	if err := p.Check(h, cases); err != nil {
		t.Fatal(err)
	}
	return p
}

// dayOf holds a played day to what no day may show.
type dayOf struct {
	h      Lab
	cases  []Case
	draw   draw
	events []event
}

// resume tells how far the cases at work are as the day begins.
func (d *dayOf) resume(begun, ends, closed, out, bathBusy []float64, inBath []bool) {
	p := newPlayer(playable(&d.h), d.cases)
	p.reset(&Plan{}, &d.draw)
	past := math.Inf(-1)
	for i, c := range d.cases {
		b := c.Begun
		switch {
		case b == nil || b.Step < Packed:
		case b.Step < Clamped:
			begun[i], ends[i] = p.dough[i], p.end[i]
		case b.Step == Clamped:
			closed[i] = b.FromMin - d.h.SetMin
		case b.Step == Bathed && b.Bath >= 0:
			closed[i], out[i] = past, math.Inf(1)
			inBath[b.Bath], bathBusy[b.Bath] = true, max(bathBusy[b.Bath], b.FromMin)
		case b.Step == Bathed:
			closed[i], out[i] = past, b.FromMin
		case b.Step == Cooling:
			closed[i], out[i] = past, b.FromMin-d.h.CoolMin-d.h.BathOutMin
		default:
			closed[i], out[i] = past, past
		}
	}
}

// faults lists what the day shows and no day may.
func (d *dayOf) faults() (bad []string) {
	say := func(e event, format string, a ...any) {
		bad = append(bad, fmt.Sprintf(format, a...)+fmt.Sprintf(": %+v", e))
	}
	const eps = 1e-6
	h, n := &d.h, len(d.cases)
	begun, ends := make([]float64, n), make([]float64, n) // dough of each case
	closed, out, done := make([]float64, n), make([]float64, n), make([]int, n)
	bathBusy := make([]float64, h.Baths)
	copy(bathBusy, h.BathFreeMin)
	inBath := make([]bool, h.Baths)
	d.resume(begun, ends, closed, out, bathBusy, inBath)
	type span struct{ a, z float64 }
	var hands, presses []span
	mixes := 0
	prepared, mould := make([]int, n), make([]float64, n)
	for i, c := range d.cases {
		if mould[i] = c.FromMin; c.Begun != nil {
			prepared[i], mould[i] = len(c.Prep), 0
		}
	}
	for _, e := range d.events {
		day := math.Floor(e.AtMin / Day)
		tod := e.AtMin - day*Day
		open := h.hours(int(day))
		if e.AtMin < 0 {
			say(e, "nobody is there")
			continue
		}
		if e.What != whatLost && (tod < open.OpensMin-eps || h.off(int(day)) || e.AtMin < h.start()-eps) {
			say(e, "nobody is there")
		}
		late := tod >= open.ClosesMin
		stay := e.EndMin
		switch e.What {
		case whatPrepared:
			i := e.Cases[0]
			w := d.cases[i].Prep[prepared[i]]
			if late || e.EndMin > day*Day+open.ClosesMin+eps || e.AtMin < mould[i]-eps || math.Abs(e.EndMin-e.AtMin-w.HandsMin) > eps {
				say(e, "work on a mould after hours, before it may, or of another length")
			}
			prepared[i]++
			mould[i] = e.EndMin + w.ThenMin
		case whatCoated:
			if i := e.Cases[0]; prepared[i] < len(d.cases[i].Prep) || e.AtMin < mould[i]-eps {
				say(e, "coated before the mould was ready")
			}
			if late {
				say(e, "coated after hours")
			}
		case whatMixed:
			if late {
				say(e, "mixed after hours")
			}
			for _, i := range e.Cases {
				if begun[i] != 0 && e.AtMin <= ends[i] {
					say(e, "mixed for, with dough that can be worked")
				}
				if d.cases[i].Resin != d.cases[e.Cases[0]].Resin {
					say(e, "two resins in a mix")
				}
				r := h.doughOf(d.cases[i].Resin)
				begun[i] = e.AtMin + within(r.DoughMin+r.DoughSDMin*d.draw.Dough[mixes%doughs], r.DoughMin, r.DoughSDMin, earliestDough, latestDough)
				ends[i] = e.AtMin + within(r.EndMin+r.EndDaySDMin*d.draw.DayEnd+r.EndMixSDMin*d.draw.End[mixes%doughs], r.EndMin, math.Hypot(r.EndDaySDMin, r.EndMixSDMin), earliestEnd, latestEnd)
			}
			mixes++
		case whatClosed:
			i := e.Cases[0]
			if ends[i] == 0 || e.AtMin < begun[i]-eps || e.EndMin > ends[i]+eps {
				say(e, "closed outside its dough, %g to %g", begun[i], ends[i])
			}
			closed[i] = e.EndMin
			presses = append(presses, span{e.AtMin, e.EndMin})
		case whatLoaded:
			if tod >= open.OvertimeMin && late {
				say(e, "a load after the last hour")
			}
			stay = e.AtMin + h.BathStartMin
			want := h.ShortMin
			if e.Long {
				want = h.LongMin
			}
			if math.Abs(e.EndMin-stay-want) > eps || want == 0 {
				say(e, "a stay of another length than the programme")
			}
			if len(e.Cases) == 0 || len(e.Cases) > h.BathPlaces || inBath[e.Bath] || e.AtMin < bathBusy[e.Bath]-eps {
				say(e, "the bath has no room")
			}
			inBath[e.Bath], bathBusy[e.Bath] = true, e.EndMin
			for _, i := range e.Cases {
				if closed[i] == 0 || closed[i]+h.SetMin > e.AtMin+eps || out[i] != 0 {
					say(e, "case %d is not set, or was in", i)
				}
				out[i] = math.Inf(1)
			}
		case whatUnloaded:
			if late || !inBath[e.Bath] || e.AtMin < bathBusy[e.Bath]-eps {
				say(e, "taken out before the programme is over, or after hours")
			}
			inBath[e.Bath] = false
			for _, i := range e.Cases {
				out[i] = e.AtMin
			}
		case whatFinished:
			i := e.Cases[0]
			if done[i]++; done[i] > 1 || !(out[i]+h.BathOutMin+h.CoolMin <= e.AtMin+eps) || out[i] == 0 {
				say(e, "finished before it is cool, or twice")
			}
			if late && (d.cases[i].DueMin > day*Day+open.OvertimeMin || tod >= open.OvertimeMin) {
				say(e, "finished after hours without need")
			}
		case whatLost, whatLunch:
			continue
		}
		hands = append(hands, span{e.AtMin, stay})
	}
	most := func(list []span, n int, what string) {
		for _, x := range list {
			at := 0
			for _, y := range list {
				if y.a <= x.a+eps && y.z > x.a+eps {
					at++
				}
			}
			if at > n {
				bad = append(bad, fmt.Sprintf("%d at once at %s at %g", at, what, x.a))
			}
		}
	}
	most(hands, h.Hands, "work")
	most(presses, h.Presses, "the presses")
	return bad
}

func TestNoPlayedDayShowsWhatNoneMay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := anyHouse(t)
		cases := anyCases(t, 9)
		if rapid.Bool().Draw(t, "in mid-day") {
			beginSome(t, &h, cases)
		}
		p := anyPlan(t, &h, cases)
		if rapid.Bool().Draw(t, "by rule") {
			p = ByRule(h, cases, rapid.SampledFrom(Rules()).Draw(t, "rule"), habit{rapid.Bool().Draw(t, "small"), rapid.Bool().Draw(t, "wait"), 0, rapid.Bool().Draw(t, "nights")})
			if err := p.Check(&h, cases); err != nil {
				t.Fatal(err)
			}
		}
		d := makeDraw(&h, cases, rapid.Uint64().Draw(t, "seed"), 3)
		r := Simulate(h, cases, p, d)
		day := dayOf{h, cases, d, r.Events}
		if bad := day.faults(); len(bad) > 0 {
			t.Fatalf("%s\nplan %+v", strings.Join(bad, "\n"), p)
		}
		if math.IsNaN(r.Cost) || r.Cost < 0 {
			t.Fatalf("cost %g", r.Cost)
		}
		for i, c := range cases {
			if c.DueMin < h.start() && !r.Late[i] && !c.bathed() {
				t.Fatalf("case %d was due at %g, before all begins at %g, and is not late", i, c.DueMin, h.start())
			}
		}
		if again := Simulate(h, cases, p, d); again.Cost != r.Cost || !slices.Equal(again.EndMin, r.EndMin) {
			t.Fatal("the same day was played otherwise")
		}
	})
}

// The check above finds each fault where there is one.
func TestFaultsOfADayAreFound(t *testing.T) {
	h, cases := refHouse(), []Case{{Key: 1, Size: Medium, DueMin: 2460, Weight: 1}, {Key: 2, Size: Small, DueMin: 2460, Weight: 1}}
	p := ByRule(h, cases, oneToMix, habit{})
	draw := fixedDraw([]int{3, 2})
	good := Simulate(h, cases, p, draw).Events
	for name, spoil := range map[string]func(e *event){
		"nobody is there":      func(e *event) { e.AtMin = max(0, e.AtMin-400) },
		"outside its dough":    func(e *event) { e.EndMin += 60 * b2f(e.What == whatClosed) },
		"than the programme":   func(e *event) { e.EndMin -= 5 * b2f(e.What == whatLoaded) },
		"is not set":           func(e *event) { e.AtMin -= 25 * b2f(e.What == whatLoaded) },
		"before the programme": func(e *event) { e.AtMin -= 900 * b2f(e.What == whatUnloaded) },
		"before it is cool":    func(e *event) { e.AtMin -= 50 * b2f(e.What == whatFinished) },
		"at once at work":      func(e *event) { e.AtMin = 500 },
	} {
		events := slices.Clone(good)
		for k := range events {
			spoil(&events[k])
		}
		d := dayOf{h, cases, draw, events}
		if bad := strings.Join(d.faults(), "\n"); !strings.Contains(bad, name) {
			t.Errorf("%s: not found among %q", name, bad)
		}
	}
	d := dayOf{h, cases, draw, good}
	if bad := d.faults(); len(bad) > 0 {
		t.Errorf("a good day: %v", bad)
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// Whatever the house and the cases, a plan is made, holds to its rules, and is the same when asked again; chances are
// chances; an earlier seed does not matter to what is due before all begins.
func TestMakeAnswersAnyQuestion(t *testing.T) {
	longrun.Checks(t, 10, 100)
	rapid.Check(t, func(t *rapid.T) {
		h := anyHouse(t)
		cases := anyCases(t, 4)
		if rapid.Bool().Draw(t, "in mid-day") {
			beginSome(t, &h, cases)
		}
		o := SearchOptions{Seed: rapid.Uint64().Draw(t, "seed"), Draws: 2, Days: 3, Wish: anyWish(t, cases)}
		first := 0
		o.First = func(m Made) {
			if first++; m.Plan.Check(&h, cases) != nil || !o.Wish.kept(&m.Plan) {
				t.Fatalf("the first plan: %+v", m.Plan)
			}
		}
		m, err := Make(context.Background(), h, cases, o)
		if err != nil {
			t.Fatal(err)
		}
		if err := m.Plan.Check(&h, cases); err != nil && len(cases) > 0 {
			t.Fatal(err)
		}
		if !o.Wish.kept(&m.Plan) || first != min(1, len(cases)) {
			t.Fatalf("chosen %+v, first plan told %d times, plan %+v", o.Wish, first, m.Plan)
		}
		if !rapid.Bool().Draw(t, "followed") {
			// as dear as making it
		} else if f, err := Follow(context.Background(), h, cases, m.Plan, o); err != nil || !slices.Equal(f.Costs, m.Costs) {
			t.Fatalf("the plan followed costs %v, made %v, %v", f.Costs, m.Costs, err)
		}
		if len(m.Foretold.Cases) != len(cases) {
			t.Fatalf("%d cases foretold of %d", len(m.Foretold.Cases), len(cases))
		}
		for i, c := range m.Foretold.Cases {
			if !(c.Late >= 0 && c.Late <= 1) || cases[i].DueMin < h.start() && c.Late != 1 {
				t.Fatalf("case %d late with chance %g", i, c.Late)
			}
		}
		for j, x := range m.Mixes {
			if x.Latest < x.Start.Middle-1 {
				t.Fatalf("mix %d at %g, at the latest %g", j, x.Start.Middle, x.Latest)
			}
		}
		if a := m.Ask; a != nil && (a.DueMin <= cases[a.Case].DueMin || a.Gain < leastAsk || a.Gain < 2*a.SE) {
			t.Fatalf("asked for %+v of a case due %g", a, cases[a.Case].DueMin)
		}
		if !rapid.Bool().Draw(t, "again") {
			return
		}
		o.First = nil
		again, err := Make(context.Background(), h, cases, o)
		if err != nil || fmt.Sprintf("%+v", again.Plan) != fmt.Sprintf("%+v", m.Plan) || !slices.Equal(again.Costs, m.Costs) {
			t.Fatalf("the same question was answered otherwise: %v", err)
		}
	})
}

func TestMakeRefusesWhatCannotBe(t *testing.T) {
	h := refHouse()
	one := []Case{{Key: 1, DueMin: 1000, Weight: 1}}
	bad := func(change func(h *Lab)) Lab { x := h; change(&x); return x }
	for name, c := range map[string]struct {
		h     Lab
		cases []Case
		o     SearchOptions
		want  string
	}{
		"no press":     {bad(func(h *Lab) { h.Presses = 0 }), one, SearchOptions{}, "presses must be 1 to 9, not 0"},
		"NaN":          {bad(func(h *Lab) { h.FinishMin = math.NaN() }), one, SearchOptions{}, "finish must be 0.1 to 720 min, not NaN"},
		"closes early": {bad(func(h *Lab) { h.ClosesMin = 400 }), one, SearchOptions{}, "hours from 480 to 400, overtime to 1080 min"},
		"closures":     {bad(func(h *Lab) { h.Closures[0][3] = 0 }), one, SearchOptions{}, "closures of a small base: the chances sum to"},
		"twice":        {h, append(slices.Clone(one), one[0]), SearchOptions{}, "case 2 has the key of another"},
		"size":         {h, []Case{{Size: 3, Weight: 1}}, SearchOptions{}, "size 3 is none of small, medium and large"},
		"due":          {h, []Case{{DueMin: math.Inf(1), Weight: 1}}, SearchOptions{}, "due +Inf min is out of range"},
		"weight":       {h, []Case{{DueMin: 1000}}, SearchOptions{}, "weight 0: want above 0"},
		"draws":        {h, one, SearchOptions{Draws: 1}, "want 2 to 2000 of each"},
		"many":         {h, make([]Case, 41), SearchOptions{}, "41 cases: want at most 40"},
	} {
		if _, err := Make(context.Background(), c.h, c.cases, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	for _, flasks := range [][]Size{nil, make([]Size, 6), {3}} {
		if c, err := MixChance(flasks, 28, h, 1, 1); err == nil {
			t.Errorf("%v: %v", flasks, c)
		}
	}
	if _, err := MixChance([]Size{Small}, math.NaN(), h, 1, 1); err == nil {
		t.Error("NaN minutes")
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Make(ctx, h, one, SearchOptions{}); err == nil {
		t.Error("planned although ended")
	}
}

// kept tells whether a plan does what was chosen.
func (w *Wish) kept(p *Plan) bool {
	for _, g := range w.Together {
		if !slices.ContainsFunc(p.Mixes, func(m Mix) bool {
			return len(m.Cases) == len(g) && !slices.ContainsFunc(m.Cases, func(i int) bool { return !slices.Contains(g, i) })
		}) {
			return false
		}
	}
	next := 0
	for _, i := range w.First {
		k := slices.IndexFunc(p.Mixes, func(m Mix) bool { return slices.Contains(m.Cases, i) })
		if k > next {
			return false
		}
		next = max(next, k+1)
	}
	return true
}
