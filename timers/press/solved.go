package press

import (
	"cmp"
	"errors"
	"time"
)

// Solved is a bench of up to three flasks worked out: what the hands do best in every state that can be reached by doing
// so, whatever the closures show. Whoever plays the bench many times asks it instead of Advise, and does what the bench
// would be told. It may be read by several [Lookup]s at once.
type Solved struct{ t *table }

// errTooMuch says that a bench takes more states than were allowed.
var errTooMuch = errors.New("the bench takes more states than were allowed")

// Solve works out a bench in at most so many states; 0 is DefaultWork of Advise. It fails for a question out of range, for
// more than three flasks, and with ErrTooMuch.
func Solve(jobs []Job, d Durations, b Capacity, most int) (*Solved, error) {
	if err := errors.Join(checkBench(d, b), checkJobs(jobs), checkWork(most)); err != nil {
		return nil, err
	}
	if len(jobs) > mostWhole || most < 0 {
		return nil, errTooMuch
	}
	p, w := newPlan(jobs, d, b)
	most = cmp.Or(most, defaultWork/(len(jobs)+1))
	t := newTable(p, most, width{})
	if t.solve(w, 0); t.full {
		return nil, errTooMuch
	}
	t.rooms = nil
	return &Solved{t}, nil
}

// Position is where one flask stands, by the clock that began when the bench was solved.
type Position struct {
	Stage  Progress      // Waiting, Holding, Untrimmed or Closing
	At     time.Duration // Holding, Closing: when that is over; Waiting: from when it may go in
	Judged int           // trial closures judged since the bench was solved
	Ready  bool          // the last one said ready
	Done   bool          // its final closure is over, or nobody works on it any more
}

// Lookup looks things up; it serves one goroutine.
type Lookup struct {
	t table
	w world
}

// Reader makes one.
func (s *Solved) Reader() *Lookup {
	r := &Lookup{t: *s.t}
	r.t.key, r.t.order, r.t.list = nil, nil, nil
	return r
}

// Next is what a free pair of hands does now, for which of the flasks as they were given to [Solve], and whether it goes on
// with that flask at once when it is done: trimmed, it goes into the press. known is false for a state that is not reached
// by doing what is said; Nothing where the hands best begin nothing yet.
func (r *Lookup) Next(now time.Duration, at []Position, hands, presses int) (v Verb, flask int, on, known bool) {
	w := &r.w
	w.now, w.hands, w.presses = now, hands, presses
	w.cells = w.cells[:0]
	for _, s := range at {
		c := cell{at: s.At, stage: s.Stage, turn: never, need: 1, made: int8(min(s.Judged, maxMore))}
		if s.Ready {
			c.need = 0
		}
		if s.Done {
			c.stage = finished
		}
		w.cells = append(w.cells, c)
	}
	s, ok, known := r.t.advised(w)
	if !known || !ok {
		return Nothing, 0, false, known
	}
	return s.verb, int(s.job), s.verb == Trim && r.t.onIn(w), true
}
