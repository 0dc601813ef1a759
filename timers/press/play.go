package press

import "time"

// never is past every shift.
const never = time.Duration(1<<63 - 1)

// cell is one flask in one playing of the shift.
type cell struct {
	// at is when what is under way ends, the hold is long enough, a waiting flask may go in, or it was finished.
	at    time.Duration
	since time.Duration // Waiting: when it joined the queue for the press
	turn  time.Duration // when it first went into the press in this playing, never before that
	stage Progress
	need  int8 // trial closures it will turn out to want in this playing
	made  int8 // trial closures judged since the playing began
	spent bool // was taken out of the press as past helping, its hold cut short
}

// world is the bench at one instant of one playing.
type world struct {
	now     time.Duration
	hands   int // free pairs; below 0 when more is under way than the bench can do
	presses int // free presses, likewise
	cells   []cell
}

// set makes w a copy of o, keeping w's own room.
func (w *world) set(o *world) {
	room := w.cells[:0]
	*w = *o
	w.cells = append(room, o.cells...)
}

// plan holds what is the same in every playing of a shift, and room to work in; it serves one goroutine.
type plan struct {
	d        Durations
	bench    Capacity
	due      []time.Duration
	cum      [][]float64       // by flask: chance of at most 1, 2, ... closures
	mean     [][]time.Duration // by flask and closures judged: hand time of the closures still expected
	high     [][]time.Duration // the same at 80 % confidence
	shortest [Closing + 1][2]time.Duration
	byDue    []int8

	favour int8 // flask taken before all others by every rule, noFavour for none

	rank  []int8
	keys  []time.Duration // in the order of ranks
	keep  []int8
	late  []int8
	tasks []task
}

// holdShare is the part of a hold in which the hands find nothing else to do, for rules of thumb (house default).
const holdShare = 0.3

const noFavour = -1

// confidence at which the least-slack rule takes the closures still wanted.
const confidence = 0.8

// newPlan wants jobs that check has passed, and gives the bench as it stands.
func newPlan(jobs []Job, d Durations, b Capacity) (*plan, *world) {
	n := len(jobs)
	p := &plan{d: d, bench: b, favour: noFavour,
		due: make([]time.Duration, n), cum: make([][]float64, n),
		mean: make([][]time.Duration, n), high: make([][]time.Duration, n),
		rank: make([]int8, n), keys: make([]time.Duration, n), keep: make([]int8, 0, n), late: make([]int8, 0, n), tasks: make([]task, n),
	}
	done := d.Trim + d.Final
	p.shortest = [Closing + 1][2]time.Duration{
		Waiting:   {d.Raise + d.Hold + d.Open + done, d.Final},
		Rising:    {d.Hold + d.Open + done, d.Hold + d.Open + done},
		Holding:   {d.Open + done, d.Open + done},
		Opening:   {done, done},
		Untrimmed: {d.Trim + d.Raise + d.Hold + d.Open + done, done},
		Trimming:  {d.Raise + d.Hold + d.Open + done, d.Final},
	}
	w := &world{hands: b.Hands, presses: b.Presses, cells: make([]cell, n)}
	for i, j := range jobs {
		p.due[i] = j.Due
		w.cells[i] = cell{at: j.Until, stage: j.Progress, turn: never}
		switch j.Progress {
		case Waiting:
			w.cells[i].at = j.From
		case Untrimmed:
			w.cells[i].at = 0
		case Rising, Opening, Closing:
			w.hands--
			w.presses--
		case Holding:
			w.presses--
		case Trimming:
			w.hands--
		}
		if j.Ready || j.Progress == Closing {
			continue
		}
		w.cells[i].need = 1 // at least; the draws say how many
		p.cum[i], _ = cumulate(j.More)
		p.mean[i], p.high[i] = p.expect(p.cum[i])
	}
	dues := make([]task, n)
	for i, j := range jobs {
		dues[i].Due = j.Due
	}
	for _, i := range jackson(dues) {
		p.byDue = append(p.byDue, int8(i))
	}
	p.settle(w)
	return p, w
}

// expect gives the hand time of the closures still expected, and of as many as are enough at 80 % confidence, when 0,
// 1, ... have been judged and none of them was the last.
func (p *plan) expect(cum []float64) (mean, high []time.Duration) {
	each := float64(p.d.Raise+p.d.Open+p.d.Trim) + holdShare*float64(p.d.Hold)
	below := 0.0
	for m := range cum {
		left := 1 - below
		more, enough := 0.0, 0
		for k := m; k < len(cum) && left > 0; k++ {
			more += (1 - below) / left // chance that more than k-m are wanted
			if enough == 0 && cum[k] >= 1-left*(1-confidence) {
				enough = k - m + 1
			}
			below = cum[k]
		}
		below = cum[m]
		mean = append(mean, time.Duration(more*each))
		high = append(high, time.Duration(float64(enough)*each))
	}
	return mean, high
}

// draw gives the closures still wanted by a flask of which made were judged in vain, at the place u (0 to 1) of its
// distribution.
func draw(cum []float64, made int8, u float64) int8 {
	if made > 0 {
		u = cum[made-1] + u*(1-cum[made-1])
	}
	k := int(made)
	for k < len(cum)-1 && cum[k] <= u {
		k++
	}
	return int8(k+1) - made
}

// step is one thing the hands do to flask job.
type step struct {
	verb Verb
	job  int8
}

// lost says whether flask i can no longer be in time even if all goes well from here. Nobody goes on with it then.
func (p *plan) lost(w *world, i int) bool {
	c := &w.cells[i]
	if c.stage >= Closing {
		return false
	}
	ready := 0
	if c.need == 0 {
		ready = 1
	}
	return c.spent || max(w.now, c.at)+p.shortest[c.stage][ready] > p.due[i]
}

// inTime says whether flask i's final closure was over inside its dough.
func (p *plan) inTime(w *world, i int) bool {
	return w.cells[i].stage == finished && w.cells[i].at <= p.due[i]
}

// begins is when a free pair of hands can begin a step.
func (p *plan) begins(w *world, s step) time.Duration {
	if s.verb == Open && p.lost(w, int(s.job)) {
		return w.now // no need to hold it longer: the press is wanted
	}
	return max(w.now, w.cells[s.job].at)
}

// start begins a step with a free pair of hands; where it cannot begin at once the hands wait with it.
func (p *plan) start(w *world, s step) {
	c, at := &w.cells[s.job], p.begins(w, s)
	if s.verb == Press || s.verb == Close {
		c.turn = min(c.turn, at)
	}
	switch s.verb {
	case Press:
		w.presses--
		c.stage, c.at = Rising, at+p.d.Raise
	case Open:
		c.spent = p.lost(w, int(s.job))
		c.stage, c.at = Opening, at+p.d.Open
	case Trim:
		c.stage, c.at = Trimming, at+p.d.Trim
	case Close:
		w.presses--
		c.stage, c.at = Closing, at+p.d.Final
	}
	w.hands--
}

// next is the next instant at which a free pair of hands may find something new, never at the shift's end.
func (p *plan) next(w *world) time.Duration {
	next := never
	for i := range w.cells {
		c := &w.cells[i]
		switch c.stage {
		case Rising, Opening, Trimming, Closing, mixing:
			next = min(next, c.at)
		case Holding, Waiting:
			if w.hands > 0 && c.at > w.now {
				next = min(next, c.at)
			}
		}
	}
	return next
}

// advance moves to the next instant at which a free pair of hands may find something new; false at the shift's end.
func (p *plan) advance(w *world) bool {
	next := p.next(w)
	if next == never {
		return false
	}
	w.now = max(w.now, next)
	p.settle(w)
	return true
}

// settle ends what is over by now.
func (p *plan) settle(w *world) {
	for i := range w.cells {
		c := &w.cells[i]
		if c.at > w.now {
			continue
		}
		switch c.stage {
		case Rising:
			c.stage = Holding
			c.at += p.d.Hold
			w.hands++
		case Opening:
			c.stage = Untrimmed
			if c.need > 0 {
				c.need--
				c.made++
			}
			w.hands++
			w.presses++
		case Trimming:
			c.stage, c.since = Waiting, c.at
			w.hands++
		case Closing:
			c.stage = finished
			w.hands++
			w.presses++
		case mixing:
			c.stage = gone
			w.hands++
		}
	}
}

// play plays the shift to its end by one rule. Each flask moves on with every step, so it ends.
func (p *plan) play(w *world, r rule) {
	for {
		for w.hands > 0 {
			s, ok := p.choose(w, r)
			if !ok {
				break
			}
			p.start(w, s)
		}
		if !p.advance(w) {
			return
		}
	}
}
