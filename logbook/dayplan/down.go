package dayplan

import (
	"slices"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/route"
	"flaskside/timers"
	"flaskside/timers/plan"
)

// outOfUse are the baths, by the names of the settings, and how many of the presses the register of equipment says are out
// of use.
func outOfUse(b *bench.Bench) (baths []string, presses int) {
	used := b.Usable(action.Bath)
	for i, x := range b.House.Baths {
		if !slices.Contains(used, i+1) {
			baths = append(baths, x.Name)
		}
	}
	return baths, b.House.Press.Presses - len(b.Usable(action.Press))
}

// At is a question asked of a bench: its house and room, what is in its baths, and what of its equipment is out of use.
func At(b *bench.Bench, now time.Time) Question {
	q := Question{House: b.House, RoomC: b.House.RoomC(), Now: now, Busy: busy(b), Seed: 1}
	return q.Without(b)
}

// Without leaves out what is out of use at a bench; where no press is left one is reckoned with, and told.
func (q Question) Without(b *bench.Bench) Question {
	baths, presses := outOfUse(b)
	q.Down = slices.Clone(q.Down)
	for _, name := range baths {
		if !slices.Contains(q.Down, name) {
			q.Down = append(q.Down, name)
		}
	}
	if have := q.House.Press.Presses; presses > 0 && q.Presses == 0 { // a number that a person gave stands
		q.Presses, q.noPress = max(1, have-presses), presses >= have
	}
	return q
}

// What a table may say beyond these counts as so much: such a case is in no plan of these days.
const (
	mostHandsMin = 240.
	mostThenMin  = 14 * plan.Day
)

// mouldOf is what is to be done to the mould of a case that waits before it can be painted, by the steps of its route
// that come before the work at the bench: when the work on it can go on, zero for at once, and the hands and the time that
// each step takes. What takes no hands is put to the step before it.
func mouldOf(b *bench.Bench, k bench.Case, now timers.Now) (from time.Time, work []plan.Prep) {
	r, ok := b.RouteOf(k)
	if !ok {
		return from, nil
	}
	flask := r.At(route.Flask)
	next, ok := b.NextOfCase(k)
	if !ok || flask < 0 {
		return from, nil
	}
	left := time.Duration(0)
	if run := k.Running(); run != nil {
		if s, at := r.Step(run.Step); at >= 0 && at < flask {
			left += max(0, aimOf(s)-now.Since(run.At).For)
		}
	}
	_, at := r.Step(next.Name)
	for at := max(0, at); at < flask; at++ {
		s := r.Steps[at]
		if s.Off {
			continue
		}
		hands, then := time.Duration(s.HandsS)*time.Second, aimOf(s)
		if s.Kind == route.Hold { // somebody stands by
			hands, then = max(hands, then), 0
		}
		switch n := len(work); {
		case hands == 0 && n == 0:
			left += then
		case hands == 0:
			work[n-1].ThenMin = min(mostThenMin, work[n-1].ThenMin+then.Minutes())
		default:
			work = append(work, plan.Prep{HandsMin: min(mostHandsMin, hands.Minutes()), ThenMin: min(mostThenMin, then.Minutes())})
		}
	}
	if left <= 0 {
		return from, work
	}
	return now.Wall.Add(left), work
}

func aimOf(s route.Step) time.Duration {
	if !s.Kind.Timed() {
		return 0
	}
	return time.Duration(max(s.AimS, s.MinS)) * time.Second
}
