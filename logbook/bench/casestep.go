package bench

import (
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"strconv"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/route"
	"flaskside/timers"
)

// Steps of a case on its route: what the table of the route says, beside the work in a flask.
// The table names the next step; what a step was done under stands in its record, so that a
// table that is changed changes nothing that runs.
var caseSteps = subject{
	rules: []rule{
		on((*checker).caseStep, applyCaseStep, alive(caseAlive[action.CaseStep]), corrected((*checker).stepCorrected)),
	},
	windows: caseWindows,
	signals: pressureSignals,
}

// caseDone is a step of a case as it counts.
type caseDone struct {
	action.CaseStep
	At      timers.Stamp
	By      string
	ID      string
	Unusual []string // codes
	Why     string
	Key     string // of its timer

	set timers.Stamp
}

// loss is a pressure that was lost while a step stood under it.
type loss struct {
	key     string
	at, set timers.Stamp
	back    *timers.Stamp
}

// Codes of what is unusual about a step of a case.
const (
	orderCode     = "out-of-order"
	stepShortCode = "step-short"    // gone on before the earliest end of what ran
	placeCode     = "place-taken"   // in a place that another one is in
	stepOffCode   = "step-off"      // a step that the house has switched off
	routeCode     = "route-unknown" // the settings have no such route, or it is switched off
	noFlaskCode   = "route-flask"   // a flask for a case whose route has none
	lostCode      = "pressure-lost" // the pressure was lost under which it stood
)

// RouteOf gives the route of a case as the house has it now; ok is false for a case on none,
// and where the house has switched that route off or has no more of that name.
func (b *Bench) RouteOf(k Case) (r route.Route, ok bool) {
	if k.Route == "" {
		return r, false
	}
	r, ok = b.House.Route(k.Route)
	return r, ok && !r.Off
}

// NextOfCase is the step of its route that comes next for a case; ok is false where none
// does. While a flask is at work for it that is the work at the bench.
func (b *Bench) NextOfCase(k Case) (s route.Step, ok bool) {
	r, ok := b.RouteOf(k)
	if !ok {
		return s, false
	}
	flask := r.At(route.Flask)
	if flask >= 0 && k.Flask > 0 {
		return r.Steps[flask], true
	}
	if flask >= 0 && k.made {
		return r.From(flask + 1)
	}
	return r.From(b.reached(k, r))
}

// reached is where on its route a case stands: behind the last step recorded that the table
// still has.
func (b *Bench) reached(k Case, r route.Route) int {
	for i := len(k.Steps) - 1; i >= k.from; i-- {
		d := k.Steps[i]
		s, at := r.Step(d.Step)
		switch {
		case d.Event != "" || at < 0:
			continue
		case !d.Again:
			return at + 1
		case s.Back != "":
			_, at = r.Step(s.Back)
		}
		return at
	}
	if k.from > 0 || k.Remakes > 0 {
		return r.RemakeAt()
	}
	return 0
}

// MissingOf lists the steps of its route that a case has no record of, delivery apart.
func (b *Bench) MissingOf(k Case) []string {
	r, ok := b.RouteOf(k)
	if !ok {
		return nil
	}
	var out []string
	for _, s := range r.Tracked() {
		counts := k.Steps[k.from:]
		if _, at := r.Step(s.Name); at < r.RemakeAt() {
			counts = k.Steps // done once, when it came in
		}
		done := s.Kind == route.Deliver || s.Kind == route.Flask && (k.Made > 0 || k.Flask > 0) || slices.ContainsFunc(counts, func(d caseDone) bool {
			return d.Step == s.Name && d.Event == "" && !d.Again
		})
		if !done {
			out = append(out, s.Name)
		}
	}
	return out
}

// Running is the step of a case whose timer runs, or that it stands under pressure since;
// nil where nothing does.
func (k Case) Running() *caseDone {
	if k.Flask > 0 || k.made {
		return nil
	}
	for i := len(k.Steps) - 1; i >= k.from; i-- {
		if d := &k.Steps[i]; d.Event == "" {
			if d.As.Timed() || d.Pressure {
				return d
			}
			return nil
		}
	}
	return nil
}

// LostSince is since when the pressure is lost under which a case should stand; nil where it
// is not.
func (k Case) LostSince() *timers.Stamp {
	if len(k.losses) == 0 || k.losses[len(k.losses)-1].back != nil || k.Running() == nil {
		return nil
	}
	at := k.losses[len(k.losses)-1].at
	return &at
}

// caseKey names the timer of a step for ever: by the id of its record.
func caseKey(d action.CaseStep, id string) string {
	h := fnv.New64a()
	_, _ = h.Write([]byte(id)) // a hash takes everything
	return fmt.Sprintf("case/%016x/%s", h.Sum64(), d.Step)
}

// StepAnswers is what answers to the alarms of a step are found by: its record's id names it.
func StepAnswers(d action.CaseStep, id string) action.Subject {
	s, _ := SubjectOfStep(caseKey(d, id))
	return s
}

// SubjectOfStep is what answers to the alarm of a step of a case are found by, from the key
// of its timer or alarm. Two steps may share one: then a little too much is read.
func SubjectOfStep(key string) (action.Subject, bool) {
	rest, ok := strings.CutPrefix(key, "case/")
	if !ok {
		return action.Subject{}, false
	}
	name, _, _ := strings.Cut(rest, "/")
	no, err := strconv.ParseUint(name, 16, 64)
	if err != nil {
		return action.Subject{}, false
	}
	return action.Subject{Class: 'o', No: int(no & math.MaxInt32)}, true
}

// doneOf is a record of a step as it counts.
func doneOf(a action.CaseStep, it *Item) caseDone {
	d := caseDone{CaseStep: a, At: it.Stamp, By: it.Action.By, ID: it.Action.ID, Why: it.Action.Why, Key: caseKey(a, it.Action.ID), set: it.set()}
	for _, u := range it.Action.Unusual {
		if u != clockBack {
			d.Unusual = append(d.Unusual, u)
		}
	}
	if a.Event == action.PressureLost {
		d.Unusual = append(d.Unusual, lostCode)
	}
	return d
}

func applyCaseStep(b *Bench, a action.CaseStep, it *Item) {
	i := b.caseAt(a.Case, a.Base)
	if i < 0 {
		return // it has left the list since
	}
	k := b.caseToChange(i)
	k.note(it)
	d := doneOf(a, it)
	run := k.Running()
	switch a.Event {
	case action.PressureLost:
		k.losses = append(k.losses, loss{key: timers.SignalKey(d.Key, LostPressure), at: it.Stamp, set: it.set()})
	case action.PressureBack:
		if n := len(k.losses); n > 0 && k.losses[n-1].back == nil && run != nil {
			k.losses[n-1].back = it.at()
		}
	default:
		k.losses, k.made = nil, false
	}
	k.Steps = append(k.Steps, d)
	if a.Last {
		b.caseGone(a.Case, a.Base)
	}
}

// note keeps a record that a case rests on, and when that was.
func (k *Case) note(it *Item) {
	k.seqs = append(k.seqs, it.Seq)
	k.last = timers.Latest(k.last, it.Stamp)
	for _, u := range it.Action.Unusual {
		if s, ok := it.Body.(action.CaseStep); ok {
			if k.excused == nil {
				k.excused = map[string]bool{}
			}
			k.excused[u+" "+s.Step] = true
			for _, l := range action.LotsUsed(s) { // the reason was for this lot, not for any
				k.excused[lotKey(u, l.Material, l.Lot)] = true
			}
		}
	}
}

// turned is when something about a case number was taken back last, or corrected away from it,
// and by which records that is known.
type turned struct {
	at   timers.Stamp
	seqs []uint64
}

// returnedTo notes of a case number that something about it was taken back, or corrected away
// from it: what runs for it now is heard from then on.
func (b *Bench) returnedTo(number string, it *Item, at timers.Stamp) {
	if b.caseBack == nil {
		b.caseBack = map[string]turned{}
	}
	g := b.caseBack[number]
	b.caseBack[number] = turned{timers.Latest(g.at, at), append(g.seqs, it.Seq)}
}

// ends gives the ends of the timer of a step.
func (d caseDone) ends(warnS int) timers.Ends {
	e := timers.Ends{FloorS: d.MinS, AimS: d.AimS, LimitS: d.MaxS, WarnS: min(warnS, d.MaxS/4), Floor: timers.Low, Limit: timers.Medium}
	if d.Urgent || d.As == route.Hold {
		e.Floor, e.Limit = timers.Medium, timers.High
	}
	return e
}

// caseWindows gives the timers of the cases.
func caseWindows(b *Bench) []Window {
	var out []Window
	for _, k := range b.cases {
		d := k.Running()
		if d == nil || !d.As.Timed() {
			continue
		}
		e := d.ends(b.House.Alarms.WarnS)
		e.Set, e.WarnSet = timers.Latest(d.set, b.caseBack[k.Case].at), b.houseSet
		w := timers.NewWindow(d.Key, d.At, e)
		if aim := w.After(timers.Aim); aim != nil && d.MinS == 0 {
			aim.Priority = e.Floor // with no earliest end it is what is waited for
		}
		out = append(out, Window{What: CaseTimer, Case: k.Name(), Label: d.Brief(), Place: d.Place, Window: w})
	}
	return out
}

// LostPressure is the alarm that the pressure was lost under which a case stands.
const LostPressure timers.End = "pressure lost"

// pressureSignals sound where a pressure was lost, until it is back or the next step is done.
func pressureSignals(b *Bench, _ timers.Now) []timers.Signal {
	var out []timers.Signal
	for _, k := range b.cases {
		if k.Running() == nil {
			continue
		}
		for _, l := range k.losses {
			out = append(out, timers.Signal{Key: l.key, Priority: timers.High, Rose: timers.Latest(l.at, timers.Latest(l.set, b.caseBack[k.Case].at)), Cleared: l.back})
		}
	}
	return out
}

// CaseOfKey finds the case that a timer or an alarm belongs to.
func (b *Bench) CaseOfKey(key string) (k Case, d caseDone, ok bool) {
	window, _ := timers.SplitSignalKey(key)
	if !strings.HasPrefix(window, "case/") {
		return k, d, false
	}
	for _, k := range b.cases {
		for _, d := range k.Steps {
			if d.Key == window {
				return k, d, true
			}
		}
	}
	return k, d, false
}
