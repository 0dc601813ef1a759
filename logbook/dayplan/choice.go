package dayplan

import (
	"slices"

	"flaskside/timers/plan"
)

// Choice is what a person chose, by the names of the cases; a name that is not to be mixed for any more is passed over.
type Choice struct {
	First    []string   // mixed for first, in this order
	Together [][]string // share a mix, with no other
}

// wish brings a choice to the planner: what of it still stands.
func (d *Day) wish(cases []plan.Case) (w plan.Wish) {
	find := func(name string) int {
		i := slices.IndexFunc(d.Entries, func(e Entry) bool { return e.Case == name })
		if i >= 0 && cases[i].Begun != nil && cases[i].Begun.Step >= plan.Packed {
			return -1
		}
		return i
	}
	seen := map[int]bool{}
	for _, g := range d.Question.Choice.Together {
		var mix []int
		for _, name := range g {
			if i := find(name); i >= 0 && !seen[i] && len(mix) < plan.MaxMix && (len(mix) == 0 || cases[i].Resin == cases[mix[0]].Resin) {
				mix = append(mix, i)
				seen[i] = true
			}
		}
		if len(mix) > 0 {
			w.Together = append(w.Together, mix)
		}
	}
	for _, name := range d.Question.Choice.First {
		if i := find(name); i >= 0 && !slices.Contains(w.First, i) {
			w.First = append(w.First, i)
		}
	}
	return w
}
