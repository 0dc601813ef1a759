package plan

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"flaskside/timers/longrun"
)

// The reference is testdata/plan/plan.py, an independent simulator in Python kept beside the cases that it wrote.
type reference struct {
	Closures map[string]map[string]float64 `json:"closures_pmf"`
	Mixes    []refMix                      `json:"flasks_per_mix"`
	Exact    struct {
		Traces        []refTrace    `json:"traces"`
		Deterministic []refOptimum  `json:"deterministic"`
		Expected      []refExpected `json:"expected"`
	} `json:"exact"`
	Scenarios []refDay `json:"scenarios"`
	Fresh     []refDay `json:"scenarios_fresh"`
	LeaveOut  struct {
		Cases   []refCase `json:"cases"`
		Results []struct {
			Without *int       `json:"without"`
			Cost    [2]float64 `json:"cost"`
		} `json:"results"`
	} `json:"leave_out"`
}

type refMix struct {
	Hands, Presses int
	Sizes          string
	Work           float64      `json:"work_min"`
	ByWindow       [][3]float64 `json:"by_window"`
}

type refCase struct {
	Size, Resin string
	Due, W      float64
}

type refPlan struct {
	Gate  float64
	Mixes []struct {
		F  []int
		At float64
	}
	Loads []struct {
		Bath   int
		Prog   string
		F      []int
		Latest float64
	}
}

type refTrace struct {
	Name     string
	Cases    []refCase
	Closures []int
	Plan     refPlan
	Trace    [][]any
	Finished []float64
	Lost     int
	Cost     float64
}

type refOptimum struct {
	Name     string
	Cases    []refCase
	Closures []int
	Plans    int
	Best     float64 `json:"best_cost"`
	Worst    float64 `json:"worst_cost"`
	Ties     int
	BestPlan refPlan `json:"best_plan"`
	Rules    map[string]float64
}

type refExpected struct {
	Name     string
	Cases    []refCase
	Draws    int
	Best     float64 `json:"best_cost"`
	BestPlan refPlan `json:"best_plan"`
	Rules    map[string]float64
}

type refDay struct {
	Scenario string
	Instance int
	Cases    []refCase
	Rules    map[string]json.RawMessage
}

var ref = func() reference {
	var r reference
	b, err := os.ReadFile("../../testdata/plan/cases.json")
	if err == nil {
		err = json.Unmarshal(b, &r)
	}
	if err != nil {
		panic(err)
	}
	return r
}()

// refHouse is the house of the reference: the house defaults, closures as the reference works them out of the same
// house values of the trend.
func refHouse() Lab {
	h := HouseDefaults()
	h.Simple = true // as the reference plays the press
	for s, name := range []string{"s", "m", "l"} {
		for k, p := range ref.Closures[name] {
			n, err := strconv.Atoi(k)
			if err != nil {
				panic(err)
			}
			h.Closures[s][n] = p
		}
	}
	for s := range h.Closures { // printed to twelve places
		total := sum(h.Closures[s][:])
		for k := range h.Closures[s] {
			h.Closures[s][k] /= total
		}
	}
	return h
}

func sizeOf(letter string) Size { return Size(slices.Index([]string{"s", "m", "l"}, letter)) }

func sizesOf(letters string) (out []Size) {
	for _, r := range letters {
		out = append(out, sizeOf(string(r)))
	}
	return out
}

func casesOf(in []refCase) []Case {
	var out []Case
	for i, c := range in {
		out = append(out, Case{Key: uint64(i), Size: sizeOf(c.Size), Resin: int(c.Resin[0]), DueMin: c.Due, Weight: c.W})
	}
	return out
}

func planOf(in refPlan) Plan {
	p := Plan{GateMin: in.Gate}
	for _, m := range in.Mixes {
		p.Mixes = append(p.Mixes, Mix{m.F, m.At})
	}
	for _, l := range in.Loads {
		p.Loads = append(p.Loads, Load{l.Bath, l.Prog == "long", l.F, l.Latest})
	}
	return p
}

var refRules = map[string]mixRule{"fcfs4": firstCome4, "edd3": threeToMix, "edd2x": twoAtOnce, "edd2": twoToMix, "edd1": oneToMix, "fit80": fit80, "fit95": fit95, "own": ownDay}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.6f, want %.6f", what, got, want)
	}
}

func TestFlasksToAMixAsTheReferenceCountsThemOut(t *testing.T) {
	h := refHouse()
	n := 0
	for _, m := range ref.Mixes {
		h.Hands, h.Presses = m.Hands, m.Presses
		e := newEngine(&h)
		work := 0.
		for _, s := range sizesOf(m.Sizes) {
			work += e.work(s, 0, true)
		}
		near(t, "work of "+m.Sizes, work, m.Work, 0.0051)
		if testing.Short() && len(m.Sizes) > 2 {
			continue
		}
		for k, w := range m.ByWindow {
			if len(m.Sizes) > 3 && (k != 1 && k != 4 || !longrun.Set()) {
				continue // a fifth of a second each
			}
			c, err := MixChance(sizesOf(m.Sizes), w[0], h, m.Hands, m.Presses)
			if err != nil {
				t.Fatal(err)
			}
			name := fmt.Sprintf("%s in %g min, hands %d, presses %d", m.Sizes, w[0], m.Hands, m.Presses)
			near(t, name, c.All, w[1], 1e-4)
			near(t, name+", lost", c.Lost, w[2], 1e-4)
			n++
		}
	}
	if n == 0 {
		t.Error("nothing was compared")
	}
}

func TestDaysOfFixedClosuresAsTheReferencePlaysThem(t *testing.T) {
	for _, c := range ref.Exact.Traces {
		cases, p, h := casesOf(c.Cases), planOf(c.Plan), refHouse()
		if err := p.Check(&h, cases); err != nil {
			t.Fatal(err)
		}
		r := Simulate(h, cases, p, fixedDraw(c.Closures))
		var got []event
		for _, e := range r.Events {
			if e.What != whatCoated {
				got = append(got, e)
			}
		}
		names := map[what]string{whatMixed: "mix", whatClosed: "closed", whatLoaded: "bath", whatUnloaded: "out", whatFinished: "finished", whatLost: "lost", whatLunch: "lunch"}
		if len(got) != len(c.Trace) {
			t.Errorf("%s: %d events, want %d", c.Name, len(got), len(c.Trace))
			continue
		}
		for k, w := range c.Trace {
			if names[got[k].What] != w[1] {
				t.Errorf("%s, event %d: %s, want %v", c.Name, k, names[got[k].What], w)
			}
			near(t, fmt.Sprint(c.Name, w), got[k].AtMin, w[0].(float64), 0.00501) // printed to two places
			flasks := w[2:]
			switch w[1] {
			case "bath":
				if (w[3] == "long") != got[k].Long || got[k].Bath != int(w[2].(float64)) {
					t.Errorf("%s: %v, want %v", c.Name, got[k], w)
				}
				flasks = w[4:]
			case "out":
				flasks = w[3:]
			}
			for x, i := range flasks {
				if got[k].Cases[x] != int(i.(float64)) {
					t.Errorf("%s: cases %v, want %v", c.Name, got[k].Cases, w)
				}
			}
		}
		for i, f := range c.Finished {
			near(t, c.Name+" finished", r.EndMin[i], f, 1e-4)
		}
		near(t, c.Name+" cost", r.Cost, c.Cost, 1e-6)
		if r.Lost != c.Lost {
			t.Errorf("%s: %d lost, want %d", c.Name, r.Lost, c.Lost)
		}
	}
}

// ordered are all ordered partitions of the cases into mixes of one resin, four at most.
func ordered(cases []Case) [][][]int {
	var parts func(i int) [][][]int
	parts = func(i int) [][][]int {
		if i == len(cases) {
			return [][][]int{{}}
		}
		var out [][][]int
		for _, p := range parts(i + 1) {
			out = append(out, append([][]int{{i}}, p...))
			for j := range p {
				if cases[p[j][0]].Resin == cases[i].Resin && len(p[j]) < 4 {
					q := slices.Clone(p)
					q[j] = append([]int{i}, q[j]...)
					out = append(out, q)
				}
			}
		}
		return out
	}
	var all [][][]int
	for _, p := range parts(0) {
		var permute func(done, rest [][]int)
		permute = func(done, rest [][]int) {
			if len(rest) == 0 {
				all = append(all, slices.Clone(done))
			}
			for k := range rest {
				permute(append(slices.Clip(done), rest[k]), slices.Delete(slices.Clone(rest), k, k+1))
			}
		}
		permute(nil, p)
	}
	return all
}

// everyPlan is each ordered partition with each choice of programme for each case and each gate, as the reference
// goes through them.
func everyPlan(cases []Case, gates ...float64) (out []Plan) {
	for _, groups := range ordered(cases) {
		for m := range 1 << len(cases) {
			var byDay, night []int
			for i := range cases {
				if m>>i&1 == 1 {
					byDay = append(byDay, i)
				} else {
					night = append(night, i)
				}
			}
			p := Plan{}
			for _, g := range groups {
				p.Mixes = append(p.Mixes, Mix{Cases: g})
			}
			if len(byDay) > 0 {
				p.Loads = append(p.Loads, Load{0, false, byDay, 780})
			}
			if len(night) > 0 {
				p.Loads = append(p.Loads, Load{0, true, night, 1020})
			}
			for _, g := range gates {
				p.GateMin = g
				out = append(out, p)
			}
		}
	}
	return out
}

func TestBestOfAllPlansOfADayWithoutLuck(t *testing.T) {
	h := refHouse()
	for _, c := range ref.Exact.Deterministic {
		cases, d := casesOf(c.Cases), []draw{fixedDraw(c.Closures)}
		e := playable(&h)
		plans := everyPlan(cases, 0, 8, 1000)
		if len(plans) != c.Plans {
			t.Errorf("%s: %d plans, want %d", c.Name, len(plans), c.Plans)
		}
		best, worst, ties := math.Inf(1), 0., 0
		for i := range plans {
			x := e.costs(cases, &plans[i], d)[0]
			if x < best-1e-9 {
				best, ties = x, 0
			}
			if x < best+1e-9 {
				ties++
			}
			worst = max(worst, x)
		}
		near(t, c.Name+", best", best, c.Best, 1e-5)
		near(t, c.Name+", worst", worst, c.Worst, 1e-5)
		if ties != c.Ties {
			t.Errorf("%s: %d plans cost the least, want %d", c.Name, ties, c.Ties)
		}
		p := planOf(c.BestPlan)
		near(t, c.Name+", the best plan", e.costs(cases, &p, d)[0], c.Best, 1e-5)
		for name, want := range c.Rules {
			p := e.byRule(cases, refRules[name], habit{})
			near(t, c.Name+", "+name, e.costs(cases, &p, d)[0], want, 1e-5)
		}
	}
}

// weighted are all days on which each case takes 2 to 7 closures, 7 for 7 and more, the first time, and three when it is
// packed anew; all else as expected.
func weighted(h Lab, cases []Case) (draws []draw, weight []float64) {
	ks := make([]int, len(cases))
	for i := range ks {
		ks[i] = 2
	}
	for {
		w, d := 1., fixedDraw(ks)
		for i, k := range ks {
			p := h.Closures[cases[i].Size]
			if k < 7 {
				w *= p[k]
			} else {
				w *= sum(p[7:])
			}
			for a := 1; a < attempts; a++ {
				d.Closures[i][a] = 3
			}
		}
		draws, weight = append(draws, d), append(weight, w)
		i := len(ks) - 1
		for ; i >= 0; i-- {
			if ks[i]++; ks[i] <= 7 {
				break
			}
			ks[i] = 2
		}
		if i < 0 {
			return draws, weight
		}
	}
}

func TestBestExpectedCostOverAllClosures(t *testing.T) {
	h := refHouse()
	for n, c := range ref.Exact.Expected {
		cases := casesOf(c.Cases)
		draws, weight := weighted(h, cases)
		if len(draws) != c.Draws {
			t.Errorf("%s: %d days, want %d", c.Name, len(draws), c.Draws)
		}
		e := playable(&h)
		expected := func(p *Plan) (x float64) {
			for i, cost := range e.costs(cases, p, draws) {
				x += weight[i] * cost
			}
			return x
		}
		p := planOf(c.BestPlan)
		near(t, c.Name+", the best plan", expected(&p), c.Best, 1e-5)
		for name, want := range c.Rules {
			p := e.byRule(cases, refRules[name], habit{})
			near(t, c.Name+", "+name, expected(&p), want, 1e-5)
		}
		if testing.Short() || n > 0 && !longrun.Set() {
			continue
		}
		best := math.Inf(1)
		plans := everyPlan(cases, 0, 8)
		for i := range plans {
			best = min(best, expected(&plans[i]))
		}
		near(t, c.Name+", best of all", best, c.Best, 1e-5)
	}
}
