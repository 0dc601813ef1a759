package plan

import (
	"cmp"
	"math"
	"slices"
	"sync"
	"time"

	"flaskside/timers/press"
)

// The press is played by the advice of the bench where that can be worked out beforehand: for two or three flasks that
// come to it together, untouched, and for those at work as the day begins. All else, a flask alone, more than three, a dough
// that comes while another is worked, hands that were called away, is played by Moore and Hodgson's rule.

const (
	advisedMost = 3     // flasks at once
	statesTwo   = 20000 // of a bench of two, at most
	statesThree = 8000  // of three: the advice for more would take longer than all the days
)

// roomy is the part of the dough's time that the work expected may take for any order to do: two medium flasks in 36 min are
// in time with 98 % by the simple rule, too.
const roomy = .65

// Dues are solved for in steps, never later than they are.
var dueStep = [advisedMost + 1]float64{0, 0, .5, 1}

// pressKey is one flask of a bench to be solved.
type pressKey struct {
	of    int16 // size, or -1 and below for a case at work with chances of its own
	stage press.Progress
	ready bool
	due   int32 // steps
	at    int32 // milliseconds
}

type benchKey struct {
	n      int
	flasks [advisedMost]pressKey
}

// adviceBook keeps what was solved, for all players of a house. What is solved does not depend on who asks first.
type adviceBook struct {
	mu     sync.Mutex
	solved map[benchKey]*adviceEntry
}

type adviceEntry struct {
	once sync.Once
	*press.Solved
}

func (a *adviceBook) entry(k benchKey) *adviceEntry {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.solved == nil {
		a.solved = map[benchKey]*adviceEntry{}
	}
	e := a.solved[k]
	if e == nil {
		e = &adviceEntry{}
		a.solved[k] = e
	}
	return e
}

// advised is the bench that a player is at, from when its flasks came to the press.
type advised struct {
	read   map[benchKey]*press.Lookup // nil for one that is too much
	reader *press.Lookup
	from   float64
	work   []int // flasks whose dough is reached
	list   []int // those that were solved for, their order
	made   []int // closures judged of each by then
	now    []press.Position
	tried  float64 // when a bench was looked for last
	onward int     // the flask that goes into the press next; -1 for none
}

func (a *advised) clear() { a.reader, a.tried, a.onward = nil, math.Inf(-1), -1 }

func ms(min float64) time.Duration { return time.Duration(math.Round(min*60e3)) * time.Millisecond }

// distribution tells which chances of closures a flask has.
func (p *player) distribution(i int) int16 {
	if p.cases[i].Begun != nil && p.packed[i] == 0 && p.cases[i].live() {
		return int16(-1 - i)
	}
	return int16(p.cases[i].Size)
}

// advise finds the advice of the bench for the live flasks; false where the simple rule plays on.
func (p *player) advise() (act, bool) {
	a := &p.adv
	if p.Simple || p.Hands > 1 {
		return act{}, false
	}
	if i := a.onward; i >= 0 {
		a.onward = -1
		if idle := p.idlePress(); idle >= 0 && p.stage[i] == dough && p.at[i] <= p.t && a.reader != nil {
			return act{do: doPress, of: i, press: idle}, true
		}
		a.reader = nil
	}
	a.work = a.work[:0]
	for _, i := range p.live {
		if p.dough[i] <= p.t {
			a.work = append(a.work, i)
		}
	}
	if a.reader == nil && !p.solveBench() {
		return act{}, false
	}
	if !p.sameBench() {
		a.reader = nil
		return act{}, false
	}
	return p.lookUp()
}

func (p *player) idlePress() int {
	return slices.IndexFunc(p.press, func(x pressed) bool { return !x.busy })
}

// sameBench tells whether no dough came since.
func (p *player) sameBench() bool {
	for _, i := range p.adv.work {
		if !slices.Contains(p.adv.list, i) {
			return false
		}
	}
	return true
}

// solveBench looks for a bench that can be solved: at the beginning of the day as it stands, else where two or three
// flasks come to the press together.
func (p *player) solveBench() bool {
	a, n := &p.adv, len(p.adv.work)
	if n < 2 || n > advisedMost || a.tried == p.t {
		return false
	}
	a.tried = p.t
	for _, x := range p.hands {
		if x > p.t {
			return false
		}
	}
	begins := p.t == p.start()
	for _, x := range p.press {
		if x.busy && (!begins || x.final) {
			return false
		}
	}
	a.list = append(a.list[:0], a.work...)
	var k benchKey
	k.n = n
	for _, i := range a.list {
		if !begins && (p.stage[i] != dough || p.made[i] > 0 || p.at[i] > p.t) {
			return false
		}
	}
	work, window := 0., math.Inf(1)
	for _, i := range a.list {
		work += p.workOn(i)
		window = min(window, p.end[i]-p.t)
	}
	if work < roomy*window {
		return false
	}
	slices.SortFunc(a.list, func(i, j int) int {
		return cmp.Or(cmp.Compare(p.distribution(i), p.distribution(j)), cmp.Compare(p.end[i], p.end[j]), cmp.Compare(i, j))
	})
	a.made = a.made[:0]
	for at, i := range a.list {
		f := pressKey{of: p.distribution(i), due: int32(math.Floor((p.end[i] - p.t) / dueStep[n])), ready: !p.wants(i) && p.known(i), stage: press.Waiting}
		switch {
		case p.stage[i] == inPress:
			f.stage, f.at = press.Holding, int32(ms(p.until(i)-p.t)/time.Millisecond)
		case p.stage[i] == untrimmed:
			f.stage = press.Untrimmed
		case p.at[i] > p.t:
			f.at = int32(ms(p.at[i]-p.t) / time.Millisecond)
		}
		k.flasks[at] = f
		a.made = append(a.made, p.made[i])
	}
	if a.read == nil {
		a.read = map[benchKey]*press.Lookup{}
	}
	r, was := a.read[k]
	if !was {
		e := p.advice.entry(k)
		e.once.Do(func() { e.Solved = p.solve(&k) })
		if e.Solved != nil {
			r = e.Reader()
		}
		a.read[k] = r
	}
	a.reader, a.from = r, p.t
	return r != nil
}

// known tells whether it is known what the last closure of a flask showed: whether it wants another is not, before one was
// made.
func (p *player) known(i int) bool {
	if b := p.cases[i].Begun; b != nil && p.packed[i] == 0 && p.cases[i].live() {
		return p.made[i] > b.Made || len(b.More) > 0 && b.More[0] > 0
	}
	return p.made[i] > 0
}

// until is when the hold of a flask in a press is over.
func (p *player) until(i int) float64 {
	for _, x := range p.press {
		if x.busy && x.flask == i {
			return x.until
		}
	}
	return p.t
}

// solve works a bench out; nil where it is too much.
func (p *player) solve(k *benchKey) *press.Solved {
	jobs := make([]press.Job, k.n)
	most := statesTwo
	if k.n > 2 {
		most = statesThree
	}
	for i := range jobs {
		f := &k.flasks[i]
		due := ms(float64(f.due) * dueStep[k.n])
		jobs[i] = press.Job{ID: string(rune('a' + i)), Progress: f.stage, Due: due, Ready: f.ready}
		if at := time.Duration(f.at) * time.Millisecond; f.stage == press.Holding {
			jobs[i].Until = at
		} else {
			jobs[i].From = at
		}
		jobs[i].More = p.further(f.of)
	}
	d := press.Durations{Raise: ms(p.RaiseMin), Hold: ms(p.HoldMin), Open: ms(p.OpenMin), Trim: ms(p.TrimMin), Final: ms(p.FinalMin)}
	s, err := press.Solve(jobs, d, press.Capacity{Presses: p.Presses, Hands: p.Hands}, most)
	if err != nil {
		return nil
	}
	return s
}

// further are the chances of one, two, … closures more of a flask that wants one at least.
func (p *player) further(of int16) []float64 {
	if of >= 0 {
		return p.Closures[of][1:]
	}
	more := p.cases[-1-of].Begun.More
	if len(more) < 2 || more[0] >= 1 {
		return []float64{1}
	}
	out := make([]float64, len(more)-1)
	for k := range out {
		out[k] = more[k+1] / (1 - more[0])
	}
	return out
}

// lookUp is the advice for the flasks as they stand.
func (p *player) lookUp() (act, bool) {
	a := &p.adv
	a.now = a.now[:0]
	for k, i := range a.list {
		s := press.Position{Stage: press.Waiting, At: ms(p.at[i] - a.from), Judged: p.made[i] - a.made[k], Ready: !p.wants(i) && p.known(i)}
		switch p.stage[i] {
		case dough:
		case untrimmed:
			s.Stage = press.Untrimmed
		case inPress:
			s.Stage, s.At = press.Holding, ms(p.until(i)-a.from)
			s.Ready = false // it is not opened yet
		case set:
			s.Stage, s.At = press.Closing, ms(p.at[i]-p.SetMin-a.from)
			s.Done = s.At <= ms(p.t-a.from)
		default:
			s.Done = true
		}
		a.now = append(a.now, s)
	}
	hands, idle := 0, 0
	for _, x := range p.hands {
		if x <= p.t {
			hands++
		}
	}
	for _, x := range p.press {
		if !x.busy {
			idle++
		}
	}
	verb, k, on, known := a.reader.Next(ms(p.t-a.from), a.now, hands, idle)
	if !known {
		return act{}, false
	}
	if verb == press.Nothing {
		return act{}, p.Hands > 1 // with one pair, what is past helping is worked on to its end
	}
	i := a.list[k]
	switch verb {
	case press.Open:
		for x := range p.press {
			if q := &p.press[x]; q.busy && !q.final && q.flask == i && q.until <= p.t {
				return act{do: doOpen, press: x}, true
			}
		}
		return act{}, true // the hands wait until it was held long enough
	case press.Trim:
		if p.at[i] > p.t || p.stage[i] != untrimmed {
			return act{}, false
		}
		if on {
			a.onward = i
		}
		return act{do: doTrim, of: i}, true
	}
	if at := p.idlePress(); at >= 0 && p.stage[i] == dough && p.at[i] <= p.t {
		return act{do: doPress, of: i, press: at}, true
	}
	return act{}, false
}
