package dayplan

import (
	"fmt"
	"slices"
	"strings"

	"flaskside/timers/plan"
)

// Choice is what a person chose, by the names of the cases; a name that is not to be mixed for any more is passed over.
type Choice struct {
	First    []string   // mixed for first, in this order
	Together [][]string // share a mix, with no other
}

// Mixable says what keeps cases from sharing a mix, "" where nothing does.
func (q Question) Mixable(names []string) string {
	if len(names) > plan.MaxMix {
		return fmt.Sprintf("a mix for %d cases: at most %d", len(names), plan.MaxMix)
	}
	resin := ""
	for _, e := range q.Entries {
		if !slices.Contains(names, e.Case) {
			continue
		}
		if r := strings.ToLower(e.Resin); resin == "" {
			resin = r
		} else if r != resin {
			return "they are of two resins or shades: each has mixes of its own"
		}
	}
	return ""
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
