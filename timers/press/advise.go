package press

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"flaskside/timers/each"
)

// Verb is what the hands do to a flask.
type Verb uint8

// What the hands can do.
const (
	Nothing Verb = iota
	Press        // into the press for a trial closure
	Open         // out of the press, open, judge
	Trim         // trim and lay a new sheet
	Close        // final closure
)

// String names the verb in the words of the bench.
func (v Verb) String() string {
	switch v {
	case Press:
		return "press"
	case Open:
		return "open"
	case Trim:
		return "trim"
	case Close:
		return "final closure"
	}
	return "nothing"
}

// move is one thing for the hands to do.
type move struct {
	Verb  Verb
	Flask string        // Job.ID; "" with Nothing
	Wait  time.Duration // how long from now until it can begin
}

// HelpKind says what would help a flask that may not be in time.
type HelpKind uint8

// What can help.
const (
	TakeFirst HelpKind = iota + 1 // give this flask the press and the hands before all others
	LetWait                       // leave Help.Flask aside
	Remix                         // nothing on this bench is worth its cost: pack it from a new mix
)

// String names the code in the words of the bench.
func (c HelpKind) String() string {
	//exhaustive:enforce
	switch c {
	case TakeFirst:
		return "take it first"
	case LetWait:
		return "let wait"
	case Remix:
		return "remix"
	}
	return "nothing"
}

// Help is one thing that would help a flask, with what it would then be.
type Help struct {
	Code   HelpKind
	Flask  string  // LetWait: the flask to leave aside
	Chance float64 // of the flask helped, estimated; 0 with Remix
	// Others is how many more of the other flasks, not counting Flask, are expected in time; below 0 fewer.
	Others float64
}

// outlook is what is expected of one flask.
type outlook struct {
	Flask  string
	Chance float64 // that its final closure is over inside its dough, if the advice is followed; an estimate
	Lost   bool    // it too late even if all goes well
	Help   []Help  // for a flask in doubt: what would help, the most first
}

// Advice is what the look-ahead makes of a bench. It is an estimate; the person decides.
type Advice struct {
	Next move
	// Gain is how many flasks more are expected in time by Next than by what was advised before, where that could
	// still be done and the advice has changed; else 0.
	Gain      float64
	Order     []string  // flasks by their next turn in the press, without those under final closure or lost
	Flasks    []outlook // one for each job, in the order given
	AllInTime float64   // chance that every flask is in time: 0 where one is lost
	Others    float64   // chance that every flask not lost is in time, 0 where all are lost
	Expected  float64   // flasks expected in time
	GiveUp    string    // where it is likely that not all can be in time: the flask whose giving up saves most others

	rule rule // by which it is to go on after Next
}

// AdviceOptions say how one question is answered.
type AdviceOptions struct {
	Draws    int     // playings of the shift for one choice, 0 is DefaultDraws
	Seed     uint64  // the same seed gives the same draws
	Gain     float64 // flasks a change of advice must gain, 0 is DefaultGain
	Previous *Advice // the last advice given on this bench; nil for none
	// Work bounds the solving of the bench, in states times flasks and one more: 0 is DefaultWork for up to three flasks,
	// and less for more, NoWork leaves the answer to the look-ahead, as does a bench that would be more work.
	Work int
}

const (
	// defaultDraws is enough that the advice and its score settle to some hundredths of a flask.
	defaultDraws = 64
	// defaultWork keeps an answer within some tenths of a second.
	defaultWork = 360_000
	// fullWork, shared by the flasks of a bench of more than three, keeps it within some hundredths of a second: there the
	// playings take more time the more flasks there are, and solving gains less.
	fullWork = 200_000
	// noWork solves nothing.
	noWork = -1
	// DefaultGain is the gain for which advice is changed, in flasks (house default).
	DefaultGain = 0.03
)

// House defaults of what is said about a flask.
const (
	doubtful   = 0.8  // a flask with less chance is told what would help
	helps      = 0.1  // chance a help must add to be named
	hopeless   = 0.15 // with less, and no help that brings what it costs the others, remix is named
	notAll     = 0.5  // chance that all are in time below which one is named to give up
	notAllKeep = 0.6  // and up to which it stays named, so that the warning does not flicker

	orderGain = 30 * time.Second // by which turns must differ for the order to change
	estimates = 4                // playings for the chances, as a multiple of those for the choice
	sureness  = 2.0              // standard errors by which a change must gain
)

// checkWork says what is wrong with a bound of work.
func checkWork(work int) error {
	if work < noWork || work > maxWork {
		return fmt.Errorf("work of %d states times flasks: want %d (none) to %d", work, noWork, maxWork)
	}
	return nil
}

// workFor puts the default for so many flasks in.
func workFor(work, live int) int {
	switch {
	case work != 0:
		return work
	case live > mostWhole:
		return fullWork / live
	}
	return defaultWork
}

func (o AdviceOptions) settled() (AdviceOptions, error) {
	if err := checkWork(o.Work); err != nil {
		return o, err
	}
	o.Draws = cmp.Or(o.Draws, defaultDraws)
	o.Gain = cmp.Or(o.Gain, DefaultGain)
	if o.Draws < 1 || o.Draws > maxDraws {
		return o, fmt.Errorf("%d draws: want 1 to %d", o.Draws, maxDraws)
	}
	if !(o.Gain >= 0 && o.Gain <= MaxJobs) {
		return o, fmt.Errorf("gain %v for a change of advice: want 0 to %d flasks", o.Gain, MaxJobs)
	}
	return o, nil
}

// desk is one question being answered.
type desk struct {
	ahead
	jobs  []Job // by end of dough, then name
	bench *world
	opt   AdviceOptions
	draws draws // for the choice
	fresh draws // for the chances, so that the luck of the choice does not flatter them
}

// byDough orders the jobs so that neither the advice nor ties depend on the order in which they are given.
func byDough(a, b Job) int { return cmp.Or(cmp.Compare(a.Due, b.Due), cmp.Compare(a.ID, b.ID)) }

func newDesk(jobs []Job, d Durations, b Capacity, o AdviceOptions) *desk {
	jobs = slices.SortedFunc(slices.Values(jobs), byDough)
	p, w := newPlan(jobs, d, b)
	return &desk{
		ahead: ahead{plan: p, gap: max(o.Gain, DefaultGain)},
		jobs:  jobs, bench: w, opt: o,
		draws: newDraws(jobs, o.Seed, o.Draws),
		fresh: newDraws(jobs, o.Seed+1, o.Draws*estimates),
	}
}

// Advise says what to do next at the press, and what to expect of each flask. Jobs may come in any order. It fails
// only on a question out of range.
func Advise(jobs []Job, d Durations, b Capacity, o AdviceOptions) (Advice, error) {
	o, err := o.settled()
	if err != nil {
		return Advice{}, err
	}
	if err := checkBench(d, b); err != nil {
		return Advice{}, err
	}
	if err := checkJobs(jobs); err != nil {
		return Advice{}, err
	}
	q := newDesk(jobs, d, b, o)
	var adv Advice
	chosen := q.decide(&adv)
	out, turns := q.estimate(chosen)
	q.order(&adv, turns)
	got := chances(len(q.jobs), out)
	lost := make([]bool, len(q.jobs))
	live := uint32(0)
	for i := range q.jobs {
		if lost[i] = q.tooLate(i); !lost[i] {
			live |= 1 << i
		}
		adv.Expected += got[i]
	}
	all := each.Count(out, func(x outcome) bool { return x.inTime&live == live })
	if live != 0 {
		adv.Others = float64(all) / float64(len(out))
	}
	if !slices.Contains(lost, true) {
		adv.AllInTime = adv.Others
	}
	help := q.help(&adv, chosen, got, lost)
	for _, j := range jobs {
		i := slices.IndexFunc(q.jobs, func(k Job) bool { return k.ID == j.ID })
		adv.Flasks = append(adv.Flasks, outlook{Flask: j.ID, Chance: got[i], Lost: lost[i], Help: help[i]})
	}
	return adv, nil
}

// tooLate says whether flask i is lost as the bench stands, also by a final closure that will be over too late.
func (q *desk) tooLate(i int) bool {
	c := &q.bench.cells[i]
	return q.lost(q.bench, i) || c.stage >= Closing && c.at > q.due[i]
}

// decide finds what to do next, holding to what was advised before but for a real gain.
func (q *desk) decide(adv *Advice) choice {
	if p := q.opt.Previous; p != nil {
		q.also = step{p.Next.Verb, int8(slices.IndexFunc(q.jobs, func(j Job) bool { return j.ID == p.Next.Flask }))}
	}
	best := q.ahead.decide(q.bench, q.draws, q.opt.Draws, q.opt.Work)
	if p := q.opt.Previous; p != nil {
		said := func(c *choice) bool {
			return c.first && c.step.verb == p.Next.Verb && q.jobs[c.step.job].ID == p.Next.Flask
		}
		step := q.bestOf(said)
		same := q.bestOf(func(c *choice) bool { return said(c) && c.rule == p.rule }) // so that the chances do not jump
		for _, c := range []*choice{same, step} {
			if c != nil && !q.better(best, c) {
				best = c
				break
			}
		}
		if step != nil && !said(best) {
			adv.Gain, _ = gain(best, step)
		}
	}
	adv.rule = best.rule
	if best.first {
		s := best.step // as it stands when the hands are free, the same in every playing
		adv.Next = move{s.verb, q.jobs[s.job].ID, q.begins(&q.dealt, s)}
	}
	return *best
}

// better says whether x is a real gain over y.
func (q *desk) better(x, y *choice) bool {
	mean, se := gain(x, y)
	return mean > max(q.opt.Gain, sureness*se)
}

// bestOf is the best of some of the choices, nil where there is none; one left aside counts less than any that was not.
func (q *desk) bestOf(some func(*choice) bool) *choice {
	var best *choice
	for i := range q.choices {
		c := &q.choices[i]
		if some(c) && (best == nil || len(c.out) > len(best.out) || len(c.out) == len(best.out) && c.sum > best.sum) {
			best = c
		}
	}
	return best
}

// estimate plays the choice on fresh draws and gives also each flask's mean next turn in the press.
func (q *desk) estimate(c choice) (out []outcome, turns []time.Duration) {
	n := q.opt.Draws * estimates
	turns = make([]time.Duration, len(q.jobs))
	for k := range n {
		q.dealt.set(q.bench)
		q.deal(&q.dealt, q.fresh, k)
		q.freeHands(&q.dealt)
		out = append(out, q.run(&q.dealt, &q.played, &c))
		for i := range turns {
			// A flask that gets no turn any more stands behind all that do.
			turns[i] += min(q.played.cells[i].turn, 2*MaxTime) / time.Duration(n)
		}
	}
	return out, turns
}

// order sets the order of the flasks by their turns, starting from the order before and changing it only where turns
// differ by orderGain.
func (q *desk) order(adv *Advice, turns []time.Duration) {
	at := make(map[string]time.Duration, len(q.jobs))
	var ids []string
	for i, j := range q.jobs {
		if q.bench.cells[i].stage < Closing && !q.lost(q.bench, i) {
			at[j.ID] = turns[i]
			ids = append(ids, j.ID)
		}
	}
	slices.SortStableFunc(ids, func(a, b string) int { return cmp.Compare(at[a], at[b]) })
	if q.opt.Previous != nil {
		place := make(map[string]int, len(ids))
		for k, id := range q.opt.Previous.Order {
			place[id] = k + 1
		}
		// Those that were not there before stay behind the ones they follow now.
		last := 0
		for _, id := range ids {
			place[id] = cmp.Or(place[id], last)
			last = place[id]
		}
		slices.SortStableFunc(ids, func(a, b string) int { return cmp.Compare(place[a], place[b]) })
	}
	for swapped := true; swapped; {
		swapped = false
		for k := 1; k < len(ids); k++ {
			if at[ids[k-1]] > at[ids[k]]+orderGain {
				ids[k-1], ids[k] = ids[k], ids[k-1]
				swapped = true
			}
		}
	}
	if adv.Next.Verb == Press || adv.Next.Verb == Close {
		k := slices.Index(ids, adv.Next.Flask)
		ids = slices.Insert(slices.Delete(ids, k, k+1), 0, adv.Next.Flask)
	}
	adv.Order = ids
}
