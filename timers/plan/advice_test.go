package plan

import (
	"math"
	"testing"
)

// Played by the advice of the bench the days of the reference cost no more than by its simple rule, and lose fewer doughs.
func TestTheAdviceOfTheBenchLosesNoMoreThanTheSimpleRule(t *testing.T) {
	var simple, advised []float64
	lost := [2]float64{}
	for _, day := range ref.Scenarios {
		if day.Instance > 1 || testing.Short() && day.Instance > 0 {
			continue
		}
		h, cases := refHouseOf(day.Scenario), casesOf(day.Cases)
		var costs [2][]float64
		for k, is := range []bool{true, false} {
			h.Simple = is
			e := playable(&h)
			p, w := e.byRule(cases, Fit80, Habit{Small: true}), newPlayer(e, cases)
			for _, d := range MakeDraws(&h, cases, 9, 300) {
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
