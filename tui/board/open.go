package board

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/address"
	"flaskside/logbook/civil"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror/benches"
	"flaskside/logbook/people"
	"flaskside/logbook/review"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Open serves the wall board of a bench at an address until it is closed. say is told where it is.
func Open(ctx context.Context, hub *keep.Hub, at string, say func(line string)) (closed func(), err error) {
	path := people.TokenPath(hub.Book().Path())
	token, err := people.Hold(path)
	if err != nil {
		return nil, err
	}
	screen, err := hub.Join(keep.Person{From: keep.OnWall, Own: true})
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	counted := &dayTally{book: hub.Book()}
	others := &otherBenches{ctx: ctx, book: hub.Book(), clock: hub.Clock()}
	b, err := listen(ctx, at, Config{Bench: screen, Token: token.Get, Tally: counted.words, Benches: others.get,
		Fault: keep.FaultFile(hub.Book().Path(), hub.Clock(), 0), Trouble: hub.Trouble}, usual)
	if err != nil {
		cancel()
		screen.Leave(nil)
		return nil, err
	}
	from, beyond := address.Reach(b.Addr())
	if beyond {
		from += ": plain HTTP, so anyone listening on that network can read the token, case numbers and initials"
	}
	say(fmt.Sprintf("wall board at http://%s/TOKEN/, %s", b.Addr(), from))
	say("flaskside board prints the token, kept in " + words.Clean(path))
	trouble := func(err error) { hub.Trouble(words.Clean(err.Error())) }
	var beside sync.WaitGroup
	beside.Go(func() {
		if err := b.Serve(); err != nil {
			trouble(err)
		}
	})
	beside.Go(func() { token.Follow(ctx, path, trouble) })
	return func() {
		b.Close()
		cancel()
		beside.Wait()
		screen.Leave(nil)
	}, nil
}

// dayTally counts what was done today, anew when something was recorded.
type dayTally struct {
	book *logbook.Book
	seq  uint64
	from time.Time
	said []string
}

func (t *dayTally) words() ([]string, error) {
	now, seq := t.book.Now().Wall, t.book.State().Head.Seq
	from, until := civil.OfInstant(now, now.Location())
	if t.said != nil && t.seq == seq && t.from.Equal(from) {
		return t.said, nil
	}
	whole, err := t.book.Whole(from, until)
	if err != nil {
		return nil, err
	}
	t.seq, t.from, t.said = seq, from, review.Tally(whole, from, until)
	return t.said, nil
}

// How long the benches of the mirror hold, and how long a page waits for them (house defaults).
const (
	benchesHold = 20 * time.Second
	benchesWait = 3 * time.Second
)

// otherBenches are those of the mirror, read beside the board when somebody asks.
type otherBenches struct {
	ctx   context.Context //nolint:containedctx // of the board that asks
	book  *logbook.Book
	clock timers.Clock

	mu   sync.Mutex
	busy chan struct{} // closed when they have been read; nil while nobody reads
	all  []benches.Glance
	at   time.Time
	err  error
}

func (o *otherBenches) get() ([]benches.Glance, time.Time, error) {
	o.mu.Lock()
	now := o.clock.Read().Wall
	if age := now.Sub(o.at); o.busy == nil && (age >= benchesHold || age < 0) {
		o.busy = make(chan struct{})
		go o.read(o.book.State().Bench.House.Mirror.To)
	}
	busy := o.busy
	o.mu.Unlock()
	if busy != nil {
		select {
		case <-busy:
		case <-time.After(benchesWait):
		}
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.at.IsZero() {
		return nil, now, errors.New("the mirror is being read and has not answered yet; this page asks again by itself")
	}
	return o.all, o.at, o.err
}

func (o *otherBenches) read(place string) {
	now := o.clock.Read()
	all, err := benches.Glances(o.ctx, place, o.clock, now)
	o.mu.Lock()
	defer o.mu.Unlock()
	o.all, o.at, o.err = all, now.Wall, err
	close(o.busy)
	o.busy = nil
}
