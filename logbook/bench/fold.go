package bench

import (
	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Fold makes the bench from records in order of the book. It never fails: what
// was written happened. top gives the highest numbers of the whole book where the
// records are only a part of it.
func Fold(recs []record.Record, top Counters) *Bench {
	return fold(len(recs), func(i int) *record.Record { return &recs[i] }, top)
}

// Anew folds the records of a bench once more.
func (b *Bench) Anew() *Bench {
	return fold(len(b.Items), func(i int) *record.Record { return &b.Items[i].Record }, b.Top)
}

// With folds the records of a bench and one more, which follows on them.
func (b *Bench) With(r record.Record) *Bench {
	n := len(b.Items)
	return fold(n+1, func(i int) *record.Record {
		if i == n {
			return &r
		}
		return &b.Items[i].Record
	}, b.Top)
}

func fold(n int, at func(i int) *record.Record, top Counters) *Bench {
	b := &Bench{
		House: house.Default(), Flasks: map[int]*Flask{}, Mixes: map[int]*Mix{}, Loads: map[int]*Load{}, Timers: map[int]*Timer{},
		Cautions: map[string]timers.Stamp{}, readSet: map[int]timers.Stamp{}, Top: top, byID: make(map[string]int, n), indexed: n, Items: make([]Item, n), memo: newMemo(), worked: &worked{}, tail: &tail{},
	}
	b.tail.n.Store(int64(n))
	var amends []int
	for i := range b.Items {
		r, it := at(i), &b.Items[i]
		it.Record, it.Body, it.Stamp = *r, r.Action.Body, r.Stamp
		b.byID[r.Action.ID] = i
		if action.IsAmendment(it.Body) {
			amends = append(amends, i)
		}
	}
	b.settle(amends)
	for i := range b.Items {
		b.count(&b.Items[i])
	}
	b.place()
	return b
}

// place sets the flasks at work on their places. A flask whose opening is not among
// the records left the bench before them: a record that it shares with another, a mix
// say, does not bring it back.
func (b *Bench) place() {
	b.Places = [action.Places + 1]int{}
	for _, no := range Sorted(b.Flasks) { // of two on one place, in a past as nobody saw it, the newer is shown there
		f := b.Flasks[no]
		if !f.known && (f.Stage != Finished || f.Place != 0) {
			f = own(b, b.Flasks, no, (*Flask).apart)
			f.Stage, f.Place = Finished, 0
		}
		if f.Place > 0 && f.Stage != Finished {
			b.Places[f.Place] = f.No
		}
	}
}

// count lets one record count. Its number is used up though it was taken back.
func (b *Bench) count(it *Item) {
	b.Top.Seq = max(b.Top.Seq, it.Seq)
	b.Top.use(it.Action.Body)
	if it.TakenBack != nil {
		b.returned(it)
		b.unplaced(it)
		return
	}
	b.Top.use(it.Body)
	if r, ok := rules[it.Body.Kind()]; ok {
		r.apply(b, it.Body, it)
	}
}

// use raises the highest number of what a body brings into the world.
func (c *Counters) use(body action.Body) {
	makes := rules[body.Kind()].makes
	if makes == nil {
		return
	}
	made := makes(body)
	if top := c.of(made.Class); top != nil {
		*top = max(*top, made.No)
	}
}

func (c *Counters) of(class byte) *int {
	switch class {
	case 'f':
		return &c.Flask
	case 'm':
		return &c.Mix
	case 'l':
		return &c.Load
	case 't':
		return &c.Timer
	}
	return nil
}

// Extend adds a record to the bench in place and gives the bench that results; b
// itself must not be used afterwards. It serves long inputs; what others may hold
// is made by [Fold].
func (b *Bench) Extend(r record.Record) *Bench {
	if b.shares || b.refolds(r) {
		return b.With(r)
	}
	b.byID[r.Action.ID] = len(b.Items)
	b.extend(r)
	b.indexed = len(b.Items)
	b.tail.n.Store(int64(b.indexed))
	b.worked = &worked{} // other windows run
	if len(b.Items) > max(pruneAt, 2*b.pruned) {
		return b.pruneMuch()
	}
	return b
}

// pruneMuch leaves out what is no longer alive, where that is a quarter or more: to fold the rest anew takes as much
// memory again as the bench has.
func (b *Bench) pruneMuch() *Bench {
	n := 0
	b.Rests(func(_ *record.Record, rests bool) {
		if rests {
			n++
		}
	})
	if b.pruned = len(b.Items); n > 3*len(b.Items)/4 {
		return b
	}
	next := Fold(b.Living(), b.Top)
	next.pruned = n
	return next
}

// pruneAt bounds what a long input keeps in memory: it is pruned there, and again
// whenever it has doubled since.
const pruneAt = 4096
