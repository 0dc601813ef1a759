package press

import (
	"hash/fnv"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
	"time"
)

// baseRules are the rules by which the look-ahead goes on after the first step. No one of them is best on every bench;
// each is good on some.
var baseRules = [...]rule{mooreRule, mooreSerial, earliestEnd, earliestSerial, leastSlack, firstCome}

const (
	// spareWorth is the most a flask's time to spare can be worth, in flasks, and spareHalf the time at which it is
	// half that: enough to settle ties towards the longer margin, too little to give up a flask for (house default).
	spareWorth = 0.03
	spareHalf  = 10 * time.Minute

	// batch is the number of playings after which choices that are clearly worse are left aside.
	batch = 16
	// clearSE is how many standard errors a choice must be behind to be left aside.
	clearSE = 3.0
)

// draws are places (0 to 1) in the distributions of the flasks: at[i][k] for flask i in playing k. Those of a flask
// depend on its name and the seed alone, and are spread evenly over its distribution.
type draws struct {
	at [][]float64
}

func newDraws(jobs []Job, seed uint64, n int) draws {
	d := draws{at: make([][]float64, len(jobs))}
	for i, j := range jobs {
		h := fnv.New64a()
		_, _ = h.Write([]byte(j.ID)) // a hash never fails
		rng := rand.New(rand.NewPCG(seed, h.Sum64()))
		at := make([]float64, n)
		for k, place := range rng.Perm(n) {
			at[k] = (float64(place) + rng.Float64()) / float64(n)
		}
		d.at[i] = at
	}
	return d
}

// deal gives each flask of w that is not known to be ready its closures in playing k.
func (p *plan) deal(w *world, d draws, k int) {
	for i := range w.cells {
		if c := &w.cells[i]; c.need > 0 {
			c.need = draw(p.cum[i], c.made, d.at[i][k])
		}
	}
}

// steps lists what a free pair of hands could do now, also what it would have to wait for.
func (p *plan) steps(w *world, list []step) []step {
	for i := range w.cells {
		c, job := &w.cells[i], int8(i)
		switch c.stage {
		case Waiting:
			switch {
			case w.presses <= 0 || p.lost(w, i):
			case c.need == 0:
				list = append(list, step{Close, job})
			default:
				list = append(list, step{Press, job})
			}
		case Holding:
			list = append(list, step{Open, job})
		case Untrimmed:
			if !p.lost(w, i) {
				list = append(list, step{Trim, job})
			}
		}
	}
	return list
}

// outcome of one playing.
type outcome struct {
	score  float64 // flasks in time, and a little for minutes to spare
	inTime uint32  // set of flasks in time
}

func (p *plan) outcome(w *world) outcome {
	var o outcome
	for i := range w.cells {
		if p.inTime(w, i) {
			o.score += p.spare(i, w.cells[i].at)
			o.inTime |= 1 << i
		}
	}
	return o
}

// choice is a first step and what goes on after it, a table or else a rule, with what came of it in the playings so far.
type choice struct {
	table  *table // with its worth in sum and flasks, and no playings
	flasks float64
	step   step
	first  bool // a step is taken before the rule goes on
	rule   rule
	out    []outcome
	sum    float64
	aside  bool
}

// run plays on from a dealt bench.
func (p *plan) run(dealt, w *world, c *choice) outcome {
	w.set(dealt)
	if c.first {
		p.start(w, c.step)
	}
	if c.table != nil {
		c.table.playOn(w)
	} else {
		p.play(w, c.rule)
	}
	return p.outcome(w)
}

// ahead is the look-ahead with its room to work in; it serves one goroutine.
type ahead struct {
	*plan
	gap     float64 // choices less than this many flasks behind are never left aside
	list    []step
	choices []choice
	also    step // weighed also where the width of a table leaves it out
	dealt   world
	played  world

	// For shifts played to their end.
	hidden  world  // a world of which only what has been seen is read
	kept    *table // the last table
	work    int
	anew    bool // every step is worked out anew
	tooMany int  // so many flasks were too much work to be solved
	follow  int8 // flask that goes in the press next, having been trimmed for it; -1 for none
}

// decide gives the best choice from w: by the table of the bench where it is solved with so much work, else by looking
// ahead. The others stay in a.choices until the next call.
func (a *ahead) decide(w *world, d draws, n, work int) *choice {
	t := a.solved(w, work)
	if t == nil {
		return a.look(w, d, n)
	}
	a.dealt.set(w)
	a.freeHands(&a.dealt)
	a.list = a.steps(&a.dealt, a.list[:0])
	if t.under > 0 {
		tried := t.open(&a.dealt, nil)
		a.list = slices.DeleteFunc(a.list, func(s step) bool { return s != a.also && !slices.Contains(tried, s) })
	}
	a.choices = a.choices[:0]
	for _, s := range a.list {
		got := t.weigh(w, s)
		a.choices = append(a.choices, choice{table: t, step: s, first: true, sum: got.score, flasks: got.flasks})
	}
	if len(a.list) == 0 {
		got := t.solve(w, 0)
		a.choices = append(a.choices, choice{table: t, sum: got.score, flasks: got.flasks})
	}
	if t.full { // what was advised before was not yet in the table, and took it past its room
		return a.look(w, d, n)
	}
	return a.best()
}

// look plays every choice from w n times and returns the best one. The choices stay in a.choices until the next call.
// There is always one: where nothing can be begun, the rules go on by themselves. Where every pair of hands is busy,
// the choice is the first one's to be free.
func (a *ahead) look(w *world, d draws, n int) *choice {
	var best *choice
	for k := range n {
		a.dealt.set(w)
		a.deal(&a.dealt, d, k)
		a.freeHands(&a.dealt)
		if k == 0 {
			a.layOut(&a.dealt)
		}
		for i := range a.choices {
			c := &a.choices[i]
			if c.aside {
				continue
			}
			o := a.run(&a.dealt, &a.played, c)
			c.out = append(c.out, o)
			c.sum += o.score
		}
		if (k+1)%batch == 0 || k == n-1 {
			best = a.best()
			a.leaveAside(best)
		}
	}
	return best
}

// freeHands goes on to when a pair of hands is free. What can be begun then is the same in every playing: a flask
// judged meanwhile wants trimming whatever was seen.
func (p *plan) freeHands(w *world) {
	for w.hands <= 0 && p.advance(w) {
	}
}

// layOut makes the choices: every step with every rule.
func (a *ahead) layOut(w *world) {
	a.list = a.steps(w, a.list[:0])
	a.choices = a.choices[:cap(a.choices)]
	n := max(len(a.list), 1) * len(baseRules)
	for len(a.choices) < n {
		a.choices = append(a.choices, choice{})
	}
	a.choices = a.choices[:n]
	for k := range a.choices {
		c := &a.choices[k]
		*c = choice{rule: baseRules[k%len(baseRules)], out: c.out[:0]}
		if len(a.list) > 0 {
			c.step, c.first = a.list[k/len(baseRules)], true
		}
	}
}

// best is the choice with the highest score of those not left aside, the first of equals.
func (a *ahead) best() *choice {
	var best *choice
	for i := range a.choices {
		c := &a.choices[i]
		if !c.aside && (best == nil || c.sum > best.sum+1e-9) {
			best = c
		}
	}
	return best
}

// leaveAside drops the choices that are clearly worse than the best.
func (a *ahead) leaveAside(best *choice) {
	for i := range a.choices {
		c := &a.choices[i]
		if c.aside || c == best {
			continue
		}
		behind, se := gain(best, c)
		c.aside = behind > max(a.gap, clearSE*se)
	}
}

// gain is how many flasks x is expected to save over y, with its standard error, over the playings both had.
func gain(x, y *choice) (mean, se float64) {
	if x.table != nil && y.table != nil {
		return x.sum - y.sum, 0
	}
	n := min(len(x.out), len(y.out))
	if n == 0 {
		return 0, 0
	}
	var sum, squares float64
	for k := range n {
		diff := x.out[k].score - y.out[k].score
		sum += diff
		squares += diff * diff
	}
	mean = sum / float64(n)
	if n == 1 {
		return mean, 0
	}
	variance := max(0, squares-sum*mean) / float64(n-1)
	return mean, math.Sqrt(variance / float64(n))
}

// chances is the share of the playings in which each flask was in time.
func chances(n int, out []outcome) []float64 {
	got := make([]float64, n)
	for _, o := range out {
		for set := o.inTime; set != 0; set &= set - 1 {
			got[bits.TrailingZeros32(set)]++
		}
	}
	for i := range got {
		got[i] /= float64(max(len(out), 1))
	}
	return got
}
