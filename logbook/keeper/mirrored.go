package keeper

import (
	"context"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/follow"
	"flaskside/logbook/mirror/places"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// leavePatience is how long whoever leaves the bench waits for the mirror.
const leavePatience = 10 * time.Second

// mirrored keeps the mirror of a running bench.
type mirrored struct {
	follow  *follow.Follower
	changed chan struct{}
	ended   chan struct{} // nil before it is started
}

func newMirrored(book *logbook.Book, clock timers.Clock) *mirrored {
	m := &mirrored{changed: make(chan struct{}, 1)}
	m.follow = &follow.Follower{Book: book, Open: places.Open,
		Now: func() time.Time { return clock.Read().Wall },
		House: func(st logbook.Snapshot) follow.Terms {
			h := st.Bench.House
			return follow.Terms{To: h.Mirror.To, Bench: h.MirrorName(), NoNotes: h.Mirror.NoNotes}
		}}
	book.OnChange(func(logbook.Snapshot) {
		select {
		case m.changed <- struct{}{}:
		default: // it knows already
		}
	})
	return m
}

// start keeps the mirror beside the screens. Nobody waits for it to end: a share that hangs may
// hold it for ever.
func (m *mirrored) start(ctx context.Context, hub *keep.Hub) {
	m.follow.Tell = func(s mirror.Health) { hub.Mirrored(s) }
	m.follow.Wrong = func(told string) { hub.Trouble(words.Clean("the mirror: " + told)) }
	m.ended = make(chan struct{})
	go func() {
		defer close(m.ended)
		m.follow.Run(ctx, m.changed)
	}()
}

// leave brings what is missing when the bench is left, and says in a line where that is not
// all.
func (m *mirrored) leave() string {
	ctx, cancel := context.WithTimeout(context.Background(), leavePatience)
	defer cancel()
	done := make(chan struct{})
	go func() {
		defer close(done)
		if m.ended != nil {
			<-m.ended
		}
		m.follow.Hush()
		m.follow.Step(ctx)
	}()
	select {
	case <-done:
	case <-ctx.Done(): // a place that hangs
	}
	switch s := m.follow.Standing(); {
	case s.To == "":
		return ""
	case s.Wrong != "":
		return "the mirror: " + words.Clean(s.Wrong)
	case s.Err != "":
		return "nothing gets to the mirror: " + words.Clean(s.Err)
	case s.Behind > 0 || !s.Known:
		return "not all is in the mirror yet: flaskside mirror brings the rest"
	}
	return ""
}
