package press

import (
	"math/bits"
	"time"
)

// rule is one of the simple ways to choose what the hands do next.
type rule uint8

const (
	firstCome      rule = iota + 1 // the flask that has waited longest for the press
	oneAtATime                     // finish one flask, then the next, in the order given
	earliestEnd                    // the flask whose dough ends first
	leastSlack                     // the flask with the least time to spare at 80 % confidence
	mooreRule                      // by Moore and Hodgson on expected times
	earliestSerial                 // finish one flask, then the next, by the end of the dough
	mooreSerial                    // finish one flask, then the next, in Moore and Hodgson's order
)

// serial rules work on as few flasks at once as they can.
func (r rule) serial() bool { return r == oneAtATime || r == earliestSerial || r == mooreSerial }

// moore rules want mooreKeys before key.
func (r rule) moore() bool { return r == mooreRule || r == mooreSerial }

// key ranks flask i under a rule, least first; equals keep the order of the flasks.
func (p *plan) key(w *world, r rule, i int) time.Duration {
	switch r {
	case firstCome:
		return w.cells[i].since
	case earliestEnd, earliestSerial:
		return p.due[i]
	case leastSlack:
		return p.due[i] - p.work(&w.cells[i], i, p.high)
	case mooreRule, mooreSerial:
		return p.keys[i]
	}
	return time.Duration(i)
}

// work is the hand time flask i is expected to want yet.
func (p *plan) work(c *cell, i int, closures [][]time.Duration) time.Duration {
	t := p.d.Final
	if c.need > 0 {
		t += closures[i][c.made]
	}
	switch c.stage {
	case Rising, Holding:
		t -= p.d.Raise
	case Untrimmed:
		t += p.d.Trim
	}
	return t
}

// mooreSplit splits the flasks of a set into those that Moore and Hodgson keep, by the end of their dough, and p.late.
func (p *plan) mooreSplit(w *world, live uint32) (kept []int8) {
	p.keep = p.keep[:0]
	for _, i := range p.byDue {
		if live&(1<<i) != 0 {
			p.tasks[i] = task{p.work(&w.cells[i], int(i), p.mean), p.due[i]}
			p.keep = append(p.keep, i)
		}
	}
	kept, p.late = mooreHodgson(p.tasks, p.keep, w.now, p.late[:0])
	return kept
}

// mooreRank ranks the flasks still in play: those that Moore and Hodgson keep by the end of their dough, then the
// others, shortest first.
func (p *plan) mooreRank(w *world) {
	kept := p.mooreSplit(w, p.inPlay(w))
	shortestFirst(p.tasks, p.late)
	for r, i := range kept {
		p.rank[i] = int8(r)
	}
	for r, i := range p.late {
		p.rank[i] = int8(len(kept) + r)
	}
}

// mooreKeys sets keys in the order of mooreRank, for less work: those that must be late are not sorted, for their times
// rank them, behind the others (2*MaxTime, for the time of one may be below 0).
func (p *plan) mooreKeys(w *world, live uint32) {
	for r, i := range p.mooreSplit(w, live) {
		p.keys[i] = time.Duration(r)
	}
	for _, i := range p.late {
		p.keys[i] = 2*MaxTime + p.tasks[i].Time
	}
}

// inPlay is the set of flasks before their final closure that can still be in time.
func (p *plan) inPlay(w *world) (set uint32) {
	for i := range w.cells {
		if w.cells[i].stage < Closing && !p.lost(w, i) {
			set |= 1 << i
		}
	}
	return set
}

// choose is the rule's answer to what a free pair of hands does now; false when there is nothing to begin yet. What
// keeps the press idle comes first: opening it, then filling it, then trimming.
func (p *plan) choose(w *world, r rule) (step, bool) {
	var open, press, trim, spent, live uint32
	for i := range w.cells {
		c := &w.cells[i]
		if c.stage >= Closing {
			continue
		}
		if p.lost(w, i) {
			if c.stage == Holding {
				spent |= 1 << i
			}
			continue
		}
		live |= 1 << i
		switch c.stage {
		case Holding:
			if c.at <= w.now {
				open |= 1 << i
			}
		case Waiting:
			if c.at <= w.now {
				press |= 1 << i
			}
		case Untrimmed:
			trim |= 1 << i
		}
	}
	held := open
	if r.serial() {
		if open|press|trim != 0 {
			f := p.focus(w, r, live)
			open, press, trim = open&f, press&f, trim&f
		}
	} else if r.moore() && (open&(open-1)|press&(press-1)|trim&(trim-1)) != 0 {
		p.mooreKeys(w, live)
	}
	switch {
	case open != 0:
		return step{Open, p.first(w, r, open)}, true
	case press != 0 && w.presses > 0:
		i := p.first(w, r, press)
		if w.cells[i].need == 0 {
			return step{Close, i}, true
		}
		return step{Press, i}, true
	case press != 0 && spent != 0: // a flask past helping stands in the press
		return step{Open, int8(bits.TrailingZeros32(spent))}, true
	case trim != 0:
		return step{Trim, p.first(w, r, trim)}, true
	case press != 0 && held != 0:
		return step{Open, p.first(w, r, held)}, true
	}
	return step{}, false
}

// first is the flask of a set with the least key, or the favoured one.
func (p *plan) first(w *world, r rule, set uint32) int8 {
	if p.favour != noFavour && set&(1<<p.favour) != 0 {
		return p.favour
	}
	best := int8(bits.TrailingZeros32(set))
	if set &= set - 1; set == 0 {
		return best
	}
	key := p.key(w, r, int(best))
	for ; set != 0; set &= set - 1 {
		i := int8(bits.TrailingZeros32(set))
		if k := p.key(w, r, int(i)); k < key {
			best, key = i, k
		}
	}
	return best
}

// focus is the set of flasks of those in play that a one-at-a-time rule works on: as many as there are presses and hands for.
func (p *plan) focus(w *world, r rule, live uint32) (set uint32) {
	here := live
	for i := range w.cells {
		if c := &w.cells[i]; c.stage == Waiting && c.at > w.now {
			here &^= 1 << i
		}
	}
	n := min(p.bench.Presses, p.bench.Hands)
	if bits.OnesCount32(here) <= n {
		return here
	}
	if r.moore() {
		p.mooreKeys(w, live)
	}
	for ; n > 0; n-- {
		f := uint32(1) << p.first(w, r, here)
		set |= f
		here &^= f
	}
	return set
}
