package bench

import (
	"slices"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/record"
)

// living is what tells which records the bench as it stands still rests on.
type living struct {
	b          *Bench
	now        time.Time // of the latest record
	last       map[action.Kind]int
	served     map[int][]int // by mix: all flasks it was ever given to
	lastRead   map[int]int   // by bath
	unloads    map[int][]int // by record: the loads it took flasks out of
	registered map[uint64]bool
	cases      map[uint64]bool
	faded      map[int]bool // notes by record
	// settingsBack is the record of settings whose taking back is the latest; -1 for none.
	settingsBack int
}

// living looks through the records once.
func (b *Bench) living() *living {
	l := &living{b: b, last: map[action.Kind]int{}, served: b.served(), lastRead: b.lastReadings(), unloads: b.unloadings(), registered: b.registered(), cases: b.caseRecords(), faded: b.fadedNotes(), settingsBack: -1}
	var back uint64
	for i := range b.Items {
		it := &b.Items[i]
		if it.Stamp.At.After(l.now) {
			l.now = it.Stamp.At
		}
		if it.TakenBack == nil {
			l.last[it.Action.Kind()] = i
		} else if _, ok := it.Body.(action.Settings); ok && it.TakenBack.Seq > back {
			l.settingsBack, back = i, it.TakenBack.Seq
		}
	}
	return l
}

// thing tells whether the bench rests on a flask, a mix, a load or a timer.
func (l *living) thing(s action.Subject) bool {
	f := lives[s.Class]
	return f != nil && f(l, s.No)
}

// things tells whether it rests on one that a body is about.
func (l *living) things(body action.Body) bool { return slices.ContainsFunc(body.Subjects(), l.thing) }

// record tells whether the bench rests on a record: by what it is about, as it was
// written and as it counts, or by what its kind says.
func (l *living) record(i int, it *Item) bool {
	r := rules[it.Body.Kind()]
	if l.things(it.Action.Body) || len(it.Corrections) > 0 && l.things(it.Body) {
		return r.fades == nil || !r.fades(l, i, it)
	}
	return r.alive != nil && r.alive(l, i, it)
}

// alive tells for each item whether the bench as it stands still rests on it. What
// is no longer alive stays in the book and can be left out of the next fold.
func (b *Bench) alive() []bool {
	out := make([]bool, len(b.Items))
	l := b.living()
	for i := range b.Items {
		it := &b.Items[i]
		if _, amends := action.Amends(it.Body); !amends {
			out[i] = l.record(i, it)
		}
	}
	// A correction lives as long as what it corrects; one may name another.
	for i := range b.Items {
		of, ok := action.Amends(b.Items[i].Body)
		if !ok {
			continue
		}
		if j, ok := b.at(of); ok {
			out[i] = out[j]
		}
	}
	for i, n := len(out)-1, 0; i >= 0 && n < takeBackDepth; i-- {
		if !probed(b.Items[i].Body) {
			out[i] = true
			n++
		}
	}
	return out
}

// takeBackDepth is how many of the latest records made by hand are always kept at
// hand, so that they can be taken back one after the other.
const takeBackDepth = 30

// Rests tells of each record at hand whether the bench still rests on it.
func (b *Bench) Rests(f func(r *record.Record, rests bool)) {
	for i, alive := range b.alive() {
		f(&b.Items[i].Record, alive)
	}
}

// Living gives the records that the bench still rests on.
func (b *Bench) Living() []record.Record {
	alive, n := b.alive(), 0
	for _, is := range alive {
		if is {
			n++
		}
	}
	out := make([]record.Record, 0, n)
	for i, is := range alive {
		if is {
			out = append(out, b.Items[i].Record)
		}
	}
	return out
}
