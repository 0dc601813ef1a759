package timers

import (
	"cmp"
	"slices"
	"sort"
	"time"
)

// End names one end of a window.
type End string

// The ends of a window. A floor is "not before", an aim is what one tries for, a
// warning comes a little ahead of the limit, a limit is "not after".
const (
	Floor   End = "not before"
	Aim     End = "aim"
	Warning End = "soon over"
	Limit   End = "not after"
)

// Priority of an alarm: 1 is the most urgent. Zero makes no alarm.
// Three priorities, as IEC 62682 and ISA-18.2 recommend few (from memory).
type Priority int

// The priorities in use.
const (
	Silent Priority = iota
	High
	Medium
	Low
)

// EndMark is one end of a window with its place in time after the start.
type EndMark struct {
	End      End           `json:"end"`
	After    time.Duration `json:"after"`
	Priority Priority      `json:"priority"`
}

// Window is a timer: a start and its ends. A count-down has one mark, a plain
// count-up has none.
type Window struct {
	Key   string    `json:"key"` // names the window for ever, "flask/3/dry/cast"
	Start Stamp     `json:"start"`
	Marks []EndMark `json:"marks,omitempty"` // in order of After
	// Set is when the window came to be known with these ends, WarnSet when its warnings
	// did: what was recorded late, corrected or taken back sounds from then on, and no alarm
	// is older than the record that made it possible. Zero: with the start.
	Set     Stamp `json:"-"`
	WarnSet Stamp `json:"-"`
}

// Ends are the ends of a window, in seconds after its start; one of zero seconds is left
// out. A limit gets a warning WarnS before it. Floor and Limit say how urgent they are.
type Ends struct {
	FloorS, AimS, LimitS, WarnS int
	Floor, Limit                Priority
	Set, WarnSet                Stamp // as in [Window]
}

// NewWindow builds a window. Floor and aim at the same moment become one mark. The
// warning before a limit stands where there is room for one after the other ends.
func NewWindow(key string, start Stamp, e Ends) Window {
	sec := func(s int) time.Duration { return time.Duration(s) * time.Second }
	w := Window{Key: key, Start: start, Set: e.Set, WarnSet: e.WarnSet}
	if e.FloorS > 0 {
		w.Marks = append(w.Marks, EndMark{Floor, sec(e.FloorS), e.Floor})
	}
	if e.AimS > 0 && e.AimS != e.FloorS {
		w.Marks = append(w.Marks, EndMark{Aim, sec(e.AimS), Silent})
	}
	if e.LimitS > 0 {
		if at := e.LimitS - e.WarnS; e.WarnS > 0 && at > max(e.FloorS, e.AimS) {
			w.Marks = append(w.Marks, EndMark{Warning, sec(at), Medium})
		}
		w.Marks = append(w.Marks, EndMark{Limit, sec(e.LimitS), e.Limit})
	}
	sort.SliceStable(w.Marks, func(i, j int) bool { return w.Marks[i].After < w.Marks[j].After })
	return w
}

// Phase says where a window stands.
type Phase string

// The phases of a window.
const (
	Early Phase = "early" // the floor is not reached
	Open  Phase = "open"  // between floor and limit
	Over  Phase = "over"  // the limit has gone by
)

// Standing is a window at one moment.
type Standing struct {
	Window
	Passed
	Phase Phase
	Soon  bool          // the warning before the limit has been reached
	Last  *EndMark      // the latest end reached, warnings apart; nil before the first
	Next  *EndMark      // the end that comes next, warnings apart; nil after the last
	Left  time.Duration // until Next; with no Next, minus the time since Last (or since the start)
	Due   time.Time     // the hour of Next (or of Last) on the wall clock as it stands
}

// Stand works out where w stands. It never says an end is reached early: an end
// counts from the full nanosecond on.
func (w Window) Stand(now Now) Standing {
	s := Standing{Window: w, Passed: now.Since(w.Start), Phase: Open}
	for i := range w.Marks {
		m := &w.Marks[i]
		switch {
		case m.End == Warning:
			s.Soon = s.For >= m.After
		case s.For >= m.After:
			s.Last = m
		case s.Next == nil:
			s.Next = m
		}
		switch {
		case m.End == Floor && s.For < m.After:
			s.Phase = Early
		case m.End == Limit && s.For >= m.After:
			s.Phase = Over
		}
	}
	switch {
	case s.Next != nil:
		s.Left = s.Next.After - s.For
	case s.Last != nil:
		s.Left = s.Last.After - s.For
	default:
		s.Left = -s.For
	}
	s.Due = now.Wall.Add(s.Left)
	return s
}

// After gives the mark of an end, or nil.
func (w Window) After(e End) *EndMark {
	for i := range w.Marks {
		if w.Marks[i].End == e {
			return &w.Marks[i]
		}
	}
	return nil
}

// StandAll puts the windows in order of urgency: those that are over first, the
// longest over foremost; then those that wait for a hand and whose last end made
// more than a low alarm; then by the time left to the next end; then the others that
// wait; plain count-ups last. Equal ones stay in the order they came in.
func StandAll(ws []Window, now Now) []Standing {
	out := make([]Standing, len(ws))
	for i, w := range ws {
		out[i] = w.Stand(now)
	}
	const over, waits, runs, waitsLow, countsUp = 0, 1, 2, 3, 4
	class := func(s Standing) int {
		switch {
		case s.Phase == Over:
			return over
		case s.Next != nil:
			return runs
		case s.Last == nil:
			return countsUp
		case s.Last.Priority == High || s.Last.Priority == Medium:
			return waits
		}
		return waitsLow
	}
	slices.SortStableFunc(out, func(a, b Standing) int { return cmp.Or(class(a)-class(b), cmp.Compare(a.Left, b.Left)) })
	return out
}
