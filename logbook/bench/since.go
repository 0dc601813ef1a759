package bench

import (
	"encoding/json"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// No alarm is older than the record that made it possible. Most rise long after; but a
// correction, a taking back, a mark on a mix or other settings can make one that would have
// sounded before. The bench keeps when each thing came to be as it stands, and what it
// sounds begins there at the earliest:
//
//	flask  set    the record that brought it to its stage, as corrected
//	       given  the record that gave it its mix
//	       trend  what else changed what its closures foretell
//	       back   the last taking back about it
//	mix, load, timer, half: set and back likewise

// returned notes that a record, or an earlier taking back or correction of it, was taken
// back: what it was about stands as it did before, from now on.
func (b *Bench) returned(it *Item) {
	at := it.TakenBack.Stamp
	root := rootOf(it.Body, func(id string) (action.Body, bool) {
		i, ok := b.at(id)
		if !ok {
			return nil, false
		}
		return b.Items[i].Action.Body, true
	})
	if root == nil {
		return
	}
	if number, _, ok := action.CaseOf(root); ok {
		b.returnedTo(number, it, at)
	}
	if rules[root.Kind()].quiet {
		return
	}
	switch a := root.(type) {
	case action.Settings:
		b.houseSet = timers.Latest(b.houseSet, at)
	case action.BathReading:
		b.readSet[a.Bath] = timers.Latest(b.readSet[a.Bath], at)
	}
	for _, s := range root.Subjects() {
		if back := b.backOf(s); back != nil {
			*back = timers.Latest(*back, at)
		}
	}
}

func (b *Bench) backOf(s action.Subject) *timers.Stamp {
	switch s.Class {
	case 'f':
		if f := b.Flasks[s.No]; f != nil {
			return &f.back
		}
	case 'm':
		if m := b.Mixes[s.No]; m != nil {
			return &m.back
		}
	case 't':
		if t := b.Timers[s.No]; t != nil {
			return &t.back
		}
	}
	return nil
}

// first is the earliest of what some flasks are since: what all of them share is as old as
// the oldest of it.
func (b *Bench) first(flasks []int, since func(*Flask) timers.Stamp) timers.Stamp {
	var out timers.Stamp
	for i, n := range flasks {
		if s := since(b.Flasks[n]); i == 0 || s.Before(out) {
			out = s
		}
	}
	return out
}

func (f *Flask) staged() timers.Stamp { return timers.Latest(f.set, f.back) }
func (f *Flask) served() timers.Stamp { return timers.Latest(f.given, f.back) }

// to brings a flask to a stage.
func (f *Flask) to(s FlaskStage, it *Item) { f.Stage, f.set = s, it.set() }

// otherNumbers are the case numbers that the opening of a flask had before it was corrected.
func otherNumbers(it *Item) []string {
	is, _, _ := action.CaseOf(it.Body)
	was, _, _ := action.CaseOf(it.Action.Body)
	var out []string
	add := func(number string) {
		if number != "" && number != is {
			out = append(out, number)
		}
	}
	if it.Corrected() {
		add(was)
		for _, c := range it.Corrections {
			if a, ok := c.Action.Body.(action.Correct); ok {
				var set struct {
					Case string `json:"case"`
				}
				if json.Unmarshal(a.Set, &set) == nil {
					add(set.Case)
				}
			}
		}
	}
	return out
}
