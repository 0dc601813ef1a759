package cases

import (
	"fmt"

	"flaskside/logbook/action"
	"flaskside/logbook/asked"
	"flaskside/logbook/bench"
	"flaskside/logbook/route"
)

// Step makes a step of a case out of what was typed of it, its values as they were typed: the one
// that comes next, or the one that is named.
func Step(b *bench.Bench, a action.CaseStep, next bool, values []string) (action.CaseStep, error) {
	k, ok := b.CaseOnList(a.Case, a.Base)
	if !ok {
		return a, fmt.Errorf("case %s %s is not on the list: flaskside case list shows it", a.Case, a.Base)
	}
	if next {
		s, ok := b.NextOfCase(k)
		switch {
		case !ok:
			return a, fmt.Errorf("case %s has no step that comes next: name one", k.Name())
		case s.Kind == route.Flask:
			return a, fmt.Errorf("the next step of case %s is the work at the bench: open a flask for it there", k.Name())
		case s.Kind == route.Deliver:
			return a, fmt.Errorf("the next step of case %s is its delivery: flaskside case deliver %s", k.Name(), a.Case)
		}
		a.Step = s.Name
	}
	r, _ := b.RouteOf(k)
	s, _ := r.Step(a.Step)
	var err error
	if a.Values, err = stepValues(values, s, b.House.Units); err != nil {
		return a, asked.Wrong{Err: err}
	}
	return a, nil
}
