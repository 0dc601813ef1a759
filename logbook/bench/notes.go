package bench

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// Notes on flasks, mixes and loads. The work rests on none of them, and there may be any number: only
// the latest stay at hand, the others are read in the book.
var noting = subject{
	rules: []rule{on(checkNote, func(b *Bench, a action.Note, it *Item) {
		if a.Flask > 0 {
			b.flask(a.Flask, it)
		}
	}, quiet, fades(func(l *living, i int, _ *Item) bool { return l.faded[i] }))},
}

// Said is a note.
type Said struct {
	At   timers.Stamp
	By   string
	Text string
}

// NotesShown is how many notes about one thing are shown at the bench: its latest, less what was undone of them.
const NotesShown = 30

// Beside the latest of all, the latest of each person stay at hand, so that they can undo them whoever else writes.
const (
	notesOfOne   = 5
	notePeople   = 16
	notesInReach = NotesShown + 1 // whether there are more is seen by one more
)

// NoteWindow tells which notes stay at hand. What became of them does not count, so that a note that is out of it
// never comes in again.
type NoteWindow map[action.Subject]*noted

// noted are the later notes about one thing.
type noted struct {
	n  int
	by map[string]int
}

// holds takes a note and tells whether it stays at hand.
func (w NoteWindow) holds(a action.Note, by string) bool {
	about := noteAbout(a)
	later := w[about]
	if later == nil {
		later = &noted{by: map[string]int{}}
		w[about] = later
	}
	own, one := later.by[by]
	others := len(later.by)
	if one {
		others--
	}
	if one || others <= notePeople {
		later.by[by]++
	}
	later.n++
	return later.n <= notesInReach || own < notesOfOne && others < notePeople
}

// Rests tells of an action, the latest of them first, whether the bench rests on it while what it is about is at work.
func (w NoteWindow) Rests(a action.Action) bool {
	n, ok := a.Body.(action.Note)
	return !ok || w.holds(n, a.By) || len(a.Unusual) > 0 // what was unusual about it is the flask's
}

// noteAbout is the one thing that a note is about; of none in a foreign book.
func noteAbout(a action.Note) (about action.Subject) {
	for _, about = range a.Subjects() {
		break
	}
	return about
}

// fadedNotes gives the notes that need not stay at hand.
func (b *Bench) fadedNotes() map[int]bool {
	w, out := NoteWindow{}, map[int]bool{}
	for i := range slices.Backward(b.Items) {
		if !w.Rests(b.Items[i].Action) {
			out[i] = true
		}
	}
	return out
}

// NotesOn gives the notes at hand about a thing that count, in their order.
func (b *Bench) NotesOn(about action.Subject) []Said {
	b.worked.notes.Do(func() {
		b.worked.said = map[action.Subject][]Said{}
		for i := range b.Items {
			it := &b.Items[i]
			if a, ok := it.Body.(action.Note); ok && it.TakenBack == nil {
				about := noteAbout(a)
				b.worked.said[about] = append(b.worked.said[about], Said{it.Stamp, it.Action.By, a.Text})
			}
		}
	})
	return b.worked.said[about]
}

// LatestNotes gives those of them that are shown at the bench, and whether others were written before.
func (b *Bench) LatestNotes(about action.Subject) (said []Said, more bool) {
	n := 0
	for i := range slices.Backward(b.Items) {
		it := &b.Items[i]
		a, ok := it.Body.(action.Note)
		switch {
		case !ok || noteAbout(a) != about:
			continue
		case n == NotesShown:
			more = true
		case it.TakenBack == nil:
			said = append(said, Said{it.Stamp, it.Action.By, a.Text})
		}
		if n++; more {
			break
		}
	}
	slices.Reverse(said)
	return said, more
}

func checkNote(c *checker, a action.Note) (action.Note, error) {
	switch {
	case a.Flask > 0:
		_, err := c.flask(a.Flask)
		return a, err
	case a.Mix > 0:
		_, err := c.mix(a.Mix)
		return a, err
	case c.b.Loads[a.Load] == nil:
		return a, fmt.Errorf("there is no load %d at work", a.Load)
	}
	return a, nil
}

// errNoNotes is the answer to words of one's own in a house that takes none.
var errNoNotes = errors.New("this house takes no notes, remarks or reasons in words of your own (take_no_notes in its settings): nothing was recorded; give a reason by its number")

// noNotes refuses words of people's own where the house takes none. Settings are never refused,
// or nobody could change that.
func (b *Bench) noNotes(a action.Action) error {
	if _, settings := a.Body.(action.Settings); settings || !b.House.NoNotes {
		return nil
	}
	raw, err := json.Marshal(a.Body)
	if err == nil && action.OwnWords(a.Kind(), raw, a.Why) {
		err = errNoNotes
	}
	return err
}
