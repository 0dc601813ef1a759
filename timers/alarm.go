package timers

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// State of an alarm, in the words of IEC 62682 / ISA-18.2.
type State string

// The states of the standards' state diagram that a bench needs. (Latched,
// suppressed by design and out of service have no use here.)
const (
	Normal         State = "normal"
	Unacknowledged State = "unacknowledged"
	Acknowledged   State = "acknowledged"
	Returned       State = "returned to normal unacknowledged"
	Shelved        State = "shelved"
)

// event moves an alarm from state to state.
type event string

// The events of the state diagram.
const (
	rise        event = "rise"
	goneAway    event = "return"
	acknowledge event = "acknowledge"
	shelve      event = "shelve"
	unshelve    event = "unshelve"
)

// Step is the state diagram of IEC 62682 / ISA-18.2 (from memory): active says
// whether the condition holds, which decides where an unshelved alarm goes. An
// event that means nothing in a state leaves it as it is.
func (s State) Step(e event, active bool) State {
	//exhaustive:enforce
	switch e {
	case shelve:
		return Shelved
	case unshelve:
		if s == Shelved {
			if active {
				return Unacknowledged
			}
			return Normal
		}
	case rise:
		if s == Normal || s == Returned {
			return Unacknowledged
		}
	case goneAway:
		switch s {
		case Unacknowledged:
			return Returned
		case Acknowledged:
			return Normal
		}
	case acknowledge:
		switch s {
		case Unacknowledged:
			return Acknowledged
		case Returned:
			return Normal
		}
	}
	return s
}

// Signal is a condition that can alarm: it rose at one moment and, where Cleared
// is set, went away at another.
type Signal struct {
	Key      string // names the condition for ever: window key, "#", end
	Priority Priority
	Rose     Stamp
	Cleared  *Stamp
	Met      Stamp // when its condition came about, as everything stands now: what was answered before was another one; zero where that says nothing
}

// SignalKey names the signal that an end of a window raises.
func SignalKey(windowKey string, e End) string { return windowKey + "#" + string(e) }

// SplitSignalKey takes a signal key apart; the end is empty where the key is not
// that of a window.
func SplitSignalKey(key string) (windowKey string, e End) {
	w, end, _ := strings.Cut(key, "#")
	return w, End(end)
}

// Signals gives the ends of a window that have been reached and make an alarm.
// A later end takes the place of an earlier one: who is told that the dough is
// spent need not be told that it soon will be.
func (w Window) Signals(now Now) []Signal {
	st := w.Stand(now)
	var out []Signal
	for _, m := range w.Marks {
		if st.For < m.After || m.Priority == Silent {
			continue
		}
		out = append(out[:0], Signal{Key: SignalKey(w.Key, m.End), Priority: m.Priority, Rose: w.Rose(m, now), Met: w.reached(m, now)})
	}
	return out
}

// reached is when a window came to an end of it.
func (w Window) reached(m EndMark, now Now) Stamp {
	at := Stamp{At: now.WallOf(w.Start, m.After)}
	// An earlier boot may have ended before the end was reached: its clock says
	// nothing about that moment.
	if w.Start.BootID != "" && w.Start.BootID == now.BootID {
		at.BootID, at.Boot = w.Start.BootID, w.Start.Boot+m.After
	}
	return at
}

// Rose is when an end of a window that has been reached began to sound: when it was
// reached, or when the window came to have it.
func (w Window) Rose(m EndMark, now Now) Stamp {
	rose := w.reached(m, now)
	if m.End == Warning {
		rose = Latest(rose, w.WarnSet)
	}
	return Latest(rose, w.Set)
}

// Answer is what a person did about a signal: heard it, or put it snoozed
// for a while.
type Answer struct {
	Key   string
	At    Stamp
	Shelf time.Duration // zero: acknowledged
}

// Alarm is a signal with its state.
type Alarm struct {
	Signal
	State State
	Since Passed        // since it rose
	Back  time.Duration // shelved: until it returns
}

// Survey works out every alarm that is not normal from the conditions and from
// what was answered, most urgent first: unacknowledged before returned, before
// acknowledged, before shelved; in each by priority, then the oldest first.
func Survey(signals []Signal, answers []Answer, now Now) []Alarm {
	last := map[string]Answer{}
	for _, a := range answers {
		last[a.Key] = a
	}
	var out []Alarm
	for _, sg := range signals {
		al := Alarm{Signal: sg, Since: now.Since(sg.Rose), State: Normal.Step(rise, true)}
		active := sg.Cleared == nil
		if a, ok := last[sg.Key]; ok && !a.At.Before(sg.Met) {
			switch passed := now.Since(a.At).For; {
			case a.Shelf == 0:
				al.State = al.State.Step(acknowledge, true)
			case passed < a.Shelf:
				al.State, al.Back = al.State.Step(shelve, active), a.Shelf-passed
			default:
				al.State = Shelved.Step(unshelve, active)
			}
		}
		if !active && al.State != Shelved && al.State != Normal {
			al.State = al.State.Step(goneAway, false)
		}
		if al.State != Normal {
			out = append(out, al)
		}
	}
	rank := map[State]int{Unacknowledged: 0, Returned: 1, Acknowledged: 2, Shelved: 3}
	slices.SortStableFunc(out, func(a, b Alarm) int {
		return cmp.Or(cmp.Compare(rank[a.State], rank[b.State]), cmp.Compare(a.Priority, b.Priority), cmp.Compare(b.Since.For, a.Since.For))
	})
	return out
}

// A flood, which nobody can follow, begins with more than FloodCount alarms in
// FloodSpan and is over when fewer than FloodOver rose in the last FloodSpan (EEMUA 191,
// ISA-18.2 and IEC 62682; from memory).
const (
	floodCount = 10
	floodOver  = 5
	floodSpan  = 10 * time.Minute
)

// Flood watches for too many alarms at once. The zero value is ready for use; it
// remembers what rose, also where it went away since.
type Flood struct {
	rose map[string]Stamp // signal key: when
	on   bool
}

// Look counts the alarms that rose in the last FloodSpan, and tells whether a flood is
// on. What is snoozed does not count.
func (f *Flood) Look(alarms []Alarm, now Now) (n int, on bool) {
	if f.rose == nil {
		f.rose = map[string]Stamp{}
	}
	for _, a := range alarms {
		if a.State == Shelved {
			delete(f.rose, a.Key)
		} else if a.Since.For < floodSpan {
			f.rose[a.Key] = a.Rose
		}
	}
	for key, at := range f.rose {
		if now.Since(at).For >= floodSpan {
			delete(f.rose, key)
		}
	}
	n = len(f.rose)
	f.on = n > floodCount || f.on && n >= floodOver
	return n, f.on
}

// Bell decides when a sound is due: once per rise, again on a schedule while an
// alarm is unacknowledged, and never more than one new sound a second. The zero
// value with Every set is ready for use; it holds what it has rung for.
type Bell struct {
	Every map[Priority]time.Duration // how soon an unacknowledged alarm sounds again; absent: never
	Flood bool                       // a flood is on: only the most urgent sound
	rung  map[string]time.Duration   // signal key: the running time at which it last rang
	any   time.Duration
	began bool
}

// Ring says which of the alarms sounds now, or nil. running is any clock that
// only goes forward. Alarms must come in the order of [Survey].
func (b *Bell) Ring(alarms []Alarm, running time.Duration) *Alarm {
	if b.rung == nil {
		b.rung = map[string]time.Duration{}
	}
	on := map[string]bool{}
	var pick *Alarm
	for i := range alarms {
		a := &alarms[i]
		if a.State != Unacknowledged {
			continue
		}
		on[a.Key] = true
		at, done := b.rung[a.Key]
		every, again := b.Every[a.Priority]
		if b.Flood && a.Priority != High {
			continue
		}
		if pick == nil && (!done || again && every > 0 && running-at >= every) {
			pick = a
		}
	}
	for k := range b.rung {
		if !on[k] {
			delete(b.rung, k) // gone or answered: a new rise rings again
		}
	}
	if pick == nil || b.began && running-b.any < time.Second {
		return nil
	}
	b.rung[pick.Key], b.any, b.began = running, running, true
	return pick
}
