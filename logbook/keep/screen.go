package keep

import (
	"errors"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Screen is the bench as one terminal has it. It records under the initials of its own
// person, and only what that person may. It may be used by several goroutines.
type Screen struct {
	hub     *Hub
	no      int
	since   time.Time
	absence Absence
	box     *Box
	gone    chan struct{}
	once    sync.Once

	mu     sync.Mutex
	person Person
	left   bool // nothing is typed there any more
}

// No is the number of the screen, from 1, never given twice.
func (s *Screen) No() int { return s.no }

// Wake has something in it when there is news.
func (s *Screen) Wake() <-chan struct{} { return s.box.Wake() }

// Take gives what is new.
func (s *Screen) Take() News { return s.box.Take() }

// Me is whose screen it is, with what they may do under the settings as they stand.
func (s *Screen) Me() Person {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.person.in(s.hub.book.State().Bench.House)
}

// Absence is since when its person had seen nothing of the bench when it joined.
func (s *Screen) Absence() Absence { return s.absence }

// RunsOn tells whether the bench runs on when this screen is left.
func (s *Screen) RunsOn() bool { return !s.Me().Own || s.hub.Others() > 0 }

// State gives the book as it stands.
func (s *Screen) State() logbook.Snapshot { return s.hub.book.State() }

// Now reads the clocks.
func (s *Screen) Now() timers.Now { return s.hub.book.Now() }

// Whole is [logbook.Book.Whole].
func (s *Screen) Whole(from, until time.Time) (*bench.Bench, error) {
	return s.hub.book.Whole(from, until)
}

// Each is [logbook.Book.Each].
func (s *Screen) Each(from uint64, f func(r record.Record) (more bool, err error)) error {
	return s.hub.book.Each(from, f)
}

// ByID is [logbook.Book.ByID].
func (s *Screen) ByID(id string) (record.Record, bool, error) { return s.hub.book.ByID(id) }

// Of is [logbook.Book.Of].
func (s *Screen) Of(of action.Subject) ([]record.Record, error) { return s.hub.book.Of(of) }

// Press is the press order, worked out once for all screens.
func (s *Screen) Press(now timers.Now, mixSize string) (PressOrder, error) {
	return s.hub.Press(now, mixSize)
}

// Cure is what goes on in the flasks of a load, worked out once for all screens.
func (s *Screen) Cure(c bath.LoadCase) CureEstimate { return s.hub.desk.cure(c) }

// Reopen tries to reach a lost book again, for all screens.
func (s *Screen) Reopen() error {
	err := s.hub.book.Reopen()
	if err == nil {
		s.hub.unreachable(nil)
	}
	return err
}

// Append records an action of the person at the screen. What the person may not do is
// refused, whatever initials it comes with.
func (s *Screen) Append(a action.Action) (logbook.Saved, error) {
	if err := s.sign(&a); err != nil {
		return logbook.Saved{}, err
	}
	saved, err := s.hub.book.Append(a)
	if errors.Is(err, logbook.ErrUnknown) {
		s.hub.unreachable(err)
	}
	if on, ok := saved.Action.Body.(action.Crew); ok && err == nil {
		s.mu.Lock()
		if s.person.By != on.Initials {
			s.hub.typed.hands(s.no)
		}
		s.person.By = on.Initials
		s.mu.Unlock()
		s.box.Put(func(*News) {}) // other hands may do other things
	}
	return saved, err
}

// sign puts the initials of the person at the screen under an action, and refuses what
// they may not record.
func (s *Screen) sign(a *action.Action) error {
	if a.Body == nil {
		return a.Valid()
	}
	house := s.hub.book.State().Bench.House
	s.mu.Lock()
	p := s.person
	s.mu.Unlock()
	fixed := p.fixed(house)
	switch body := a.Body.(type) {
	case action.Crew: // whoever signs on answers for it
		if fixed && body.Initials != p.By {
			return errors.New("this screen is " + p.By + "'s: leave it, and join with initials or a key of your own")
		}
		if p.By == "" {
			a.By = body.Initials
		} else {
			a.By = p.By
		}
		if fixed {
			if err := p.in(house).may(a.Body.Kind(), ""); err != nil {
				return err
			}
		}
		if body.Handover {
			return p.TakesOver(body.Initials, house)
		}
		return nil
	case action.SignOff: // its initials are asked for where the screen is nobody's own
		if fixed || a.By == "" {
			a.By = p.By
		}
		p.By = a.By
	default:
		a.By = p.By
	}
	whose := ""
	if of, ok := action.Amends(a.Body); ok {
		r, there, err := s.hub.book.ByID(of)
		if err != nil {
			return err
		}
		if there {
			whose = r.Action.By
		}
	}
	return p.in(house).may(a.Body.Kind(), whose)
}

// Drafts gives what the person typed elsewhere and did not send, once.
func (s *Screen) Drafts() Drafts { return s.hub.typed.take(s.Me().By) }

// Typing takes what stands typed and not sent on the screen now. It waits for nobody.
func (s *Screen) Typing(d Drafts) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.left { // from another program it may come late
		s.hub.typed.types(s.no, s.person.By, d)
	}
}

// Leave ends the screen. What was typed and not sent stands there again when its person
// joins anew.
func (s *Screen) Leave(typed Drafts) {
	s.once.Do(func() {
		s.mu.Lock()
		s.left = true
		s.hub.typed.leave(s.no, s.person.By, typed)
		s.mu.Unlock()
		s.hub.mu.Lock()
		delete(s.hub.screens, s.no)
		s.hub.mu.Unlock()
		close(s.gone)
		s.note(action.Left)
	})
}

// Gone is closed when the screen was left.
func (s *Screen) Gone() <-chan struct{} { return s.gone }

// note records that the screen joined or left.
func (s *Screen) note(what string) {
	p := s.Me()
	if p.Own {
		return
	}
	body := action.Screen{What: what, Role: p.Role, From: p.From, Key: p.Key, Away: p.Away}
	a := action.Action{ID: s.hub.newID(), At: s.hub.clock.Read().Wall, By: p.By, Body: body}
	if _, err := s.hub.book.Append(a); err != nil && what == action.Joined {
		s.box.Put(func(n *News) {
			n.Add(Notice{Text: "that this screen joined was not recorded: " + err.Error(), Trouble: true})
		})
	}
}
