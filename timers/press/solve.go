package press

import (
	"math/bits"
	"slices"
	"time"
)

// most flasks a bench may hold for each question to be solved with every order of steps open.
const mostWhole = 3

// noStep is none.
var noStep = step{Nothing, -1}

// wait is the answer of a table where the hands do best to begin nothing yet.
const wait = int8(-1)

// width says how much of what could be done is tried. Two flasks under way keep one press and one pair of hands busy, so
// that little is lost where more are not begun before one is finished or past helping.
type width struct {
	under int // flasks under way at once beyond which no further one is begun; 0 for any number
	begin int // flasks not begun of which one may be the next, first by Moore and Hodgson
}

// widths are tried on benches of more than mostWhole flasks, one after the other while there is room; the last that is
// solved counts.
var (
	widths     = []width{{2, 1}, {2, 2}, {3, 2}}
	widthsFour = []width{{3, 1}, {3, 2}} // for four flasks: where these are too much the look-ahead loses fewer than {2, 2}
)

// widerShare is the part of the work, 1/widerShare, above which no wider table is tried.
const widerShare = 4

// moreForFour is how much more work four flasks may be: their states take less time each.
const moreForFour = 1.5

// solved is the bench as it stands solved, nil where that would be too much work.
func (p *plan) solved(w *world, work int) *table {
	live := p.live(w)
	if work = workFor(work, live); work <= 0 {
		return nil
	}
	size := len(w.cells) + 1
	if live <= mostWhole {
		t := newTable(p, work/size, width{})
		t.solve(w, 0)
		if t.full {
			return nil
		}
		return t
	}
	var best *table
	list := widths
	if live == mostWhole+1 {
		list, work = widthsFour, int(moreForFour*float64(work))
	}
	room := work
	for _, wide := range list {
		if (room-work)*widerShare > room {
			break // the next would hardly be solved in what is left
		}
		t := newTable(p, work/size, wide)
		t.solve(w, 0)
		work -= len(t.worth) * size
		if t.full {
			break
		}
		best = t
	}
	return best
}

// live is how many flasks can still be in time.
func (p *plan) live(w *world) int {
	n := 0
	for i := range p.cum {
		if w.cells[i].stage < Closing && !p.lost(w, i) {
			n++
		}
	}
	return n
}

// worth of a state: what is to be expected from there on.
type worth struct {
	score  float64 // flasks in time, and a little for minutes to spare
	flasks float64 // flasks in time
}

func (a *worth) add(p float64, b worth) {
	a.score += p * b.score
	a.flasks += p * b.flasks
}

// table is the bench solved: for each state that can be reached, by what has been seen, the best step and its worth
// (dynamic programming, R. Bellman 1957). It holds as long as the bench goes on as the plan says; it serves one
// goroutine.
type table struct {
	*plan
	most  int     // states it may hold
	first step    // the step to be weighed where the hands are next free, noStep for the best one
	full  bool    // it would have wanted more: what it says is of no account
	width         // what is left out
	class []int8  // by flask: the first flask that is the same in dough and chances
	slots []int32 // by hash: state + 1, 0 for free
	keys  []uint64
	worth []worth
	verb  []Verb
	cell  []int8 // place in the state's order of the flask the step is for, or wait

	rooms []*world // by depth
	key   []uint64
	order []int8 // flasks in the order of the state
	list  []step
}

// newTable wants the plan with its dues as they stand when it is solved.
func newTable(p *plan, most int, wide width) *table {
	n := len(p.cum)
	t := &table{plan: p, most: most, width: wide, first: noStep, class: make([]int8, n), slots: make([]int32, 1<<12)}
	for i := range n {
		t.class[i] = int8(i)
		for j := range i {
			if p.due[i] == p.due[j] && slices.Equal(p.cum[i], p.cum[j]) {
				t.class[i] = int8(j)
				break
			}
		}
	}
	return t
}

// code says all that matters of flask i for what is yet to come, 0 when nothing does.
func (t *table) code(w *world, i int) uint64 {
	c := &w.cells[i]
	if c.stage == finished || c.stage == gone {
		return 0
	}
	at := uint64(max(0, c.at-w.now)) // at most 2^48
	code := at<<16 | uint64(c.stage+1)<<8
	if c.stage == Closing || c.stage == mixing {
		return code
	}
	if t.lost(w, i) {
		switch c.stage {
		case Waiting, Untrimmed:
			return 0
		case Holding:
			return uint64(c.stage+1)<<8 | 0xff
		}
		return code | 0xff
	}
	if c.stage == Untrimmed {
		code = uint64(c.stage+1) << 8
	}
	if c.need == 0 {
		return code | 0x80
	}
	return code | uint64(c.made)
}

// encode sets t.key and t.order, and gives the flasks still in play and whether others have the press or the hands.
func (t *table) encode(w *world) (live uint32, others bool) {
	t.key, t.order = append(t.key[:0], uint64(w.now)), t.order[:0]
	for i := range w.cells {
		c := t.code(w, i)
		t.key, t.order = append(t.key, c), append(t.order, int8(i))
		switch {
		case c == 0:
		case c&0xff != 0xff && w.cells[i].stage < Closing:
			live |= 1 << i
		default:
			others = true
		}
		if i >= len(t.class) {
			continue
		}
		// Flasks that are the same stand by their codes, so that it does not matter which of them is which.
		for k := i; ; {
			j := k - 1
			for j >= 0 && t.class[t.order[j]] != t.class[i] {
				j--
			}
			if j < 0 || t.key[1+j] <= t.key[1+k] {
				break
			}
			t.key[1+j], t.key[1+k] = t.key[1+k], t.key[1+j]
			t.order[j], t.order[k] = t.order[k], t.order[j]
			k = j
		}
	}
	return live, others
}

func (t *table) hash() uint64 {
	h := uint64(0x9e3779b97f4a7c15)
	for _, k := range t.key {
		hi, lo := bits.Mul64(h^k, 0xd6e8feb86659fd93)
		h = hi ^ lo
	}
	return h
}

// find gives the state of t.key, and its slot where there is none yet.
func (t *table) find() (state, slot int) {
	mask := uint64(len(t.slots) - 1)
	n := len(t.key)
	for s := t.hash() & mask; ; s = (s + 1) & mask {
		k := int(t.slots[s]) - 1
		if k < 0 {
			return -1, int(s)
		}
		if slices.Equal(t.keys[k*n:(k+1)*n], t.key) {
			return k, int(s)
		}
	}
}

func (t *table) add(slot int) int {
	k := len(t.worth)
	t.slots[slot] = int32(k + 1)
	t.keys = append(t.keys, t.key...)
	t.worth, t.verb, t.cell = append(t.worth, worth{}), append(t.verb, Nothing), append(t.cell, wait)
	if 2*len(t.worth) > len(t.slots) {
		t.slots = make([]int32, 2*len(t.slots))
		held := t.key
		n := len(held)
		for j := range t.worth {
			t.key = t.keys[j*n : (j+1)*n]
			_, s := t.find()
			t.slots[s] = int32(j + 1)
		}
		t.key = held
	}
	return k
}

// room is a world to work in, one for each depth.
func (t *table) room(depth int) *world {
	for len(t.rooms) <= depth {
		t.rooms = append(t.rooms, &world{})
	}
	return t.rooms[depth]
}

// solve gives the worth of w, whose flasks want 0 closures (known to be ready) or 1 (not known).
func (t *table) solve(w *world, depth int) worth {
	if t.full {
		return worth{}
	}
	if w.hands <= 0 {
		return t.onward(w, depth)
	}
	if s := t.first; s != noStep {
		t.first = noStep
		got := t.try(w, s, depth)
		t.first = s
		return got
	}
	live, others := t.encode(w)
	if live == 0 {
		return worth{}
	}
	if t.single(w, live, others) {
		return t.alone(w, bits.TrailingZeros32(live))
	}
	state, slot := t.find()
	if state >= 0 {
		return t.worth[state]
	}
	if len(t.worth) >= t.most {
		t.full = true
		return worth{}
	}
	state = t.add(slot)
	var steps [MaxJobs]step
	list := t.open(w, steps[:0])
	best, verb, job := worth{score: -1}, Nothing, wait
	for _, s := range list {
		if got := t.try(w, s, depth); got.score > best.score+1e-12 {
			best, verb, job = got, s.verb, s.job
		}
	}
	if len(list) == 0 || t.pending(w) {
		if got := t.onward(w, depth); got.score > best.score+1e-12 {
			best, verb, job = got, Nothing, wait
		}
	}
	if job != wait {
		t.encode(w)
		job = int8(slices.Index(t.order, job))
	}
	t.worth[state], t.verb[state], t.cell[state] = best, verb, job
	return best
}

// pending says whether another pair of hands will be free later.
func (t *table) pending(w *world) bool {
	if t.bench.Hands == 1 {
		return false // nothing goes on that could tell more
	}
	return slices.ContainsFunc(w.cells, func(c cell) bool {
		return c.stage == Rising || c.stage == Opening || c.stage == Trimming || c.stage == Closing || c.stage == mixing
	})
}

// single says whether one flask alone is left, with nothing to choose.
func (t *table) single(w *world, live uint32, others bool) bool {
	if live&(live-1) != 0 || others {
		return false
	}
	s := w.cells[bits.TrailingZeros32(live)].stage
	return s == Holding || (s == Waiting || s == Untrimmed) && w.presses > 0
}

// alone is the worth of a flask that has the bench to itself, free hands and a free press but for it.
func (t *table) alone(w *world, i int) (got worth) {
	c, round, done := &w.cells[i], t.d.Raise+t.d.Hold+t.d.Open, t.d.Final
	at := max(w.now, c.at)
	switch c.stage {
	case Untrimmed:
		at = w.now + t.d.Trim
	case Holding:
		if at += t.d.Open; c.need == 0 {
			at += t.d.Trim
		} else {
			at -= round
		}
	}
	left := 1.0
	for made := c.made; c.need > 0; made++ {
		at += round
		if at+t.d.Trim+done > t.due[i] {
			return got
		}
		ready := hazard(t.cum[i], made)
		got.add(left*ready, worth{t.spare(i, at+t.d.Trim+done), 1})
		if left *= 1 - ready; left <= 0 {
			return got
		}
		at += t.d.Trim
	}
	if at+done <= t.due[i] {
		got.add(1, worth{t.spare(i, at+done), 1})
	}
	return got
}

// try is the worth of w if s is begun now.
func (t *table) try(w *world, s step, depth int) worth {
	r := t.room(depth)
	r.set(w)
	if s.verb == Trim && t.onIn(w) {
		t.start(r, s)
		t.advance(r)
		s = t.in(r, s.job)
	}
	var got worth
	if s.verb == Close {
		got = worth{score: t.spare(int(s.job), t.begins(r, s)+t.d.Final), flasks: 1}
	}
	t.start(r, s)
	got.add(1, t.solve(r, depth+1))
	return got
}

// in is the step that puts flask i in the press.
func (t *table) in(w *world, i int8) step {
	if w.cells[i].need == 0 {
		return step{Close, i}
	}
	return step{Press, i}
}

// spare is the score of flask i when its final closure is over at a time inside its dough.
func (p *plan) spare(i int, at time.Duration) float64 {
	left := float64(p.due[i] - at)
	return 1 + spareWorth*left/(left+float64(spareHalf))
}

// onward goes on to the next instant at which something is over, without beginning anything.
func (t *table) onward(w *world, depth int) worth {
	next := t.next(w)
	if next == never {
		return worth{}
	}
	return t.reveal(w, 0, max(next, w.now), depth)
}

// reveal branches on what the closures judged by then show, from flask i on.
func (t *table) reveal(w *world, i int, then time.Duration, depth int) worth {
	for ; i < len(t.cum); i++ {
		c := &w.cells[i]
		if c.stage != Opening || c.at > then || c.need == 0 || t.lost(w, i) {
			continue
		}
		ready := hazard(t.cum[i], c.made)
		var got worth
		for _, b := range [...]struct {
			p    float64
			need int8
		}{{ready, 1}, {1 - ready, 2}} {
			if b.p <= 0 {
				continue
			}
			r := t.room(depth)
			r.set(w)
			r.cells[i].need = b.need
			got.add(b.p, t.reveal(r, i+1, then, depth+1))
		}
		return got
	}
	r := t.room(depth)
	r.set(w)
	for k := range r.cells {
		if c := &r.cells[k]; c.stage == Opening && c.at <= then && c.need == 1 && t.lost(w, k) {
			c.need = 2 // nobody cares what it showed
		}
	}
	r.now = then
	t.settle(r)
	return t.solve(r, depth+1)
}

// hazard is the chance that the closure judged next says ready, after made that did not.
func hazard(cum []float64, made int8) float64 {
	if int(made) >= len(cum)-1 {
		return 1
	}
	before := 0.0
	if made > 0 {
		before = cum[made-1]
	}
	return (cum[made] - before) / (1 - before)
}

// open lists the steps worth trying.
//
// With one press and one pair of hands some can be left out without loss, for what is done first could as well be done
// after and nothing would be later: a trim before opening what was held long enough; a trim, with the press empty, of
// a flask that does not go in next (see onIn).
func (t *table) open(w *world, list []step) []step {
	list = t.steps(w, list)
	if t.favour != noFavour {
		for _, s := range list {
			if s.job == t.favour && t.begins(w, s) <= w.now {
				return append(list[:0], s)
			}
		}
	}
	if t.under > 0 {
		list = t.narrow(w, list)
	}
	if t.bench.Presses == 1 && t.bench.Hands == 1 {
		for _, s := range list {
			if s.verb == Open && t.begins(w, s) <= w.now {
				return append(list[:0], s)
			}
		}
	}
	return list
}

// onIn says whether a flask that is trimmed now goes in the press at once. It does not while another may not go in yet.
func (t *table) onIn(w *world) bool {
	if t.bench.Presses != 1 || t.bench.Hands != 1 || w.presses <= 0 {
		return false
	}
	for i := range t.cum {
		if c := &w.cells[i]; c.stage == Waiting && c.at > w.now && !t.lost(w, i) {
			return false
		}
	}
	return true
}

// narrow leaves out what the width does.
func (t *table) narrow(w *world, list []step) []step {
	under := 0
	for i := range t.cum {
		if w.cells[i].stage < Closing && !t.lost(w, i) && !t.fresh(w, i) {
			under++
		}
	}
	begins := func(s step) bool { return s.verb == Press && t.fresh(w, int(s.job)) }
	if under >= t.under {
		return slices.DeleteFunc(list, begins)
	}
	var ranks uint32
	t.mooreRank(w)
	for _, s := range list {
		if begins(s) {
			ranks |= 1 << t.rank[s.job]
		}
	}
	for range t.begin {
		ranks &= ranks - 1
	}
	return slices.DeleteFunc(list, func(s step) bool { return begins(s) && ranks&(1<<t.rank[s.job]) != 0 })
}

// fresh says whether nothing was done to flask i since the bench was looked at.
func (t *table) fresh(w *world, i int) bool {
	c := &w.cells[i]
	return c.stage == Waiting && c.made == 0 && c.need > 0
}

// advised is the step for the state w is in; false where nothing is to be begun, or the state is not in the table.
func (t *table) advised(w *world) (s step, ok, known bool) {
	live, others := t.encode(w)
	if live == 0 {
		return step{}, false, true
	}
	if live&(live-1) == 0 && !others {
		if t.list = t.steps(w, t.list[:0]); len(t.list) == 0 {
			return step{}, false, true
		}
		return t.list[0], true, true
	}
	state, _ := t.find()
	if state < 0 {
		return step{}, false, false
	}
	if t.cell[state] == wait {
		return step{}, false, true
	}
	return step{t.verb[state], t.order[t.cell[state]]}, true, true
}

// playOn plays a dealt shift to its end by the table.
func (t *table) playOn(w *world) {
	for {
		for w.hands > 0 {
			s, ok, known := t.advised(w)
			if !known {
				s, ok = t.choose(w, mooreRule)
			}
			if !ok {
				break
			}
			if s.verb == Trim && t.onIn(w) {
				t.start(w, s)
				t.advance(w)
				s = t.in(w, s.job)
			}
			t.start(w, s)
		}
		if !t.advance(w) {
			return
		}
	}
}

// weigh gives the worth of w if s is what the hands begin when they are next free.
func (t *table) weigh(w *world, s step) worth {
	t.first = s
	defer func() { t.first = noStep }()
	return t.solve(w, 0)
}
