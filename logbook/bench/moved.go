package bench

import (
	"maps"
	"reflect"
	"slices"
	"sync/atomic"

	"flaskside/logbook/action"
	"flaskside/logbook/record"
)

// MovedOn gives the bench with one more record, which follows on those it has. It is what
// [Bench.With] gives, at the cost of what is at work and not of all records it rests on, and
// b stays as it is: what a record may change is copied, the rest is shared. A record that
// changes how earlier ones count is folded with them.
func (b *Bench) MovedOn(r record.Record) *Bench {
	if b.refolds(r) || len(b.Items)-b.indexed >= mostLoose {
		return b.With(r)
	}
	next := b.apart()
	next.extend(r)
	next.owned = nil
	return next
}

// refolds tells whether a record changes how earlier ones count.
func (b *Bench) refolds(r record.Record) bool {
	_, again := b.at(r.Action.ID)
	return again || action.IsAmendment(r.Action.Body) || slices.ContainsFunc(r.Action.Body.Subjects(), b.unopened)
}

// unopened tells of a flask that the records speak of and whose opening is not among them: what became of it stands
// at the end of a fold, and not between two records of a foreign book.
func (b *Bench) unopened(s action.Subject) bool {
	f := b.Flasks[s.No]
	return s.Class == 'f' && f != nil && !f.known
}

// mostLoose is how many records may have no place in the list of ids: they are looked
// through one by one.
const mostLoose = 128

// at finds a record by its id among those of the bench.
func (b *Bench) at(id string) (int, bool) {
	for i := len(b.Items) - 1; i >= b.indexed; i-- {
		if b.Items[i].Action.ID == id {
			return i, true
		}
	}
	i, ok := b.byID[id]
	return i, ok
}

// tail is the end of a list of records that benches share: the first bench that moves on from
// there may write behind it, any other takes a list of its own.
type tail struct{ n atomic.Int64 }

// extend adds a record behind those of a bench that is being made.
func (b *Bench) extend(r record.Record) {
	b.Items = append(b.Items, Item{Record: r, Body: r.Action.Body, Stamp: r.Stamp})
	b.count(&b.Items[len(b.Items)-1])
	b.place()
}

// apart gives a bench equal to b of which nothing that a record may change is shared with it.
// What is only ever added to at its end is shared, and cut so that adding makes it anew.
func (b *Bench) apart() *Bench {
	next := *b
	n := len(b.Items)
	if !b.tail.n.CompareAndSwap(int64(n), int64(n)+1) {
		next.Items = append(make([]Item, 0, n+mostLoose), b.Items...)
		next.tail = &tail{}
		next.tail.n.Store(int64(n) + 1)
	}
	next.shares = true
	next.worked = &worked{}
	next.Flasks, next.Mixes, next.Loads, next.Timers = maps.Clone(b.Flasks), maps.Clone(b.Mixes), maps.Clone(b.Loads), maps.Clone(b.Timers)
	next.Readings, next.Answers = slices.Clip(b.Readings), slices.Clip(b.Answers)
	next.Cautions, next.Here = maps.Clone(b.Cautions), maps.Clone(b.Here)
	if b.Planned != nil {
		p := *b.Planned
		p.Withdrawn = slices.Clone(p.Withdrawn)
		next.Planned = &p
	}
	next.register, next.pieces, next.cases = slices.Clone(b.register), slices.Clone(b.pieces), slices.Clone(b.cases)
	return &next
}

// own gives a thing to write to: of a bench that is moved on, a copy of its own. inner cuts
// loose what hangs on it.
func own[V any](b *Bench, m map[int]*V, no int, inner func(*V)) *V {
	v := m[no]
	if v == nil || !b.shares || slices.Contains(b.owned, any(v)) {
		return v
	}
	c := *v
	inner(&c)
	m[no] = &c
	b.made(&c)
	return &c
}

// made notes a thing that no other bench has.
func (b *Bench) made(thing any) {
	if b.shares {
		b.owned = append(b.owned, thing)
	}
}

func (f *Flask) apart() {
	f.Halves = maps.Clone(f.Halves)
	for k, h := range f.Halves {
		c := *h
		f.Halves[k] = &c
	}
	f.Trials, f.Oddities, f.excused = slices.Clone(f.Trials), slices.Clip(f.Oddities), maps.Clone(f.excused)
}

func (b *Bench) mix(no int) *Mix {
	return own(b, b.Mixes, no, func(*Mix) {})
}

func (b *Bench) load(no int) *Load {
	return own(b, b.Loads, no, func(*Load) {})
}

// caseToChange gives a case of the list to write to.
func (b *Bench) caseToChange(i int) *Case {
	k := &b.cases[i]
	if b.shares {
		k.Steps, k.seqs, k.losses, k.excused = slices.Clone(k.Steps), slices.Clip(k.seqs), slices.Clone(k.losses), maps.Clone(k.excused)
	}
	return k
}

// Same tells whether two benches say the same of everything, whatever each was made by.
func (b *Bench) Same(other *Bench) bool {
	said := func(b Bench) Bench {
		b.byID, b.indexed, b.tail, b.shares, b.owned, b.pruned, b.memo, b.worked = nil, 0, nil, false, nil, 0, nil, nil
		return b
	}
	return reflect.DeepEqual(said(*b), said(*other))
}
