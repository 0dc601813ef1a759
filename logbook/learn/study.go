package learn

import (
	"errors"
	"math"
	"strconv"
	"time"

	"flaskside/logbook/flash"
	"flaskside/logbook/house"
)

// wantSpans is how many times a piece of work must have been timed before its duration
// is taken from the book (house default).
const wantSpans = 20

// ErrTooFew: nothing has enough behind it to be learned.
var ErrTooFew = errors.New("too few closures to learn from")

// Proposal holds what a book teaches beside the settings in force. It proposes; the
// person decides.
type Proposal struct {
	Flasks   int        `json:"flasks"`   // whose trials ended
	GivenUp  int        `json:"given_up"` // of these, without a final closure
	Closures int        `json:"closures"` // trial closures of these
	First    *time.Time `json:"first,omitempty"`
	Last     *time.Time `json:"last,omitempty"` // the first and the last end of their trials
	LeftOut  int        `json:"left_out"`       // flasks whose trials cannot be followed
	// Trend are priors and noises, old and new, and how the forecasts fared. Where too
	// little stands behind a value, new is old and its wanting says how much.
	Trend flash.Calibration `json:"trend"`
	Work  work              `json:"work"`
	// Wanting says what every value of the trend still wants, in one line; empty where
	// at least one was estimated.
	Wanting string `json:"wanting,omitempty"`
	Changes bool   `json:"changes"` // there is something to adopt
}

// work is how long each piece of work takes.
type work struct {
	Raise Task `json:"raise_s"` // into the press and up to pressure
	Open  Task `json:"open_s"`  // press down, flask open, flash judged
	Trim  Task `json:"trim_s"`  // trim and new sheet
	Final Task `json:"final_s"` // final closure, sheet out to clamped
}

// Task is one piece of work: what is reckoned with now, and what the book says.
type Task struct {
	OldS    int `json:"old_s"`
	NewS    int `json:"new_s"`   // the median to whole seconds; old where too few are behind it
	Wanting int `json:"wanting"` // how many timed pieces of work are wanting
	flash.Typical
}

// Study estimates from lessons what the settings could be. Errors: settings that cannot
// be.
func Study(l Lessons, old house.House) (Proposal, error) {
	r := Proposal{Flasks: len(l.Flasks), GivenUp: l.GivenUp, LeftOut: l.Odd}
	for _, h := range l.Flasks {
		r.Closures += len(h.Trials)
	}
	if r.Flasks > 0 {
		r.First, r.Last = &l.First, &l.Last
	}
	w := old.Work
	r.Work = work{task(l.Raise, w.RaiseS), task(l.Open, w.OpenS), task(l.Trim, w.TrimS), task(l.Final, w.FinalS)}

	c, err := flash.Calibrate(l.Flasks, old.Flash)
	switch {
	case err != nil && wantsAll(c):
		r.Wanting = err.Error()
		c.Old, c.New = old.Flash, old.Flash
		if c.OldForecasts, err = flash.Score(old.Flash, l.Flasks); err != nil {
			return Proposal{}, err
		}
		c.NewForecasts = c.OldForecasts
	case err != nil:
		return Proposal{}, err
	}
	c.New = rounded(c.New, c.Old)
	r.Trend = c
	learned := r.apply(old)
	r.Changes = learned.Flash != old.Flash || learned.Work != old.Work
	return r, nil
}

// wantsAll tells whether too little stands behind every value of the trend.
func wantsAll(c flash.Calibration) bool {
	for _, b := range []flash.Behind{c.Small, c.Medium, c.Large, c.Grade, c.Weigh} {
		if b.Wanting == 0 {
			return false
		}
	}
	return true
}

func task(s spans, oldS int) Task {
	t := Task{OldS: oldS, NewS: oldS, Typical: flash.TypicalOf(s.S)}
	t.LeftOut += s.LeftOut
	if t.Wanting = max(0, wantSpans-t.Count); t.Wanting == 0 {
		t.NewS = int(math.Round(t.MedianS))
	}
	return t
}

// Enough tells whether anything at all was learned.
func (r Proposal) Enough() bool {
	for _, t := range []Task{r.Work.Raise, r.Work.Open, r.Work.Trim, r.Work.Final} {
		if t.Wanting == 0 {
			return true
		}
	}
	return r.Wanting == ""
}

func (r Proposal) apply(h house.House) house.House {
	h.Flash = r.Trend.New
	h.Work.RaiseS, h.Work.OpenS, h.Work.TrimS, h.Work.FinalS = r.Work.Raise.NewS, r.Work.Open.NewS, r.Work.Trim.NewS, r.Work.Final.NewS
	return h
}

// Adopt puts what was learned into settings. Errors: [ErrTooFew], or settings that
// would not be valid.
func (r Proposal) Adopt(h house.House) (house.House, error) {
	if !r.Enough() {
		return h, ErrTooFew
	}
	h = r.apply(h)
	return h, h.Valid()
}

// worth is by which part a value of the trend must differ to be taken for another one
// (house default): no estimate is surer than that, and studying the same book again
// after adopting proposes nothing new.
const worth = 0.02

// rounded writes what is new with three digits, so that people can read their settings,
// and keeps the old where the new is not worth a change.
func rounded(s, old flash.TrendSettings) flash.TrendSettings {
	three := func(v *float64, was float64) {
		if math.Abs(math.Log(*v/was)) < worth {
			*v = was
			return
		}
		if x, err := strconv.ParseFloat(strconv.FormatFloat(*v, 'g', 3, 64), 64); err == nil {
			*v = x
		}
	}
	three(&s.GradeSD, old.GradeSD)
	three(&s.WeighSD, old.WeighSD)
	if s.FloorG > 0 && old.FloorG > 0 {
		three(&s.FloorG, old.FloorG)
	} else if x, err := strconv.ParseFloat(strconv.FormatFloat(s.FloorG, 'g', 3, 64), 64); err == nil {
		s.FloorG = x
	}
	p, q := &s.Prior, &old.Prior
	for _, x := range [][2]*flash.Prior{{&p.Small, &q.Small}, {&p.Medium, &q.Medium}, {&p.Large, &q.Large}} {
		three(&x[0].FirstG, x[1].FirstG)
		three(&x[0].FirstSD, x[1].FirstSD)
		three(&x[0].Kept, x[1].Kept)
		three(&x[0].KeptSD, x[1].KeptSD)
	}
	return s
}
