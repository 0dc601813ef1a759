package bench

import (
	"fmt"
	"slices"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// subject is one part of the trade, whole: the kinds of records that tell of it, what
// they want and what they do, its windows and alarms, the steps that follow its stages.
// Each stands in a file of its own; the frame (subject.go, check.go, fold.go) names none
// of them but in the table below.
type subject struct {
	rules []rule
	// next names the step that follows each stage of this subject.
	next map[FlaskStage]func(*Bench, *Flask, timers.Now) Step
	// ofFlask gives the windows that run for a flask on its place, windows all others.
	ofFlask func(*Bench, *Flask) []Window
	windows func(*Bench) []Window
	// signals gives what can sound beside the ends of windows.
	signals func(*Bench, timers.Now) []timers.Signal
	// lives tells by the class of a thing whether the bench still rests on it.
	lives map[byte]func(*living, int) bool
}

// rule is what holds for one kind of record.
type rule struct {
	kind  action.Kind
	check func(*checker, action.Body) (action.Body, error)
	apply func(*Bench, action.Body, *Item)

	limits      func(*checker, action.Body) error
	alive       func(*living, int, *Item) bool
	fades       func(*living, int, *Item) bool
	makes       func(action.Body) action.Subject
	rests       func(*Bench, action.Body, action.Subject) int
	corrected   func(c *checker, was, is action.Body) error
	uncorrected bool
	kept        bool
	quiet       bool
	aside       bool
	mends       []string // with its time; nil for a kind that is not offered
}

// on gives a kind its rule: check holds a body against the bench and fills it in, apply
// lets it count. Neither can be left out.
func on[B action.Body](check func(*checker, B) (B, error), apply func(*Bench, B, *Item), more ...option) rule {
	var b B
	if check == nil || apply == nil {
		panic(fmt.Sprintf("the rule of the kind %q is not whole", b.Kind()))
	}
	r := rule{
		kind: b.Kind(),
		check: func(c *checker, body action.Body) (action.Body, error) {
			return check(c, body.(B))
		},
		apply: func(b *Bench, body action.Body, it *Item) { apply(b, body.(B), it) },
	}
	for _, o := range more {
		o(&r)
	}
	return r
}

// option is a further part of a rule, for the kinds that need it.
type option func(*rule)

// limits holds a body with its values filled in, or corrected, against what the house has.
func limits[B action.Body](f func(*checker, B) error) option {
	return func(r *rule) { r.limits = func(c *checker, b action.Body) error { return f(c, b.(B)) } }
}

// alive tells of a record whether the bench rests on it, beside what its subjects say.
func alive[B action.Body](f func(l *living, a B, i int, it *Item) bool) option {
	return func(r *rule) {
		r.alive = func(l *living, i int, it *Item) bool { return f(l, it.Body.(B), i, it) }
	}
}

// fades is a kind that can be let go of before what it is about is: f tells when.
func fades(f func(l *living, i int, it *Item) bool) option { return func(r *rule) { r.fades = f } }

// makes names what a record brings into the world: its number is used up, and it is not
// taken back while later records rest on it.
func makes[B action.Body](f func(B) action.Subject) option {
	return func(r *rule) { r.makes = func(b action.Body) action.Subject { return f(b.(B)) } }
}

// rests counts on how many things of its own a record rests on a subject that it does not
// name.
func rests[B action.Body](f func(*Bench, B, action.Subject) int) option {
	return func(r *rule) {
		r.rests = func(b *Bench, body action.Body, on action.Subject) int { return f(b, body.(B), on) }
	}
}

// corrected refuses a correction that this kind does not bear.
func corrected[B action.Body](f func(c *checker, was, is B) error) option {
	return func(r *rule) {
		r.corrected = func(c *checker, was, is action.Body) error { return f(c, was.(B), is.(B)) }
	}
}

// uncorrected is a kind that is taken back or recorded anew, not corrected.
func uncorrected(r *rule) { r.uncorrected = true }

// kept is a kind that is not taken back.
func kept(r *rule) { r.kept = true }

// quiet is a kind that changes no window and no trend.
func quiet(r *rule) { r.quiet = true }

// aside is a kind that is no work at the bench: undoing passes over it.
func aside(r *rule) { r.aside = true }

// mends names the values of a kind that are offered to be set right, beside its time.
func mends(fields ...string) option {
	return func(r *rule) { r.mends = append(make([]string, 0, len(fields)+1), append(fields, "at")...) }
}

// asIs is the check of a kind that needs nothing of the bench, counts nothing the apply of
// one that the bench does not rest on.
func asIs[B action.Body](_ *checker, a B) (B, error) { return a, nil }

func countsNothing[B action.Body](*Bench, B, *Item) {}

var (
	table []subject
	rules map[action.Kind]rule
	steps map[FlaskStage]func(*Bench, *Flask, timers.Now) Step
	lives map[byte]func(*living, int) bool
)

// The table is filled when the program starts and not where it is declared: what
// subjects do reaches back to it.
func init() {
	register(flaskItself, noting, separator, mixing, pressing, finalClosure, bath, cooling, finish, lots, equipment, cases, caseSteps, planning, ownTimers, alarms, crew, screens, signingOff, amending)
}

// register makes subjects the table, in this order.
func register(subjects ...subject) {
	table, rules = subjects, map[action.Kind]rule{}
	steps, lives = map[FlaskStage]func(*Bench, *Flask, timers.Now) Step{}, map[byte]func(*living, int) bool{}
	for _, s := range table {
		for _, r := range s.rules {
			if _, twice := rules[r.kind]; twice {
				panic(fmt.Sprintf("two rules for the kind %q", r.kind))
			}
			rules[r.kind] = r
		}
		for stage, f := range s.next {
			steps[stage] = f
		}
		for class, f := range s.lives {
			lives[class] = f
		}
	}
}

// always is the step that follows a stage whatever else there is.
func always(s Step) func(*Bench, *Flask, timers.Now) Step {
	return func(*Bench, *Flask, timers.Now) Step { return s }
}

// Next names the one step that comes next for a flask.
func (b *Bench) Next(f *Flask, now timers.Now) Step {
	if next, ok := steps[f.Stage]; ok {
		return next(b, f, now)
	}
	return DoOutcome
}

// Windows gives every running window, in the order of the places, then mixes,
// loads and timers.
func (b *Bench) Windows() []Window {
	if b.worked == nil {
		return b.windows()
	}
	b.worked.windows.Do(func() { b.worked.running = b.windows() })
	return slices.Clone(b.worked.running)
}

// windows works them out.
func (b *Bench) windows() []Window {
	var out []Window
	for f := range b.AtWork() {
		for _, s := range table {
			if s.ofFlask != nil {
				out = append(out, s.ofFlask(b, f)...)
			}
		}
	}
	for _, s := range table {
		if s.windows != nil {
			out = append(out, s.windows(b)...)
		}
	}
	return out
}

// Alarms surveys every signal of the bench.
func (b *Bench) Alarms(now timers.Now) []timers.Alarm {
	return timers.Survey(b.signals(now), b.Answers, now)
}

func (b *Bench) signals(now timers.Now) []timers.Signal {
	var sig []timers.Signal
	for _, w := range b.Windows() {
		sig = append(sig, w.Signals(now)...)
	}
	for _, s := range table {
		if s.signals != nil {
			sig = append(sig, s.signals(b, now)...)
		}
	}
	return sig
}
