package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"
)

// engine is a house made ready to be played.
type engine struct {
	Lab
	mean  [sizes][MaxClosures + 1]float64 // trial closures still expected, by size and closures made
	pairs []pairs                         // by resin; the first of those without a dough of their own
	wish  Wish

	advice *adviceBook
}

// pairs are the chances that two of a mix are both in time, by their sizes.
type pairs [sizes][sizes]float64

// pair is the chance that two flasks of a resin are both in time.
func (e *engine) pair(resin int, a, b Size) float64 {
	if resin < 0 || resin >= len(e.Doughs) {
		return e.pairs[0][a][b]
	}
	return e.pairs[resin+1][a][b]
}

// newEngine wants a house that Check has passed.
func newEngine(h *Lab) *engine {
	e := &engine{Lab: *h, advice: &adviceBook{}}
	for s := range e.mean {
		for d := range e.mean[s] {
			e.mean[s][d] = stillExpected(&h.Closures[s], d)
		}
	}
	return e
}

// playable is a house made ready for whole days.
func playable(h *Lab) *engine {
	e := newEngine(h)
	for resin := -1; resin < len(h.Doughs); resin++ {
		var p pairs
		for a := Small; a <= Large; a++ {
			for b := Small; b <= Large; b++ {
				p[a][b] = e.fits([]Size{a, b}, resin)
			}
		}
		e.pairs = append(e.pairs, p)
	}
	return e
}

// fits is the chance that all flasks of a mix are in time, in the dough as expected; a minute goes to the start.
func (e *engine) fits(flasks []Size, resin int) float64 {
	if len(flasks) > 4 {
		return 0
	}
	return e.order().mixChance(flasks, max(0, e.doughOf(resin).WindowMin()-1)).All
}

// stillExpected is how many trial closures are expected beyond those made, by a flask that wants more.
func stillExpected(pmf *[MaxClosures + 1]float64, made int) float64 {
	q, sum := 0., 0.
	for k := made + 1; k <= MaxClosures; k++ {
		q += pmf[k]
		sum += float64(k-made) * pmf[k]
	}
	if q <= 1e-9 {
		return 1
	}
	return sum / q
}

// pressMin is how long one trial closure keeps what there is least of: the hands where there is one pair, with the part
// of a hold in which they find nothing else (house default), else the presses.
func (e *engine) pressMin() float64 {
	if e.Hands == 1 {
		return (e.RaiseMin + e.OpenMin + e.TrimMin + .3*e.HoldMin) / float64(e.Presses)
	}
	return (e.RaiseMin + e.HoldMin + e.OpenMin) / float64(e.Presses)
}

// work is the press work expected on a flask with so many closures made, its final closure with it.
func (e *engine) work(s Size, made int, wants bool) float64 {
	return e.workOf(e.mean[s][min(made, MaxClosures)], wants)
}

// workOf is the same where so many closures are still expected.
func (e *engine) workOf(closures float64, wants bool) float64 {
	w := e.FinalMin / float64(e.Presses)
	if wants {
		w = closures*e.pressMin() + w
	}
	return w
}

// item is a flask as the order at the press sees it.
type item struct {
	id        int
	end, work float64
}

// ranks puts flasks in their order at the press: those that fit by the end of their dough, earliest end first, then those
// given up, shortest first (Moore 1968, as Moore and Hodgson's rule in package press). It works in place.
type ranks struct {
	items, kept, late []item
	rank              []int // by flask; -1 for one that is not in
}

func (r *ranks) order(n int, now float64) {
	slices.SortFunc(r.items, func(a, b item) int {
		return cmp.Or(cmp.Compare(a.end, b.end), cmp.Compare(a.work, b.work), cmp.Compare(a.id, b.id))
	})
	r.kept, r.late = r.kept[:0], r.late[:0]
	x := now
	for _, it := range r.items {
		r.kept = append(r.kept, it)
		x += it.work
		if x <= it.end {
			continue
		}
		longest := 0
		for k := range r.kept {
			if r.kept[k].work > r.kept[longest].work {
				longest = k
			}
		}
		x -= r.kept[longest].work
		r.late = append(r.late, r.kept[longest])
		r.kept = append(r.kept[:longest], r.kept[longest+1:]...)
	}
	slices.SortStableFunc(r.late, func(a, b item) int { return cmp.Compare(a.work, b.work) })
	r.rank = slices.Grow(r.rank[:0], n)[:n]
	for i := range r.rank {
		r.rank[i] = -1
	}
	for k, it := range r.kept {
		r.rank[it.id] = k
	}
	for k, it := range r.late {
		r.rank[it.id] = len(r.kept) + k
	}
}

// Chance is what comes of one mix.
type Chance struct {
	All  float64 // chance that every flask has its final closure inside the dough
	Lost float64 // flasks expected not to
}

// told apart of the closures of each flask, by the flasks of the mix; those beyond are counted as many.
var toldApart = [MaxMix + 1]int{0, 15, 12, 9, 7, 6}

// many stands for all closures not told apart.
const many = 13

// chanceKey is all that a chance depends on.
type chanceKey struct {
	sizes                                         [MaxMix]int8
	windowMin                                     float64
	hands, presses                                int
	raiseMin, holdMin, openMin, trimMin, finalMin float64
	closures                                      Closures
	simple                                        bool
}

var (
	chances     = map[chanceKey]Chance{}
	chancesLock sync.Mutex
)

// mostChances bounds what is remembered.
const mostChances = 4096

// MixChance is the chance that all flasks of one mix have their final closure between dough reached and dough's end,
// windowMin minutes apart: two flasks and one pair of hands by the advice of the bench, all others, and a house that is Simple, in Moore and Hodgson's order. It is counted out over the closures each may take, not drawn.
// Closures beyond 15, 12, 9, 7, 6 for one to five flasks are put in one class and counted as 13. The answer is
// remembered. Of the house only hands, presses, press work and closures are read. It fails for no flask or more than
// MaxMix, and for what is no house.
func MixChance(flasks []Size, windowMin float64, h Lab, hands, presses int) (Chance, error) {
	if len(flasks) < 1 || len(flasks) > MaxMix {
		return Chance{}, fmt.Errorf("a mix for %d flasks: its chance is counted out for 1 to %d", len(flasks), MaxMix)
	}
	if !(windowMin >= 0 && windowMin <= 2*Day) {
		return Chance{}, fmt.Errorf("%v min from dough to its end: want 0 to %g", windowMin, 2*Day)
	}
	h.Hands, h.Presses = hands, presses
	for _, s := range flasks {
		if s > Large {
			return Chance{}, fmt.Errorf("size %d is none of small, medium and large", s)
		}
	}
	if err := h.Check(); err != nil {
		return Chance{}, err
	}
	return newEngine(&h).mixChance(flasks, windowMin), nil
}

// order gives the engine that plays by the simple order alone: what plans are made by asks hundreds of chances.
func (e *engine) order() *engine {
	s := *e
	s.Simple = true
	return &s
}

func (e *engine) mixChance(flasks []Size, windowMin float64) Chance {
	sorted := slices.Sorted(slices.Values(flasks))
	k := chanceKey{windowMin: windowMin, hands: e.Hands, presses: e.Presses,
		raiseMin: e.RaiseMin, holdMin: e.HoldMin, openMin: e.OpenMin, trimMin: e.TrimMin, finalMin: e.FinalMin, closures: e.Closures, simple: e.Simple}
	for i := range k.sizes {
		if k.sizes[i] = -1; i < len(sorted) {
			k.sizes[i] = int8(sorted[i])
		}
	}
	chancesLock.Lock()
	c, known := chances[k]
	chancesLock.Unlock()
	if known {
		return c
	}
	c = e.countOut(sorted, windowMin)
	chancesLock.Lock()
	defer chancesLock.Unlock()
	if len(chances) >= mostChances {
		clear(chances)
	}
	chances[k] = c
	return c
}

// least chance of a set of closures that is played.
const leastChance = 1e-7

// countOut plays every set of closures that the flasks may take.
func (e *engine) countOut(flasks []Size, windowMin float64) Chance {
	n, most := len(flasks), toldApart[len(flasks)]
	var beyond [sizes]float64
	for s := range beyond {
		for k := most; k <= MaxClosures; k++ {
			beyond[s] += e.Closures[s][k]
		}
	}
	w := newWindow(e, flasks)
	w.solve(windowMin)
	ks, needs := make([]int, n), make([]int, n)
	for i := range ks {
		ks[i] = 1
	}
	total, all, lost := 0., 0., 0.
	for {
		p := 1.
		for i, k := range ks {
			needs[i] = k
			if k < most {
				p *= e.Closures[flasks[i]][k]
			} else {
				needs[i] = many
				p *= beyond[flasks[i]]
			}
		}
		if p >= leastChance {
			ok := w.play(needs, windowMin)
			total += p
			lost += p * float64(n-ok)
			if ok == n {
				all += p
			}
		}
		i := n - 1
		for ; i >= 0; i-- {
			if ks[i]++; ks[i] <= most {
				break
			}
			ks[i] = 1
		}
		if i < 0 {
			break
		}
	}
	if total == 0 {
		return Chance{Lost: float64(n)}
	}
	return Chance{All: all / total, Lost: lost / total}
}

// window is one mix between dough and its end, played with closures given.
type window struct {
	e      *engine
	flasks []Size
	stage  []stage
	at     []float64 // from when a flask can be worked on
	made   []int
	press  []pressed
	hands  []float64
	ranks  ranks
	adv    windowAdvice
}

// pressed is what a press holds.
type pressed struct {
	busy  bool
	flask int
	until float64
	final bool
}

func newWindow(e *engine, flasks []Size) *window {
	n := len(flasks)
	return &window{e: e, flasks: flasks, stage: make([]stage, n), at: make([]float64, n), made: make([]int, n),
		press: make([]pressed, e.Presses), hands: make([]float64, e.Hands)}
}

// play gives how many flasks are closed within the window.
func (w *window) play(needs []int, window float64) int {
	for i := range w.stage {
		w.stage[i], w.at[i], w.made[i] = dough, 0, 0
	}
	clear(w.press)
	clear(w.hands)
	w.adv.on, w.adv.onward = w.adv.reader != nil, -1
	closed := 0
	for t := 0.; t < window && slices.ContainsFunc(w.stage, stage.live); {
		if h := slices.IndexFunc(w.hands, func(x float64) bool { return x <= t }); h >= 0 {
			if done, busy := w.begin(h, t, needs, window); busy {
				closed += done
				continue
			}
		}
		next := math.Inf(1)
		later := func(x float64) {
			if x > t && x < next {
				next = x
			}
		}
		for _, x := range w.hands {
			later(x)
		}
		for _, p := range w.press {
			if p.busy {
				later(p.until)
			}
		}
		for _, x := range w.at {
			later(x)
		}
		t = next // with nothing left to wait for the window is over
	}
	return closed
}

// begin gives a free pair of hands its next work, if there is any, and how many flasks it closes in time.
func (w *window) begin(h int, t float64, needs []int, window float64) (closed int, busy bool) {
	e, idle, open := w.e, -1, -1
	for p := range w.press {
		x := &w.press[p]
		if x.busy && x.until <= t {
			if x.final {
				x.busy = false
			} else if open < 0 {
				open = p
			}
		}
		if !x.busy && idle < 0 {
			idle = p
		}
	}
	switch a, known := w.advised(t, needs, idle); {
	case !known:
	case a.do == nothing:
		return 0, false
	case a.do == doOpen:
		open = a.press
	case a.do == doTrim:
		w.trim(h, a.of, t)
		return 0, true
	default:
		return w.lay(h, a.of, idle, t, needs, window), true
	}
	if open >= 0 {
		i := w.press[open].flask
		w.press[open] = pressed{}
		w.hands[h], w.at[i] = t+e.OpenMin, t+e.OpenMin
		w.stage[i] = untrimmed
		w.made[i]++
		return 0, true
	}
	press, trim := w.next(t, needs, window)
	switch {
	case press >= 0 && idle >= 0:
		return w.lay(h, press, idle, t, needs, window), true
	case trim >= 0:
		w.trim(h, trim, t)
		return 0, true
	}
	return 0, false
}

func (w *window) trim(h, i int, t float64) {
	w.stage[i], w.hands[h], w.at[i] = dough, t+w.e.TrimMin, t+w.e.TrimMin
}

// lay lays a flask into a press, for a trial closure or for good, and tells whether that closes it in time.
func (w *window) lay(h, i, idle int, t float64, needs []int, window float64) (closed int) {
	e := w.e
	if w.made[i] < needs[i] {
		w.stage[i], w.hands[h] = inPress, t+e.RaiseMin
		w.press[idle] = pressed{true, i, t + e.RaiseMin + e.HoldMin, false}
		return 0
	}
	w.stage[i], w.hands[h] = set, t+e.FinalMin
	w.press[idle] = pressed{true, i, t + e.FinalMin, true}
	if t+e.FinalMin <= window+1e-9 {
		return 1
	}
	return 0
}

// next is the flask that waits for the press and the one that wants trimming which come first by rank; -1 for none.
func (w *window) next(t float64, needs []int, window float64) (press, trim int) {
	w.ranks.items = w.ranks.items[:0]
	for i, s := range w.stage {
		if s.live() {
			w.ranks.items = append(w.ranks.items, item{i, window, w.e.work(w.flasks[i], w.made[i], w.made[i] < needs[i])})
		}
	}
	w.ranks.order(len(w.stage), t)
	press, trim = -1, -1
	for i, s := range w.stage {
		if w.at[i] > t {
			continue
		}
		if s == dough && (press < 0 || w.ranks.rank[i] < w.ranks.rank[press]) {
			press = i
		}
		if s == untrimmed && (trim < 0 || w.ranks.rank[i] < w.ranks.rank[trim]) {
			trim = i
		}
	}
	return press, trim
}
