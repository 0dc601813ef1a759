// Package keep lets any number of screens use one book. The keeper is the process that has
// the book; a screen is one terminal. [Hub] hands each screen the newest state and whatever
// is to be said, and records for it under the initials of its own person; [Watch] does once
// what belongs to the bench and to no screen: what happens to the clocks, signs of life,
// alarms, floods. It knows no terminal.
//
// Nothing that a screen does can hold the writer. What is new goes into a box of its own for
// each screen, where the newest takes the place of what was not fetched yet; who fetches it,
// and when, is nobody else's business.
package keep

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/mirror"
	"flaskside/timers"
)

// maxScreens is how many screens one bench has at most (house default): far more than a
// laboratory has, and few enough that no mistake of theirs fills the memory.
const maxScreens = 200

// Hub is where the screens of one book meet.
type Hub struct {
	book  *logbook.Book
	clock timers.Clock
	newID func() string
	desk  *desk
	typed *unsent

	mu      sync.Mutex // never held while the book is asked to write
	screens map[int]*Screen
	last    int
	flood   AlarmRate
	mirror  mirror.Health
	lost    error
	trouble []Notice // told to those who come later, too
	ended   bool
}

// New makes the hub of a book. newID makes the ids of what it records itself.
func New(book *logbook.Book, clock timers.Clock, newID func() string) *Hub {
	h := &Hub{book: book, clock: clock, newID: newID, desk: newDesk(), screens: map[int]*Screen{}, typed: newUnsent(book, clock)}
	book.OnChange(func(st logbook.Snapshot) {
		h.all(func(n *News) { n.State = st })
		h.typed.moved()
	})
	book.OnTrouble(func(err error) { h.Trouble(err.Error()) })
	return h
}

// Book is the one that the screens use.
func (h *Hub) Book() *logbook.Book { return h.book }

// Clock is that of the bench.
func (h *Hub) Clock() timers.Clock { return h.clock }

// all changes what is new for every screen. It waits for nobody.
func (h *Hub) all(f func(*News)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, s := range h.screens {
		s.box.Put(f)
	}
}

// Tell says a line on every screen.
func (h *Hub) Tell(line string) {
	h.all(func(n *News) { n.Add(Notice{Text: line}) })
}

// mostTrouble is how many lines of trouble are kept for those who come later.
const mostTrouble = 4

// Trouble says what is wrong on every screen, also on those that join later.
func (h *Hub) Trouble(line string) {
	l := Notice{Text: line, Trouble: true}
	h.mu.Lock()
	if !slices.Contains(h.trouble, l) {
		h.trouble = append(h.trouble, l)
		h.trouble = h.trouble[max(0, len(h.trouble)-mostTrouble):]
	}
	h.mu.Unlock()
	h.all(func(n *News) { n.Add(l) })
}

// Mirrored says on every screen how the mirror of the book stands.
func (h *Hub) Mirrored(st mirror.Health) {
	h.mu.Lock()
	h.mirror = st
	h.mu.Unlock()
	h.all(func(n *News) { n.Mirror = st })
}

// unreachable says on every screen that the book cannot be reached, or, with nil, that it
// can be again.
func (h *Hub) unreachable(err error) {
	h.mu.Lock()
	same := (h.lost == nil) == (err == nil)
	h.lost = err
	h.mu.Unlock()
	if !same {
		h.all(func(n *News) { n.Lost = err })
	}
}

// ErrGone says that the bench which a screen had joined has ended or stopped; the screen
// waits for one to come back.
var ErrGone = errors.New("no bench is running on this logbook; this screen waits for one")

// errFull says that there are as many screens as there can be.
var errFull = fmt.Errorf("there are %d screens on this bench already: leave one", maxScreens)

// errEnded says that the bench is being left.
var errEnded = errors.New("the bench is being closed")

// Join adds a screen. That a person joined is a record, except for the screen of the
// keeper itself; where it cannot be saved the screen joins all the same, and is told.
func (h *Hub) Join(p Person) (*Screen, error) {
	st := h.book.State()
	h.mu.Lock()
	switch {
	case h.ended:
		h.mu.Unlock()
		return nil, errEnded
	case len(h.screens) >= maxScreens:
		h.mu.Unlock()
		return nil, errFull
	}
	h.last++
	s := &Screen{hub: h, no: h.last, since: h.clock.Read().Wall, person: p, box: NewBox(), gone: make(chan struct{})}
	s.absence = h.absence(st, p)
	s.box.Put(func(n *News) {
		n.State, n.Flood, n.Mirror, n.Lost = st, h.flood, h.mirror, h.lost
		for _, l := range h.trouble {
			n.Add(l)
		}
	})
	h.screens[s.no] = s
	h.mu.Unlock()
	// What was recorded between the look at the book and the place among the screens.
	s.box.Put(func(n *News) { n.State = h.book.State() })
	s.note(action.Joined)
	return s, nil
}

// absence is since when a person has seen nothing of the bench. Called with the lock held.
func (h *Hub) absence(st logbook.Snapshot, p Person) Absence {
	if p.Own {
		b := st.Beat
		return Absence{Since: timers.Stamp{At: b.Wall, BootID: b.BootID, Boot: b.Boot}, Closed: true}
	}
	here, ok := st.Bench.Here[p.By]
	if !ok || p.By == "" {
		return Absence{}
	}
	for _, s := range h.screens {
		if s.Me().By == p.By {
			return Absence{}
		}
	}
	if b := st.Beat; here.On { // the bench ended under them
		end := timers.Stamp{At: b.Wall, BootID: b.BootID, Boot: b.Boot}
		return Absence{Since: timers.Latest(here.At, end), Closed: true}
	}
	return Absence{Since: here.At}
}

// Absence is since when somebody has seen nothing of the bench; the zero value: nothing
// is known to have passed them by.
type Absence struct {
	Since  timers.Stamp `json:"since"`
	Closed bool         `json:"closed,omitempty"` // no program ran meanwhile
}

// Present is one screen that has joined.
type Present struct {
	No     int       `json:"no"`
	Person Person    `json:"person"`
	Since  time.Time `json:"since"`
}

// Screens lists who is on which screen, in the order in which they joined.
func (h *Hub) Screens() []Present {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := make([]Present, 0, len(h.screens))
	for _, s := range h.screens {
		out = append(out, Present{s.no, s.Me(), s.since})
	}
	slices.SortFunc(out, func(a, b Present) int { return a.No - b.No })
	return out
}

// Others tells how many screens there are beside those of the keeper itself.
func (h *Hub) Others() int {
	n := 0
	for _, at := range h.Screens() {
		if !at.Person.Own {
			n++
		}
	}
	return n
}

// Dismiss ends the screens that which picks, and tells them why.
func (h *Hub) Dismiss(which func(Person) bool, why string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, s := range h.screens {
		if which(s.Me()) {
			s.box.Put(func(n *News) { n.Out = why })
		}
	}
}

// End tells all screens that the bench ends, and takes no more of them.
func (h *Hub) End() {
	h.mu.Lock()
	h.ended = true
	h.mu.Unlock()
	h.Dismiss(func(p Person) bool { return !p.Own }, BenchEnds)
}

// Close is for when all screens have left: what people typed and did not send is written for
// the next start.
func (h *Hub) Close() { h.typed.end() }

// BenchEnds is why screens end when the keeper does.
const BenchEnds = "the bench was closed"
