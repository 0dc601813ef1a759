package bench

import (
	"cmp"
	"fmt"
	"iter"
	"slices"

	"flaskside/logbook/action"
)

// Where the flasks at work are. Nine places are not nine flasks: one that goes into the bath
// may leave its place (the record says so, [action.BathLoad]) and is found by its bath until
// it comes out. What must never be:
//
//   - a flask at work that is found nowhere: AtWork has each of them, once
//   - two flasks on one place, or one called by a place that it does not stand on
//   - a place handed to a flask by anything but a record: which one it comes back to is in
//     the record that takes it out of the bath, so that no later record moves it
//   - a load that cannot come out for want of places: its flasks then stand without one
//   - a book without such records that folds to another bench than it always did

// Spot is where a flask at work is: on a place, in a bath, or on the bench without a place.
type Spot struct {
	Place int // 0 where it has none
	Bath  int // 0 where it is in none, or kept its place
	Load  int // with Bath
}

// SpotOf tells where a flask at work is.
func (b *Bench) SpotOf(f *Flask) Spot {
	if f.Place > 0 && b.Places[f.Place] == f.No {
		return Spot{Place: f.Place}
	}
	if l := b.LoadOf(f); l != nil && f.Stage == InBath {
		return Spot{Bath: l.Bath, Load: l.No}
	}
	return Spot{}
}

// WhereWords name where a flask at work is: "place 3", a bath by its name, "no place".
func (b *Bench) WhereWords(f *Flask) string {
	switch s := b.SpotOf(f); {
	case s.Place > 0:
		return fmt.Sprint("place ", s.Place)
	case s.Bath > 0:
		return b.BathOf(b.Loads[s.Load]).Name
	}
	return "no place"
}

// StandsWords say where a flask at work is and how far it is.
func (b *Bench) StandsWords(f *Flask) string { return b.WhereWords(f) + ": " + string(f.Stage) }

// CallWords call a flask as a person looks for it: by its place where it has one, else by
// its case and where it is.
func (b *Bench) CallWords(f *Flask) string {
	if s := b.SpotOf(f); s.Place > 0 {
		return fmt.Sprint("place ", s.Place)
	}
	return f.Case + " (" + b.WhereWords(f) + ")"
}

// AtWork tells whether a flask is opened and has no outcome.
func (f *Flask) AtWork() bool { return f != nil && f.known && f.Stage != Finished && f.Ended == nil }

// AtWork walks all flasks at work: those on places in their order, those in baths by bath
// and load, then those without a place by number.
func (b *Bench) AtWork() iter.Seq[*Flask] {
	return func(yield func(*Flask) bool) {
		for f := range b.OnPlaces() {
			if !yield(f) {
				return
			}
		}
		for _, f := range b.OffPlaces() {
			if !yield(f) {
				return
			}
		}
	}
}

// OffPlaces lists the flasks at work that stand on no place: those in baths by bath and load,
// then the others by number.
func (b *Bench) OffPlaces() []*Flask {
	var out []*Flask
	for _, f := range b.Flasks {
		if f.AtWork() && b.SpotOf(f).Place == 0 {
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(x, y *Flask) int {
		p, q := b.SpotOf(x), b.SpotOf(y)
		last := func(s Spot) int { return map[bool]int{true: 1}[s.Bath == 0] }
		return cmp.Or(cmp.Compare(last(p), last(q)), cmp.Compare(p.Bath, q.Bath), cmp.Compare(p.Load, q.Load), cmp.Compare(x.No, y.No))
	})
	return out
}

// Empty tells whether no flask is at work.
func (b *Bench) Empty() bool {
	for range b.AtWork() {
		return false
	}
	return true
}

// leave takes a flask off its place.
func (f *Flask) leave() {
	if f.Place > 0 {
		f.Home, f.Place = f.Place, 0
	}
}

// comeBack gives flasks that come out of the bath the places they come back to: each its own
// where that is free, then the others the lowest that are free, 0 where there is none. One
// that kept its place stays there.
func (b *Bench) comeBack(flasks []int) []int {
	out, taken := make([]int, len(flasks)), b.Places
	for i, no := range flasks {
		if f := b.Flasks[no]; f.Place == 0 && f.Home > 0 && taken[f.Home] == 0 {
			out[i], taken[f.Home] = f.Home, no
		} else {
			out[i] = f.Place
		}
	}
	for i, no := range flasks {
		for p := 1; p <= action.Places && out[i] == 0; p++ {
			if taken[p] == 0 {
				out[i], taken[p] = p, no
			}
		}
	}
	return out
}

// backOn holds the places of a record that takes flasks out of the bath against the bench, or
// finds them where it names none. A record about flasks that all kept their places names none.
func (c *checker) backOn(a action.BathUnload) ([]int, error) {
	if !slices.ContainsFunc(a.Flasks, func(no int) bool { return c.b.Flasks[no].Place == 0 }) {
		return nil, nil
	}
	if len(a.Places) == 0 {
		return c.b.comeBack(a.Flasks), nil
	}
	for i, p := range a.Places {
		f := c.b.Flasks[a.Flasks[i]]
		if f.Place > 0 && p != f.Place {
			return nil, fmt.Errorf("flask %d stands on place %d: it is moved there by a record of its own", f.No, f.Place)
		}
		if p > 0 && p != f.Place {
			if err := c.free(p); err != nil {
				return nil, err
			}
		}
	}
	return a.Places, nil
}

// unplaced lets the flasks stand without a place that had none when a record about them was
// taken back: another stands there by then.
func (b *Bench) unplaced(it *Item) {
	if back, ok := it.TakenBack.Action.Body.(action.TakeBack); ok {
		for _, no := range back.NoPlace {
			if f := b.Flasks[no]; f != nil {
				f.leave()
			}
		}
	}
}

// without names the flasks that a taking back leaves without a place, since another stands
// there by then: of what puts flasks in the bath, takes them out or off the bench. Whatever
// else would put two on one place is refused; see [checker.alone].
func (c *checker) without(a action.TakeBack) []int {
	it, ok := c.b.Item(a.Of)
	if !ok {
		return nil
	}
	root := rootOf(it.Body, func(id string) (action.Body, bool) {
		it, ok := c.b.Item(id)
		return it.Action.Body, ok
	})
	switch root.(type) {
	case action.BathLoad, action.BathUnload, action.Outcome:
	default:
		return nil
	}
	a.NoPlace = nil
	then := c.after(a)
	about := map[int]bool{}
	for _, s := range root.Subjects() {
		about[s.No] = about[s.No] || s.Class == 'f'
	}
	var out []int
	on := map[int]int{} // by place: who stays there
	for _, no := range Sorted(then.Flasks) {
		if f := then.Flasks[no]; f.AtWork() && f.Place > 0 && !about[no] {
			on[f.Place] = no
		}
	}
	for _, no := range Sorted(then.Flasks) {
		f := then.Flasks[no]
		if !f.AtWork() || f.Place == 0 || !about[no] {
			continue
		}
		if on[f.Place] != 0 {
			out = append(out, no)
			continue
		}
		on[f.Place] = no
	}
	return out
}
