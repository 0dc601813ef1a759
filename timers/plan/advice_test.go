package plan

import (
	"context"
	"math"
	"testing"

	"flaskside/timers/longrun"
)

// Played by the advice of the bench the days of the reference cost no more than by its simple rule, and lose fewer doughs.
func TestTheAdviceOfTheBenchLosesNoMoreThanTheSimpleRule(t *testing.T) {
	longrun.Only(t, "a statistic of whole days")
	var simple, advised []float64
	lost := [2]float64{}
	for _, day := range ref.Scenarios {
		if day.Instance > longrun.Times(0, 1) {
			continue
		}
		h, cases := refHouseOf(day.Scenario), casesOf(day.Cases)
		var costs [2][]float64
		for k, is := range []bool{true, false} {
			h.Simple = is
			e := playable(&h)
			p, w := e.byRule(cases, fit80, habit{Small: true}), newPlayer(e, cases)
			for _, d := range makeDraws(&h, cases, 9, 300) {
				r := w.play(&p, &d)
				costs[k] = append(costs[k], r.Cost)
				lost[k] += float64(r.Lost)
			}
			t.Logf("%s %d simple %v: %d benches solved", day.Scenario, day.Instance, is, len(e.advice.solved))
		}
		gain, se := Paired(costs[0], costs[1])
		t.Logf("%s %d: %.2f, by the advice %.2f: gain %.2f ± %.2f", day.Scenario, day.Instance, mean(costs[0])[0], mean(costs[1])[0], gain, se)
		simple, advised = append(simple, costs[0]...), append(advised, costs[1]...)
	}
	gain, se := Paired(simple, advised)
	t.Logf("all: gain %.3f ± %.3f points a day, doughs lost %.0f and %.0f", gain, se, lost[0], lost[1])
	if gain < -2*se || lost[1] > lost[0]+3*math.Sqrt(lost[0]) {
		t.Errorf("the advice gains %.2f ± %.2f points a day; %.0f doughs lost, %.0f by the simple rule", gain, se, lost[1], lost[0])
	}
}

// With the press played by the advice of the bench, too, the plan picked costs on fresh days no more than the best simple
// rule, two standard errors apart.
func TestPickByTheAdviceIsNoWorseThanTheBestSimpleRule(t *testing.T) {
	ctx := context.Background()
	for _, day := range ref.Scenarios {
		if day.Instance > 0 || testing.Short() && day.Scenario != "rush" {
			continue
		}
		h, cases := refHouseOf(day.Scenario), casesOf(day.Cases)
		h.Simple = false
		draws, fresh := makeDraws(&h, cases, 3, longrun.Times(30, 60)), makeDraws(&h, cases, 4, longrun.Times(50, 100))
		p, err := Pick(ctx, h, cases, draws)
		if err != nil {
			t.Fatal(err)
		}
		if p, err = Defer(ctx, h, cases, p, draws); err != nil {
			t.Fatal(err)
		}
		picked := Costs(h, cases, p, fresh)
		var best []float64
		for _, r := range []mixRule{oneToMix, twoToMix, fit80} {
			if c := Costs(h, cases, ByRule(h, cases, r, habit{}), fresh); best == nil || sum(c) < sum(best) {
				best = c
			}
		}
		if more, se := Paired(picked, best); more > 2*se+.05 {
			t.Errorf("%s %d: costs %.2f ± %.2f more than the best simple rule", day.Scenario, day.Instance, more, se)
		}
	}
}

// A case that is due tomorrow evening and can only be begun tomorrow goes by day tomorrow: planned for a night that nothing
// is set for, it went in the next morning with the programme of the night, and came out the morning after.
func TestWhatMissesTheNightGoesByDay(t *testing.T) {
	h := ownHouse()
	h.StartMin = 1000
	cases := []Case{{Key: 1, Size: Small, DueMin: Day + 1020, Weight: 1}, {Key: 2, Size: Small, DueMin: Day + 1020, Weight: 1}}
	m, err := Make(context.Background(), h, cases, SearchOptions{Seed: 1, Draws: 20, Days: 60})
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range m.Foretold.Cases {
		if c.Late > .1 || c.Long {
			t.Errorf("case %d: late on %.2f of days, by night %v", i, c.Late, c.Long)
		}
	}
	// A load that was planned for the night and misses it is not put in the next morning for all day.
	p := Plan{GateMin: 8, Mixes: []Mix{{[]int{0, 1}, Day + 480}}, Loads: []Load{{0, true, []int{0, 1}, 1020}}}
	f, err := Foretell(context.Background(), h, cases, p, makeDraws(&h, cases, 2, 60))
	if err != nil || f.Cases[0].Late > .6 { // put in for all day it was late on every one
		t.Errorf("late on %.2f of days, %v", f.Cases[0].Late, err)
	}
}
