package plan

import (
	"time"

	"flaskside/timers/press"
)

// windowAdvice is the advice of the bench for one mix, worked out beforehand.
type windowAdvice struct {
	reader *press.Lookup // nil where the simple order plays
	on     bool          // still played by it
	onward int           // the flask that goes into the press next; -1 for none
	now    []press.Position
}

// solve works the advice out for two flasks and one pair of hands. For three it takes up to a tenth of a second, and gained
// nothing where it was tried.
func (w *window) solve(windowMin float64) {
	e, n := w.e, len(w.flasks)
	if e.Simple || e.Hands > 1 || n != 2 {
		return
	}
	jobs := make([]press.Job, n)
	for i, s := range w.flasks {
		jobs[i] = press.Job{ID: string(rune('a' + i)), Progress: press.Waiting, Due: ms(windowMin), More: e.Closures[s][1:]}
	}
	d := press.Durations{Raise: ms(e.RaiseMin), Hold: ms(e.HoldMin), Open: ms(e.OpenMin), Trim: ms(e.TrimMin), Final: ms(e.FinalMin)}
	if s, err := press.Solve(jobs, d, press.Capacity{Presses: e.Presses, Hands: e.Hands}, statesTwo); err == nil {
		w.adv.reader = s.Reader()
	}
}

// advised is what the bench would advise now; false where the simple order plays on.
func (w *window) advised(t float64, needs []int, idle int) (act, bool) {
	a := &w.adv
	if !a.on {
		return act{}, false
	}
	if i := a.onward; i >= 0 {
		if a.onward = -1; idle >= 0 && w.stage[i] == dough && w.at[i] <= t {
			return act{do: doPress, of: i}, true
		}
		a.on = false
		return act{}, false
	}
	a.now = a.now[:0]
	presses := 0
	for _, x := range w.press {
		if !x.busy {
			presses++
		}
	}
	for i, s := range w.stage {
		x := press.Position{Stage: press.Waiting, At: ms(w.at[i]), Judged: w.made[i], Ready: w.made[i] > 0 && w.made[i] >= needs[i]}
		switch s {
		case dough:
		case untrimmed:
			x.Stage = press.Untrimmed
		case inPress:
			x.Stage, x.At, x.Ready = press.Holding, w.until(i), false
		default:
			x.Stage, x.At = press.Closing, w.until(i)
			x.Done = x.At <= ms(t)
		}
		a.now = append(a.now, x)
	}
	verb, i, on, known := a.reader.Next(ms(t), a.now, 1, presses)
	switch {
	case !known:
		a.on = false
	case verb == press.Nothing: // what is past helping is worked on to its end
	case verb == press.Open:
		for p, x := range w.press {
			if x.busy && !x.final && x.flask == i && x.until <= t {
				return act{do: doOpen, press: p}, true
			}
		}
		return act{}, true // the hands wait until it was held long enough
	case verb == press.Trim:
		if w.at[i] <= t && w.stage[i] == untrimmed {
			if on {
				a.onward = i
			}
			return act{do: doTrim, of: i}, true
		}
	case idle >= 0 && w.stage[i] == dough && w.at[i] <= t:
		return act{do: doPress, of: i}, true
	}
	return act{}, false
}

// until is when the press of a flask is done with it; 0 where it is in none any more.
func (w *window) until(i int) time.Duration {
	for _, x := range w.press {
		if x.busy && x.flask == i {
			return ms(x.until)
		}
	}
	return 0
}
