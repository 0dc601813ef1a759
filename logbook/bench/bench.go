// Package bench is the bench as it stands: a pure fold of the logbook's records,
// and the rules of what may be done next. It touches no disk and asks no clock.
//
// [Fold] makes a Bench from records; it is never changed afterwards, so that it
// can be handed about freely. [Bench.Check] holds an action against the bench and
// the house rules before it becomes a record. [Bench.Windows] gives every running
// window, [Bench.Next] the one step that comes next for a flask.
package bench

import (
	"iter"
	"sort"
	"sync"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Item is one record as it counts now: with its corrections, or taken back.
type Item struct {
	record.Record
	Body        action.Body // as corrected
	Stamp       timers.Stamp
	Corrections []record.Record // in order
	TakenBack   *record.Record
}

// at is when it was done, for keeping.
func (it *Item) at() *timers.Stamp { s := it.Stamp; return &s }

// set is when it came to count as it does: when it was done, or corrected.
func (it *Item) set() timers.Stamp {
	s := it.Stamp
	for _, c := range it.Corrections {
		s = timers.Latest(s, c.Stamp)
	}
	return s
}

// Corrected tells whether the item counts with other values than were first
// written.
func (it Item) Corrected() bool { return len(it.Corrections) > 0 }

// Bench is everything at work, and everything the records given to Fold spoke of.
type Bench struct {
	House    house.House
	Crew     string // initials of who is at the bench, "" when nobody said
	CrewAt   timers.Stamp
	TookOver bool     // they read the handover
	Signed   *signed  // the last sign-off of a day, nil where there is none
	Planned  *Planned // the plan of the day that was taken last, nil where none is followed
	Flasks   map[int]*Flask
	Places   [action.Places + 1]int // flask number by place 1..9; 0 free
	Mixes    map[int]*Mix
	Loads    map[int]*Load
	Timers   map[int]*Timer
	Readings []BathReading
	Answers  []timers.Answer
	Cautions map[string]timers.Stamp // hazard and initials: last shown
	Items    []Item                  // in order of the book
	Top      Counters                // highest numbers used
	Seen     timers.Stamp            // when what fell due was last read
	Here     map[string]here         // by initials: when their screen last joined or left

	houseSet timers.Stamp         // when the house in force came to be
	readSet  map[int]timers.Stamp // by bath: when readings of it were last corrected or taken back

	register []KnownLot        // of all materials, in order of the latest change
	pieces   []KnownPiece      // the register of equipment, in order of the latest change
	cases    []Case            // on the list, in the order they were taken in
	caseBack map[string]turned // by number: see [Bench.returnedTo]

	byID    map[string]int // index into Items, of the first that many
	indexed int
	tail    *tail
	shares  bool  // it was moved on from another: see moved.go
	owned   []any // what it has of its own meanwhile; nil when that is done
	memo    *memo

	worked *worked

	pruned int // how many records were left when it was last pruned
}

// worked is what is worked out once for all screens: it changes with a record only.
type worked struct {
	windows, notes sync.Once
	running        []Window
	said           map[action.Subject][]Said
}

// Counters are the highest numbers used in a book, and its last record.
type Counters struct {
	Flask, Mix, Load, Timer int
	Seq                     uint64
}

// OnPlace gives the flask on a place, or nil.
func (b *Bench) OnPlace(place int) *Flask {
	if place < 1 || place > action.Places || b.Places[place] == 0 {
		return nil
	}
	return b.Flasks[b.Places[place]]
}

// OnPlaces walks the flasks that stand on places, in their order; all at work are in [Bench.AtWork].
func (b *Bench) OnPlaces() iter.Seq[*Flask] {
	return func(yield func(*Flask) bool) {
		for p := 1; p <= action.Places; p++ {
			if f := b.OnPlace(p); f != nil && !yield(f) {
				return
			}
		}
	}
}

// FreePlace gives the lowest free place, or 0.
func (b *Bench) FreePlace() int {
	for p := 1; p <= action.Places; p++ {
		if b.Places[p] == 0 {
			return p
		}
	}
	return 0
}

// Item finds a record by its id.
func (b *Bench) Item(id string) (Item, bool) {
	i, ok := b.at(id)
	if !ok {
		return Item{}, false
	}
	return b.Items[i], true
}

// between orders two stamps, exact within one boot: below 0 where to is the earlier. It is
// no length of time where the machine was started anew between them: see [timers.Elapsed].
func between(from, to timers.Stamp) time.Duration {
	if from.BootID != "" && from.BootID == to.BootID {
		return to.Boot - from.Boot
	}
	return to.At.Sub(from.At)
}

// readApart is how far apart at most the two clocks of one instant were read, on a machine
// however busy.
const readApart = time.Second

// earlier tells whether an act stands before another that is recorded. The boot clock of
// an instant that was told by the wall clock is worked out from the two clocks as they were
// read one after the other, so that it is off by what went by in between: equal is equal.
// An instant told in whole seconds is the same second as any in it.
func earlier(at, recorded timers.Stamp) bool {
	by := between(recorded, at)
	switch ahead := at.At.Sub(recorded.At); {
	case by >= 0:
		return false
	case ahead >= 0 && by > -readApart:
		return false
	}
	return at.At.Nanosecond() != 0 || !recorded.At.Truncate(time.Second).Equal(at.At)
}

// Sorted gives the keys of a map in order, so that everything drawn or written
// from it is the same each time.
func Sorted[V any](m map[int]V) []int {
	out := make([]int, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Ints(out)
	return out
}
