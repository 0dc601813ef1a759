package bench

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/route"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Cases: what is to be made, from when it is taken in until its flask has an outcome. A
// case and its base are one piece of work; an upper and a lower of one case are a pair.
var cases = subject{
	rules: []rule{
		on((*checker).caseIn, (*Bench).caseIn, quiet, alive(caseAlive[action.CaseIn]),
			corrected(func(c *checker, was, is action.CaseIn) error {
				if was.Case != is.Case || was.Base != is.Base {
					return errors.New("a correction cannot make it another case or base: undo it and take the case in anew")
				}
				c.resinOf(is.Resin)
				if k, ok := c.b.CaseOnList(is.Case, is.Base); was.Route != is.Route && ok && len(k.Steps) > 0 {
					return errors.New("steps of its route are recorded: undo those first, or take the case off the list and in anew")
				}
				if was.Route != is.Route {
					c.routeTold(is.Route)
				}
				return nil
			})),
		on((*checker).caseOff, func(b *Bench, a action.CaseOff, _ *Item) {
			b.caseGone(a.Case, a.Base)
			b.caseWithdrawn(a.Case + " " + a.Base)
		}, quiet, alive(func(l *living, a action.CaseOff, i int, _ *Item) bool {
			return l.b.Planned.names(a.Case+" "+a.Base) && i > l.last[action.DayPlan{}.Kind()]
		}),
			corrected(func(_ *checker, was, is action.CaseOff) error { return sameCase(was.Case, was.Base, is.Case, is.Base) })),
		on((*checker).caseDelivered, func(b *Bench, a action.CaseDelivered, _ *Item) { b.caseGone(a.Case, a.Base) }, quiet,
			corrected(func(_ *checker, was, is action.CaseDelivered) error {
				return sameCase(was.Case, was.Base, is.Case, is.Base)
			})),
	},
}

func sameCase(number, base, is, isBase string) error {
	if number != is || base != isBase {
		return errors.New("a correction cannot make it another case or base: undo it and record it anew")
	}
	return nil
}

func caseAlive[B action.Body](l *living, _ B, _ int, it *Item) bool { return l.cases[it.Seq] }

// casesHeld is how many cases may wait at once; beyond it a list is no help to anybody
// (house default).
const casesHeld = 500

// Case is a case on the list: it waits, or a flask is at work for it.
type Case struct {
	action.CaseIn
	In      timers.Stamp
	InBy    string
	ID      string // of the record that took it in, for corrections
	Flask   int    // at work for it; 0 while it waits
	Made    int    // the flask it was finished in, where more steps follow; 0 before
	Remakes int    // flasks of it that were to be made anew
	Steps   []caseDone

	seqs    []uint64 // the records it rests on
	from    int      // the steps before belong to a base that is made anew
	made    bool     // its flask is finished, and no step was recorded since
	losses  []loss   // of pressure, at the step that runs
	last    timers.Stamp
	excused map[string]bool // code and step that a reason was given for
}

// Name is the case as people say it: "4417 upper".
func (k Case) Name() string { return k.Case + " " + k.Base }

// Waits tells whether no flask is at work for it, nor finished.
func (k Case) Waits() bool { return k.Flask == 0 && k.Made == 0 }

// Cases lists the cases on the list: what is due first first, of those due together the
// rush ones, then in the order they came in.
func (b *Bench) Cases() []Case {
	out := slices.Clone(b.cases)
	slices.SortStableFunc(out, func(x, y Case) int {
		rush := func(k Case) int {
			if k.Rush {
				return 0
			}
			return 1
		}
		return cmp.Or(x.DueAt().Compare(y.DueAt()), cmp.Compare(rush(x), rush(y)))
	})
	return out
}

// CasesWaiting lists the cases that no flask is at work for, in the order of [Bench.Cases].
func (b *Bench) CasesWaiting() []Case {
	return slices.DeleteFunc(b.Cases(), func(k Case) bool { return !k.Waits() })
}

// WantsFlask tells whether a case waits for a flask: one on no route, or on one that has the
// work at the bench still ahead.
func (b *Bench) WantsFlask(k Case) bool {
	r, ok := b.RouteOf(k)
	return k.Waits() && (!ok || len(r.Tracked()) == 0 || r.At(route.Flask) >= b.reached(k, r))
}

// CasesForFlask lists the cases that wait for a flask, those that nothing stands in the way of
// first, in the order of [Bench.Cases].
func (b *Bench) CasesForFlask() []Case {
	out := slices.DeleteFunc(b.Cases(), func(k Case) bool { return !b.WantsFlask(k) })
	slices.SortStableFunc(out, func(x, y Case) int {
		ahead := func(k Case) int {
			if s, ok := b.NextOfCase(k); ok && s.Kind != route.Flask {
				return 1
			}
			return 0
		}
		return cmp.Compare(ahead(x), ahead(y))
	})
	return out
}

// CaseOnList finds a case and its base on the list.
func (b *Bench) CaseOnList(number, base string) (Case, bool) {
	if i := b.caseAt(number, base); i >= 0 {
		return b.cases[i], true
	}
	return Case{}, false
}

// Due is when the case of a flask is due; ok is false for one that was never taken in.
func (b *Bench) Due(f *Flask) (at time.Time, ok bool) {
	for _, k := range b.cases {
		if k.Flask == f.No {
			return k.DueAt(), true
		}
	}
	return time.Time{}, false
}

func (b *Bench) caseAt(number, base string) int {
	return slices.IndexFunc(b.cases, func(k Case) bool { return k.Case == number && k.Base == base })
}

func (b *Bench) caseIn(a action.CaseIn, it *Item) {
	b.caseGone(a.Case, a.Base) // only a foreign book takes one in twice
	gone := a.Made > 0 && (a.Route == "" || a.Ends == action.EndsAtOutcome)
	k := Case{CaseIn: a, In: it.Stamp, InBy: it.Action.By, ID: it.Action.ID, seqs: []uint64{it.Seq}, last: it.Stamp}
	for no, f := range b.Flasks { // its flask may have been opened before somebody typed it in; of several the latest
		if no > k.Flask && f.known && f.Stage != Finished && f.Case == a.Case && f.Base == a.Base {
			k.Flask, k.seqs, gone = no, []uint64{f.openSeq, it.Seq}, false
		}
	}
	if gone {
		return // its flask has its outcome, and nothing is left to do for it here
	}
	if a.Made > 0 && k.Flask == 0 {
		k.Made, k.made = a.Made, true
	}
	b.cases = append(b.cases, k)
	if p := b.Planned; p != nil {
		p.Withdrawn = slices.DeleteFunc(p.Withdrawn, func(name string) bool { return name == k.Name() })
	}
}

func (b *Bench) caseGone(number, base string) {
	if i := b.caseAt(number, base); i >= 0 {
		b.cases = slices.Delete(b.cases, i, i+1)
	}
}

// caseTaken notes that a flask was opened: the case it is for no longer waits.
func (b *Bench) caseTaken(f *Flask) {
	if i := b.caseAt(f.Case, f.Base); i >= 0 && b.cases[i].Flask == 0 {
		k := b.caseToChange(i)
		k.Flask, k.Made, k.made = f.No, 0, false
		k.seqs, k.last = append(k.seqs, f.openSeq), timers.Latest(k.last, f.Opened)
	}
}

// caseEnded notes the outcome of a flask: its case is done here, or waits again.
func (b *Bench) caseEnded(f *Flask, it *Item) {
	i := slices.IndexFunc(b.cases, func(k Case) bool { return k.Flask == f.No })
	if i < 0 {
		return
	}
	k := b.caseToChange(i)
	if f.Outcome != remade && (k.Route == "" || k.Ends == action.EndsAtOutcome) {
		b.cases = slices.Delete(b.cases, i, i+1)
		return
	}
	k.Flask, k.seqs, k.last = 0, append(k.seqs, it.Seq), timers.Latest(k.last, it.Stamp)
	if f.Outcome != remade {
		k.Made, k.made = f.No, true
		return
	}
	k.Remakes, k.from, k.losses = k.Remakes+1, len(k.Steps), nil
}

// remade is the outcome after which a case is to be made anew.
const remade = "remake"

// caseRecords gives the numbers of the records that the list of cases rests on.
func (b *Bench) caseRecords() map[uint64]bool {
	out := map[uint64]bool{}
	for _, k := range b.cases {
		for _, seq := range k.seqs {
			out[seq] = true
		}
		for _, seq := range b.caseBack[k.Case].seqs {
			out[seq] = true
		}
	}
	for _, f := range b.Flasks { // without its outcome a flask that was opened would be at work again
		if f.Stage == Finished && out[f.openSeq] {
			out[f.endSeq] = true
		}
	}
	return out
}

func (c *checker) caseIn(a action.CaseIn) (action.CaseIn, error) {
	if k, ok := c.b.CaseOnList(a.Case, a.Base); ok {
		return a, fmt.Errorf("case %s is on the list already, taken in %s: correct that record, or take the case off the list", k.Name(), words.Instant(k.In.At, c.at.At))
	}
	if len(c.b.cases) >= casesHeld {
		return a, fmt.Errorf("there are %d cases on the list, as many as it holds: take off those that are not made any more", len(c.b.cases))
	}
	if r, ok := c.b.House.Route(a.Route); a.Size == "" && (!ok || r.Off || r.At(route.Flask) >= 0) {
		return a, fmt.Errorf("case %s %s needs its size for the flask: %s", a.Case, a.Base, action.Words(action.Sizes))
	}
	c.caseNumber(a.Case)
	if a.RemakeOf != "" && a.RemakeOf != a.Case {
		c.caseNumber(a.RemakeOf)
	}
	if due := a.DueAt(); due.Before(c.at.At) {
		c.unusual(duePastCode, "case %s %s is due %s, which is past", a.Case, a.Base, words.Instant(due.In(c.at.At.Location()), c.at.At))
	}
	c.resinOf(a.Resin)
	c.routeTold(a.Route)
	a.Ends = c.endsOf(a.Route)
	c.madeBefore(&a)
	return a, nil
}

// madeBefore tells of a case whose flask has its outcome already that it does not wait: it was
// typed late, or is in a table that is taken in once more. One that is a remake waits.
func (c *checker) madeBefore(a *action.CaseIn) {
	a.Made = 0
	if a.RemakeOf != "" {
		return
	}
	var f *Flask
	for _, no := range Sorted(c.b.Flasks) {
		if o := c.b.Flasks[no]; o.known && o.Case == a.Case && o.Base == a.Base {
			f = o
		}
	}
	if f == nil || f.Stage != Finished || f.Outcome == remade || f.Ended == nil || c.deliveredSince(*a, *f.Ended) {
		return
	}
	a.Made = f.No
	if a.Route == "" || a.Ends == action.EndsAtOutcome {
		c.unusual(caseMadeCode, "case %s %s was finished in flask %d, %s, so it does not wait again. If it is made anew, say which case it is a remake of", a.Case, a.Base, f.No, words.Instant(f.Ended.At, c.at.At))
	}
}

// deliveredSince tells whether a case was delivered after something.
func (c *checker) deliveredSince(a action.CaseIn, ended timers.Stamp) bool {
	return slices.ContainsFunc(c.b.Items, func(it Item) bool {
		d, ok := it.Body.(action.CaseDelivered)
		return ok && it.TakenBack == nil && d.Case == a.Case && d.Base == a.Base && !earlier(it.Stamp, ended)
	})
}

// resinOf asks about a resin that is not in the settings.
func (c *checker) resinOf(name string) {
	if name == "" {
		return
	}
	if _, ok := c.b.House.Resin(name); !ok {
		var names []string
		for _, r := range c.b.House.Resins {
			names = append(names, r.Name)
		}
		c.unusual(resinCode, "the settings have no resin %q, but %s", name, strings.Join(names, ", "))
	}
}

// Codes of what is unusual about a case.
const (
	duePastCode    = "due-past"
	resinCode      = "resin-unknown"
	caseOpenCode   = "case-open"   // taken off, or delivered, while a flask is at work for it or none was
	caseMadeCode   = "case-made"   // taken in when its flask had its outcome already
	ClosingCode    = "closing"     // delivered with something of the closing list not done
	pairLoadCode   = "pair-load"   // in another bath load than the other base of its case
	pairLotCode    = "pair-lot"    // from another lot of powder or liquid than that
	caseDoubleCode = "case-double" // a second flask for a case and base that one is at work for
)

func (c *checker) caseOff(a action.CaseOff) (action.CaseOff, error) {
	k, ok := c.b.CaseOnList(a.Case, a.Base)
	if !ok {
		return a, fmt.Errorf("case %s %s is not on the list%s", a.Case, a.Base, c.caseList())
	}
	if k.Flask > 0 {
		c.unusual(caseOpenCode, "flask %d is at work for case %s", k.Flask, k.Name())
	}
	return a, nil
}

func (c *checker) caseDelivered(a action.CaseDelivered) (action.CaseDelivered, error) {
	k, ok := c.b.CaseOnList(a.Case, a.Base)
	_, routed := c.b.RouteOf(k)
	if ok {
		a.Missing = c.b.MissingOf(k)
	}
	switch next, more := c.b.NextOfCase(k); {
	case ok && k.Flask == 0 && routed:
		if more && next.Kind != route.Deliver {
			c.unusual(orderCode, "case %s is delivered while the next step is: %s", k.Name(), next.Called())
		}
		c.stepLong(k)
	case ok && k.Flask == 0 && k.Made > 0:
	case ok && k.Waits():
		c.unusual(caseOpenCode, "case %s still waits: no flask of it has an outcome", k.Name())
	case ok:
		c.unusual(caseOpenCode, "flask %d of case %s has no outcome yet", k.Flask, k.Name())
	}
	if len(a.Short())+len(a.Missing) > 0 {
		c.marks = append(c.marks, ClosingCode) // the record says what was done
	}
	return a, nil
}

// pairs are the bases that belong together where they have one case number.
var pairs = map[string]string{"upper": "lower", "lower": "upper"}

// pairOf gives the flask at work with the other base of a flask's case, or nil. A shade is
// the same where the two come from one lot, and a cure where they were in one load.
func (b *Bench) pairOf(f *Flask) *Flask {
	var pair *Flask
	for o := range b.AtWork() {
		if o.Case == f.Case && pairs[f.Base] != "" && o.Base == pairs[f.Base] && (pair == nil || o.No > pair.No) {
			pair = o
		}
	}
	return pair
}

// pairParted marks the flasks of an action that go another way than the pair they belong
// to: parted tells of the pair whether it does. It asks nothing; the sheet and the question
// for the outcome tell it.
func (c *checker) pairParted(flasks []int, code string, parted func(pair *Flask) bool) {
	for _, no := range flasks {
		f := c.b.Flasks[no]
		if f == nil {
			continue
		}
		if pair := c.b.pairOf(f); pair != nil && !slices.Contains(flasks, pair.No) && parted(pair) {
			c.marks = append(c.marks, oddCode(code, no))
		}
	}
}

// caseDouble asks about a second flask for one piece of work, where a list of cases is kept.
func (c *checker) caseDouble(a action.FlaskOpen) {
	switch k, ok := c.b.CaseOnList(a.Case, a.Base); {
	case ok && k.Flask > 0:
		c.unusual(caseDoubleCode, "flask %d is at work for case %s already", k.Flask, k.Name())
	case ok && k.Made > 0:
		c.unusual(caseDoubleCode, "case %s was finished in flask %d already", k.Name(), k.Made)
	}
}

func (c *checker) caseList() string {
	if len(c.b.cases) == 0 {
		return ": the list is empty"
	}
	var names []string
	for _, k := range c.b.Cases() {
		if len(names) == 9 {
			names = append(names, "…")
			break
		}
		names = append(names, k.Name())
	}
	return ": on it are " + strings.Join(names, ", ")
}
