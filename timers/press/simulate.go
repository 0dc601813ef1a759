package press

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"flaskside/timers/each"
)

// Size is one size of base.
type Size struct {
	Name  string
	Share float64 // share of the flasks that are of this size
	// Totals[k] is the chance that such a flask turns out to need k+1 trial closures, as in Job.More.
	Totals []float64
}

// ShiftOptions says which shifts Simulate plays.
type ShiftOptions struct {
	Shifts    int             // 1 to MaxShifts
	Flasks    int             // in each shift, 1 to MaxJobs
	Mixes     []time.Duration // end of the dough of each mix; flask i is packed from mix i modulo their number
	Sizes     []Size
	Durations Durations
	Bench     Capacity
	Draws     int // playings of the shift for one choice of the look-ahead; 0 is DefaultDraws
	Seed      uint64
	Work      int // as in AdviceOptions
	// Anew works the advice out anew for every step, as at a bench; else what was worked out is followed while it
	// holds, which is much faster and loses a little more where there are more than three flasks.
	Anew bool
}

// MaxShifts bounds Simulate.
const MaxShifts = 100_000

// ShiftTable is the share of flasks lost under each rule over the same shifts.
type ShiftTable struct {
	Shifts   int       `json:"shifts"`
	Flasks   int       `json:"flasks"`
	MixesMin []float64 `json:"mixes_min"` // end of the dough of each mix, minutes
	Presses  int       `json:"presses"`
	Hands    int       `json:"hands"`
	Draws    int       `json:"draws"`
	Seed     uint64    `json:"seed"`
	Rules    []ruleRow `json:"rules"` // the look-ahead last
	// Foretold is the share of flasks the look-ahead expected to lose when each shift began; to be held against what
	// it then lost.
	Foretold float64 `json:"foretold"`
	// ForetoldSE is the standard error of what it lost less what it had expected to lose, over shifts.
	ForetoldSE float64 `json:"foretold_se"`
}

// ruleRow is one rule's share of flasks lost.
type ruleRow struct {
	Rule string  `json:"rule"`
	Lost float64 `json:"lost"` // share of the flasks whose final closure was not inside their dough
	SE   float64 `json:"se"`   // its standard error, over shifts
	// Over is how much more that is than the look-ahead lost, and OverSE its standard error; the draws being common
	// it is smaller than the errors of the two shares say.
	Over   float64 `json:"over"`
	OverSE float64 `json:"over_se"`
}

// tableRules are the rules of a table before the look-ahead.
var tableRules = []struct {
	name string
	rule rule
}{
	{"first come", firstCome},
	{"one at a time", oneAtATime},
	{"earliest end", earliestEnd},
	{"least slack", leastSlack},
	{"Moore-Hodgson", mooreRule},
}

const lookAheadName = "look-ahead"

// Simulate plays whole shifts under each rule, every rule over the same flasks. In each, all flasks stand waiting at
// the start; no rule goes on with a flask that too late even if all goes well. The rules and the
// look-ahead know the distribution of closures and what has been judged so far, nothing else. It uses every
// processor; the figures do not depend on how many there are. It ends early with ctx's error when ctx is done.
func Simulate(ctx context.Context, o ShiftOptions) (ShiftTable, error) {
	o.Draws = cmp.Or(o.Draws, defaultDraws)
	if err := checkWork(o.Work); err != nil {
		return ShiftTable{}, err
	}
	if err := o.check(); err != nil {
		return ShiftTable{}, err
	}
	lost := make([][]float64, o.Shifts) // by shift: share lost by rule, and foretold
	var wg sync.WaitGroup
	workers := min(runtime.GOMAXPROCS(0), o.Shifts)
	order := o.alike()
	for k := range workers {
		wg.Go(func() {
			var last solvedShift
			for _, s := range order[k*o.Shifts/workers : (k+1)*o.Shifts/workers] {
				if ctx.Err() != nil {
					return
				}
				lost[s] = o.shift(ctx, s, &last)
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return ShiftTable{}, fmt.Errorf("simulated shifts cut short: %w", err)
	}
	return o.table(lost), nil
}

func (o *ShiftOptions) check() error {
	if o.Shifts < 1 || o.Shifts > MaxShifts {
		return fmt.Errorf("%d shifts: want 1 to %d", o.Shifts, MaxShifts)
	}
	if o.Flasks < 1 || o.Flasks > MaxJobs {
		return fmt.Errorf("%d flasks: want 1 to %d", o.Flasks, MaxJobs)
	}
	if o.Draws < 1 || o.Draws > maxDraws {
		return fmt.Errorf("%d draws: want 1 to %d", o.Draws, maxDraws)
	}
	if len(o.Mixes) == 0 {
		return errors.New("no mix: want the end of the dough of at least one")
	}
	for _, m := range o.Mixes {
		if err := checkTime(m); err != nil {
			return fmt.Errorf("end of the dough of a mix: %w", err)
		}
	}
	total := 0.0
	for _, s := range o.Sizes {
		if !(s.Share >= 0 && s.Share <= 1) {
			return fmt.Errorf("share %v of size %s: want 0 to 1", s.Share, s.Name)
		}
		if _, err := cumulate(s.Totals); err != nil {
			return fmt.Errorf("chances of closures of size %s: %w", s.Name, err)
		}
		total += s.Share
	}
	if total <= 0 {
		return errors.New("no size of base has a share above 0: want at least one")
	}
	return checkBench(o.Durations, o.Bench)
}

// solvedShift is the table of the shift played last, for those that begin alike.
type solvedShift struct {
	sizes string
	table *table // nil where it was too much work
}

// alike gives the shifts in an order in which those that begin alike stand together.
func (o *ShiftOptions) alike() []int {
	order, sizes := make([]int, o.Shifts), make([]string, o.Shifts)
	for s := range order {
		order[s] = s
		_, sizes[s], _ = o.begin(s)
	}
	slices.SortStableFunc(order, func(a, b int) int { return strings.Compare(sizes[a], sizes[b]) })
	return order
}

// begin draws the flasks of shift number s, and gives the sizes drawn and what the rest is drawn from.
func (o *ShiftOptions) begin(s int) (jobs []Job, sizes string, rng *rand.Rand) {
	rng = rand.New(rand.NewPCG(o.Seed, uint64(s)))
	for i := range o.Flasks {
		z := o.pick(rng)
		jobs = append(jobs, Job{ID: strconv.Itoa(i), Due: o.Mixes[i%len(o.Mixes)], More: o.Sizes[z].Totals})
		sizes += strconv.Itoa(z) + " "
	}
	return jobs, sizes, rng
}

// shift plays shift number s and returns the share of flasks lost by each rule, by the look-ahead, and foretold; when
// ctx is done it stops short and the figures mean nothing.
func (o *ShiftOptions) shift(ctx context.Context, s int, last *solvedShift) []float64 {
	jobs, sizes, rng := o.begin(s)
	p, start := newPlan(jobs, o.Durations, o.Bench)
	for i := range start.cells {
		start.cells[i].need = draw(p.cum[i], 0, rng.Float64())
	}
	lost := make([]float64, 0, len(tableRules)+2)
	var w world
	for _, t := range tableRules {
		w.set(start)
		p.play(&w, t.rule)
		lost = append(lost, p.share(&w))
	}
	a := &ahead{plan: p, gap: DefaultGain, anew: o.Anew, work: o.Work, follow: -1, tooMany: MaxJobs + 1}
	d := newDraws(jobs, rng.Uint64(), o.Draws)
	unknown := *start
	unknown.cells = slices.Clone(start.cells)
	for i := range unknown.cells {
		unknown.cells[i].need = 1
	}
	if last.sizes != sizes {
		*last = solvedShift{sizes, p.solved(&unknown, o.Work)}
	}
	foretold := 1.0
	if a.kept = last.table; a.kept != nil {
		foretold -= a.kept.solve(&unknown, 0).flasks / float64(len(jobs))
	} else {
		a.tooMany = o.Flasks
		for _, c := range chances(len(jobs), a.look(&unknown, d, o.Draws).out) {
			foretold -= c / float64(len(jobs))
		}
	}
	w.set(start)
	a.playAhead(ctx, &w, d, o.Draws)
	return append(lost, p.share(&w), max(0, foretold)) // not below 0 by rounding
}

// playAhead plays a shift to its end, or until ctx is done, asking the look-ahead at each step.
func (a *ahead) playAhead(ctx context.Context, w *world, d draws, n int) {
	for ctx.Err() == nil {
		for w.hands > 0 {
			if a.list = a.steps(w, a.list[:0]); len(a.list) == 0 {
				break
			}
			next := a.list[0]
			if len(a.list) > 1 {
				next = a.next(w, d, n)
			}
			a.start(w, next)
		}
		if !a.advance(w) {
			return
		}
	}
}

// next is the step advised for w, of which only what has been seen is read. A table is followed while it holds and no
// wider one is to be had, unless the bench is to be solved anew for each step; where solving was too much work it is
// tried again with fewer flasks.
func (a *ahead) next(w *world, d draws, n int) step {
	live := a.live(w)
	if i := a.follow; i >= 0 {
		if a.follow = -1; a.kept != nil && w.presses > 0 && w.cells[i].stage == Waiting && !a.lost(w, int(i)) {
			return a.kept.in(w, i)
		}
	}
	s := a.told(w, live, d, n)
	if s.verb == Trim && a.kept != nil && a.kept.onIn(w) {
		a.follow = s.job // the table goes on with it at once
	}
	return s
}

// told is the step by the table that is kept, or a new one, or the look-ahead.
func (a *ahead) told(w *world, live int, d draws, n int) step {
	if t := a.kept; t != nil && (t.width == (width{}) || !a.anew && live > mostWhole) {
		if s, ok, known := t.advised(w); ok && known {
			return s
		}
	}
	a.hidden.set(w)
	for i := range a.hidden.cells {
		c := &a.hidden.cells[i]
		c.need = min(c.need, 1)
	}
	work := a.work
	if live >= a.tooMany {
		work = noWork
	}
	best := a.decide(&a.hidden, d, n, work)
	a.kept = best.table
	if best.table == nil {
		a.tooMany = min(a.tooMany, live)
	}
	return best.step
}

// pick draws a size.
func (o *ShiftOptions) pick(rng *rand.Rand) int {
	total := 0.0
	for _, s := range o.Sizes {
		total += s.Share
	}
	u := rng.Float64() * total
	for i, s := range o.Sizes {
		if u < s.Share {
			return i
		}
		u -= s.Share
	}
	return len(o.Sizes) - 1
}

// share of the flasks not in time.
func (p *plan) share(w *world) float64 {
	n := 0
	for i := range w.cells {
		if !p.inTime(w, i) {
			n++
		}
	}
	return float64(n) / float64(len(w.cells))
}

func (o *ShiftOptions) table(lost [][]float64) ShiftTable {
	t := ShiftTable{Shifts: o.Shifts, Flasks: o.Flasks, Presses: o.Bench.Presses, Hands: o.Bench.Hands, Draws: o.Draws, Seed: o.Seed}
	t.MixesMin = append(t.MixesMin, each.Of(o.Mixes, time.Duration.Minutes)...)
	ours := len(tableRules)
	for k := range ours + 1 {
		r := ruleRow{Rule: lookAheadName}
		if k < ours {
			r.Rule = tableRules[k].name
		}
		r.Lost, r.SE = meanSE(lost, func(x []float64) float64 { return x[k] })
		r.Over, r.OverSE = meanSE(lost, func(x []float64) float64 { return x[k] - x[ours] })
		t.Rules = append(t.Rules, r)
	}
	t.Foretold, _ = meanSE(lost, func(x []float64) float64 { return x[ours+1] })
	_, t.ForetoldSE = meanSE(lost, func(x []float64) float64 { return x[ours] - x[ours+1] })
	return t
}

// meanSE is the mean of a figure over shifts and its standard error, 0 for a single shift.
func meanSE(shifts [][]float64, figure func([]float64) float64) (mean, se float64) {
	n := float64(len(shifts))
	for _, s := range shifts {
		mean += figure(s) / n
	}
	if n < 2 {
		return mean, 0
	}
	for _, s := range shifts {
		se += (figure(s) - mean) * (figure(s) - mean)
	}
	return mean, math.Sqrt(se / (n - 1) / n)
}

// String sets the table out in lines.
func (t ShiftTable) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d shifts of %d flasks, dough ends at", t.Shifts, t.Flasks)
	for i, m := range t.MixesMin {
		if i > 0 {
			b.WriteString(" and")
		}
		fmt.Fprintf(&b, " %g", m)
	}
	fmt.Fprintf(&b, " min; presses %d, pairs of hands %d; %d draws, seed %d\n", t.Presses, t.Hands, t.Draws, t.Seed)
	fmt.Fprintf(&b, "%-14s  %6s  %6s  %15s  %6s\n", "rule", "lost", "se", "over look-ahead", "se")
	for _, r := range t.Rules {
		fmt.Fprintf(&b, "%-14s  %6.4f  %6.4f  %15.4f  %6.4f\n", r.Rule, r.Lost, r.SE, r.Over, r.OverSE)
	}
	fmt.Fprintf(&b, "%-14s  %6.4f  %6.4f (of the difference)\n", "foretold", t.Foretold, t.ForetoldSE)
	return b.String()
}
