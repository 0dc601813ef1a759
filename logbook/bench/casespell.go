package bench

import (
	"time"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// StepSpell is a step of a case as it went: until the next step of that case, its flask, or
// its going out.
type StepSpell struct {
	caseDone
	To        *timers.Stamp // nil where nothing followed, or no time is asked for
	Lasted    time.Duration
	Estimated bool // by the wall clock: the machine was started anew in between
}

// Short tells whether the case went on before the earliest end.
func (s StepSpell) Short() bool {
	return s.To != nil && s.Lasted < time.Duration(s.MinS)*time.Second
}

// Over tells whether it went on after the latest.
func (s StepSpell) Over() bool {
	return s.To != nil && s.MaxS > 0 && s.Lasted > time.Duration(s.MaxS)*time.Second
}

// StepSpells lists the steps of cases among the records of the bench, in the order of the book.
func (b *Bench) StepSpells() []StepSpell {
	var out []StepSpell
	open := map[string]int{} // by case: the step that runs
	for i := range b.Items {
		it := &b.Items[i]
		number, base, ok := action.CaseOf(it.Body)
		if !ok || it.TakenBack != nil {
			continue
		}
		name := number + " " + base
		step, is := it.Body.(action.CaseStep)
		if j, runs := open[name]; runs && (!is || step.Event == "") {
			p := timers.Now{Reading: timers.Reading{Wall: it.Stamp.At, Boot: it.Stamp.Boot, BootID: it.Stamp.BootID}}.Since(out[j].At)
			if p.For >= 0 {
				out[j].To, out[j].Lasted, out[j].Estimated = it.at(), p.For, p.Estimated
			}
			delete(open, name)
		}
		if !is {
			continue
		}
		out = append(out, StepSpell{caseDone: doneOf(step, it)})
		if step.Event == "" && step.As.Timed() {
			open[name] = len(out) - 1
		}
	}
	return out
}
