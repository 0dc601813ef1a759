// Package follow brings the mirror of a running bench up to date by itself, and looks through
// all of it each night. Nobody waits for it: it reads the book a few records at a time, and a
// place that hangs holds up itself alone.
package follow

import (
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/mirror"
	"flaskside/logbook/record"
	"flaskside/timers/sysclock"
)

// Terms is what the settings say of the mirror at a moment.
type Terms struct {
	To      string // "" for none
	Bench   string
	NoNotes bool
}

// Follower holds one mirror to its book.
type Follower struct {
	Book  mirror.Source
	House func(logbook.Snapshot) Terms
	Open  func(ctx context.Context, to string) (mirror.Remote, error)
	Now   func() time.Time                // the wall clock
	Tell  func(mirror.Health)             // called from one goroutine at a time
	Wrong func(told string)               // called once for each thing that is wrong with the mirror
	last  mirror.Health                   // what was told last
	at    end                             // of the place that is open
	lock  sync.Mutex                      // of last and at
	place mirror.Remote                   // nil: to be opened
	due   time.Time                       // when all is to be looked through
	stuck func() (mirror.StreamEnd, bool) // whether a wrong mirror is still as it was
}

// end is where the mirror was seen to end, at a place.
type end struct {
	to   string
	gen  int
	end  mirror.StreamEnd
	seen bool
}

// Times of the keeping (house defaults).
const (
	gatherFolder = time.Minute     // records are gathered for as long, so that a day is not a file for each
	gatherServer = 2 * time.Second // servers take them one by one
	retry        = time.Minute     // between two tries
	firstLook    = 10 * time.Minute
	nightly      = 3 // the hour at which all is looked through
	atOnce       = 500
)

// Run keeps the mirror until ctx ends. changed is told of each new record, and must have room
// for one.
func (k *Follower) Run(ctx context.Context, changed <-chan struct{}) {
	defer k.close()
	k.due = k.Now().Add(firstLook)
	beat := time.NewTicker(retry)
	defer beat.Stop()
	// How far behind it is goes on being told while a place hangs.
	go k.count(ctx)
	for {
		k.Step(ctx)
		select {
		case <-ctx.Done():
			return
		case <-beat.C:
		case <-changed:
			gather := gatherServer
			if h := k.House(k.Book.State()); !strings.Contains(h.To, "://") {
				gather = gatherFolder
			}
			select {
			case <-ctx.Done():
				return
			case <-time.After(gather):
			}
			select { // those of the meantime go with it
			case <-changed:
			default:
			}
		}
	}
}

// count tells how far behind the mirror is, by what is known of its end.
func (k *Follower) count(ctx context.Context) {
	sysclock.Every(ctx, retry/4, func() { k.tell(func(*mirror.Health) {}) })
}

// Step brings what is missing, and looks through all of it where that is due.
func (k *Follower) Step(ctx context.Context) {
	st := k.Book.State()
	h := k.House(st)
	k.lock.Lock()
	moved := k.at.to != h.To
	if moved {
		k.at, k.last = end{to: h.To}, mirror.Health{To: h.To}
	}
	k.lock.Unlock()
	if moved {
		k.close()
		k.stuck = nil
	}
	if h.To == "" {
		k.tell(func(*mirror.Health) {})
		return
	}
	err := k.bring(ctx, h)
	if ctx.Err() != nil {
		return
	}
	if err != nil && !mirror.Mendable(err) {
		k.close() // to be opened anew
	}
	k.tell(func(s *mirror.Health) {
		s.Err = ""
		if mirror.Mendable(err) {
			s.Wrong = err.Error()
		} else if err != nil {
			s.Err = err.Error()
		}
	})
}

func (k *Follower) bring(ctx context.Context, h Terms) (err error) {
	if k.place == nil {
		if k.place, err = k.Open(ctx, h.To); err != nil {
			k.place = nil
			return err
		}
	}
	if k.stuck != nil {
		if end, as := k.stuck(); as {
			k.seen(end)
			return nil
		}
		k.stuck = nil
		k.tell(func(s *mirror.Health) { s.Wrong = "" })
	}
	book := gently{k.Book}
	o := mirror.BringOptions{Bench: h.Bench, NoNotes: h.NoNotes, At: k.Now(), Tell: k.seen}
	d, err := mirror.Bring(ctx, k.place, book, o)
	if mirror.Mendable(err) {
		k.hold(ctx, d)
	}
	if err != nil {
		return err
	}
	k.seen(d.End)
	if gen := d.Stream.Generation; k.at.gen != gen {
		if k.at.gen > 0 {
			k.due = k.Now() // a person began it
		}
		k.at.gen = gen
	}
	if k.Now().Before(k.due) {
		return nil
	}
	k.due = nextNight(k.Now())
	return k.look(ctx, book, d)
}

// look looks through every record of the mirror.
func (k *Follower) look(ctx context.Context, book mirror.Source, d mirror.Done) error {
	c, err := mirror.Compare(ctx, k.place, book, d.Stream)
	if err != nil {
		return err
	}
	if (c.Equal() || c.OnlyBehind()) && len(c.Spoilt) == 0 {
		k.tell(func(s *mirror.Health) { s.Wrong, s.Looked, s.LookedTo = "", k.Now(), c.Alike })
		return nil
	}
	why := c.Lines()
	k.tell(func(s *mirror.Health) {
		s.Wrong = strings.Join(why[:min(2, len(why))], "; ") + ": flaskside mirror check tells more"
	})
	return nil
}

// hold remembers a mirror that is wrong, so that it is not read anew each minute while nobody
// has done anything about it.
func (k *Follower) hold(ctx context.Context, d mirror.Done) {
	gen, end, place, id := d.Stream.Generation, d.End, k.place, k.Book.ID()
	head := k.Book.State().Head
	k.stuck = func() (mirror.StreamEnd, bool) {
		n, err := mirror.Newest(ctx, place, id)
		if err != nil || n != gen || k.Book.State().Head.Seq < head.Seq {
			return end, false
		}
		now, err := place.Last(ctx, d.Stream)
		if sp := (*mirror.Spoilt)(nil); errors.As(err, &sp) && end.Seq == 0 {
			return end, true
		}
		return end, err == nil && now.Seq == end.Seq && now.Hash == end.Hash
	}
}

// seen takes in where the mirror ends.
func (k *Follower) seen(e mirror.StreamEnd) {
	k.lock.Lock()
	k.at.end, k.at.seen = e, true
	k.lock.Unlock()
	k.tell(func(*mirror.Health) {})
}

// tell works out how the mirror stands and tells it where that changed.
func (k *Follower) tell(set func(*mirror.Health)) {
	k.lock.Lock()
	defer k.lock.Unlock()
	s := k.last
	set(&s)
	s.To, s.Known, s.Behind, s.Since = k.at.to, k.at.seen, 0, time.Time{}
	switch {
	case s.Err == "":
		s.Fails = time.Time{}
	case s.Fails.IsZero():
		s.Fails = k.Now()
	}
	if head := k.Book.State().Head; k.at.seen && head.Seq > k.at.end.Seq { // how far it is behind is not known of one that was not seen
		s.Behind = head.Seq - k.at.end.Seq
		_ = k.Book.Each(k.at.end.Seq+1, func(r record.Record) (bool, error) { // else since when is not known
			s.Since = r.Written
			return false, nil
		})
	}
	if s.Same(k.last) {
		return
	}
	if s.Wrong != "" && k.last.Wrong != s.Wrong && k.Wrong != nil {
		k.Wrong(s.Wrong)
	}
	k.last = s
	if k.Tell != nil {
		k.Tell(s)
	}
}

// Standing is what was told last.
func (k *Follower) Standing() mirror.Health {
	k.lock.Lock()
	defer k.lock.Unlock()
	return k.last
}

// Hush has nothing told any more.
func (k *Follower) Hush() {
	k.lock.Lock()
	defer k.lock.Unlock()
	k.Tell, k.Wrong = nil, nil
}

func (k *Follower) close() {
	if k.place != nil {
		_ = k.place.Close() // all that was told of is synced
		k.place = nil
	}
}

// nextNight is when all is looked through next.
func nextNight(now time.Time) time.Time {
	y, m, d := now.Date()
	at := time.Date(y, m, d, nightly, 0, 0, 0, now.Location())
	if !at.After(now) {
		at = time.Date(y, m, d+1, nightly, 0, 0, 0, now.Location())
	}
	return at
}

// gently reads a book a few records at a time, so that whoever writes never waits for a reader.
type gently struct{ mirror.Source }

// Each gives the records from a number on.
func (g gently) Each(from uint64, f func(record.Record) (bool, error)) error {
	for {
		n, on := 0, true
		err := g.Source.Each(from, func(r record.Record) (more bool, err error) {
			if more, err = f(r); err != nil || !more {
				on = false
				return false, err
			}
			n, from = n+1, r.Seq+1
			return n < atOnce, nil
		})
		if err != nil || !on || n < atOnce {
			return err
		}
	}
}
