package plan

import (
	"math"
	"slices"
)

const (
	moment    = 1e-6 // minutes; what is later by this is later
	nearlyDry = 10   // minutes before its moulds are dry a mix may be begun (house default)
	aside     = 5    // minutes of work for which hands leave a dough that is not wanted sooner (house default)
	piece     = 15   // minutes that finishing goes on without looking up, where nothing waits (house default)
)

// do is what a pair of hands can do.
type do uint8

const (
	nothing do = iota
	doOpen
	doPress
	doTrim
	doOut
	doLoad
	doStray
	doMix
	doCoat
	doPrep
	doChunk
)

// act is one piece of work: of a case, a press, a bath, a load or a batch.
type act struct {
	do                    do
	of, press, bath, load int
	long                  bool
	flasks                []int
}

// may tells whether a pair of hands may take up work of d minutes: it leaves no dough that is wanted before that, unless
// another pair is there.
func (p *player) may(h int, d float64) bool {
	for k, x := range p.hands {
		if k != h && x <= p.t+1 {
			return true
		}
	}
	room := math.Inf(1)
	for _, i := range p.live {
		room = min(room, p.dough[i]-p.t)
	}
	return room >= d
}

// atPress is the work on live dough.
func (p *player) atPress() act {
	if len(p.live) == 0 {
		p.adv.reader = nil
		return act{}
	}
	if a, ok := p.advise(); ok {
		return a
	}
	idle := -1
	for k, x := range p.press {
		if x.busy && !x.final && x.until <= p.t {
			return act{do: doOpen, press: k}
		}
		if !x.busy && idle < 0 {
			idle = k
		}
	}
	can := false
	p.ranks.items = p.ranks.items[:0]
	for _, i := range p.live {
		can = can || p.stage[i] != inPress && p.at[i] <= p.t && p.t >= p.dough[i]
		if p.end[i] > p.t {
			p.ranks.items = append(p.ranks.items, item{i, p.end[i], p.workOn(i)})
		}
	}
	if !can {
		return act{}
	}
	p.ranks.order(len(p.cases), p.t)
	press, trim := p.firstByRank()
	switch {
	case press >= 0 && idle >= 0:
		return act{do: doPress, of: press, press: idle}
	case trim >= 0:
		return act{do: doTrim, of: trim}
	}
	return act{}
}

// firstByRank is the flask that waits for the press and the one that wants trimming which come first; -1 for none.
func (p *player) firstByRank() (press, trim int) {
	press, trim = -1, -1
	rank := func(i int) int {
		if r := p.ranks.rank[i]; r >= 0 {
			return r
		}
		return math.MaxInt
	}
	for _, i := range p.live {
		if p.at[i] > p.t || p.t < p.dough[i] {
			continue
		}
		if p.stage[i] == dough && (press < 0 || rank(i) < rank(press)) {
			press = i
		}
		if p.stage[i] == untrimmed && (trim < 0 || rank(i) < rank(trim)) {
			trim = i
		}
	}
	return press, trim
}

// lunch is taken at the first moment of the break without live dough.
func (p *player) lunch() bool {
	if p.LunchForMin == 0 || len(p.live) > 0 || p.tod < p.LunchMin || p.tod >= p.open.ClosesMin || p.lunched >= p.day {
		return false
	}
	for _, x := range p.hands {
		if x > p.t {
			return false
		}
	}
	p.lunched = p.day
	for h := range p.hands {
		p.hands[h] = p.t + p.LunchForMin
	}
	p.say(whatLunch, p.t+p.LunchForMin)
	return true
}

// atBath is a load to be taken out or put in.
func (p *player) atBath() act {
	over := p.tod >= p.open.ClosesMin
	for b := range p.baths {
		x := &p.baths[b]
		if x.busy {
			if x.end <= p.t && !over {
				return act{do: doOut, bath: b}
			}
			continue
		}
		if over && p.tod >= p.open.OvertimeMin {
			continue
		}
		if a := p.planned(b); a.do != nothing {
			return a
		}
		if a := p.strays(b, over); a.do != nothing {
			return a
		}
	}
	return act{}
}

// planned is the next load of the plan for a free bath, if it is time for it.
func (p *player) planned(b int) act {
	for j := range p.plan.Loads {
		l := &p.plan.Loads[j]
		if p.gone[j] || l.Bath != b || len(l.Cases) == 0 {
			continue
		}
		if p.missed(l) {
			p.gone[j] = true
			for _, i := range l.Cases {
				p.stray[i] = true
			}
			continue
		}
		in := p.room[:0]
		for _, i := range l.Cases {
			if p.stage[i] == ready {
				in = append(in, i)
			}
		}
		full := len(in) == len(l.Cases)
		if l.Long && full && p.t < l.LatestMin && p.straysComing() {
			full = false // room for those that come behind
		}
		if len(in) > 0 && (full || p.t >= l.LatestMin) {
			return act{do: doLoad, load: j, bath: b, long: l.Long, flasks: in}
		}
		return act{} // the loads of a bath go in their order
	}
	return act{}
}

// missed tells whether a load for a night missed it: nothing was set in time. In the morning its programme would keep the
// bath all day; what it was for is then loaded by when it is due.
func (p *player) missed(l *Load) bool {
	return l.Long && !p.Simple && p.ShortMin > 0 && p.t >= (math.Floor(l.LatestMin/Day)+1)*Day
}

// straysComing tells whether a flask without a load is under its clamp or on its way there.
func (p *player) straysComing() bool {
	for i, s := range p.stage {
		if p.stray[i] && (s.live() || s == set) {
			return true
		}
	}
	return false
}

// strays is a load of those that have none to wait for: overnight at the end of the day, or by day where one is due
// before an overnight load could be finished and the bath is not wanted before that.
func (p *player) strays(b int, over bool) act {
	in, soon := p.room[:0], false
	for i, s := range p.stage {
		if p.stray[i] && s == ready {
			in = append(in, i)
			soon = soon || p.cases[i].DueMin < float64(p.workday(p.day+1))*Day+p.Hours.OpensMin+120
		}
	}
	if len(in) == 0 {
		return act{}
	}
	closes, busy := float64(p.day)*Day+p.open.ClosesMin, false
	for j, l := range p.plan.Loads {
		if p.gone[j] || l.Bath != b || len(l.Cases) == 0 {
			continue
		}
		if over {
			busy = busy || l.LatestMin >= closes && l.LatestMin < float64(p.day)*Day+p.open.OvertimeMin+60
		} else {
			busy = busy || l.LatestMin < p.t+p.ShortMin+10
		}
	}
	switch {
	case busy:
	case over:
		return act{do: doStray, bath: b, flasks: in, long: true}
	case soon && p.ShortMin > 0 && p.tod+p.ShortMin+10 <= p.open.ClosesMin:
		return act{do: doStray, bath: b, flasks: in}
	}
	return act{}
}

// elsewhere is the work with the least slack of mixing, coating, finishing and cleaning.
func (p *player) elsewhere(h int) act {
	best, slack := act{}, math.Inf(1)
	offer := func(s float64, a act) {
		if s < slack || s == slack && best.do == doMix && a.do != doMix {
			best, slack = a, s
		}
	}
	over := p.tod >= p.open.ClosesMin
	if !over {
		if k, s := p.mixNow(h); k >= 0 {
			offer(s, act{do: doMix, of: k})
		}
		if p.may(h, p.CoatMin) {
			q := 0 // batches looked at: one whose moulds are not there yet holds up no other
			for k := 0; k < len(p.batches) && q < lookAhead; k++ {
				if !p.invested(&p.batches[k]) {
					continue
				}
				for _, i := range p.batches[k].cases {
					if p.stage[i] == waiting && p.at[i] <= p.t {
						offer(min(240, p.batches[k].at-p.t)+20*float64(q), act{do: doCoat, of: i})
						break
					}
				}
				q++
			}
		}
	}
	if p.prepares && !over && best.do != doMix { // a mix that can be made goes before the moulds of those behind it
		p.moulds(h, offer)
	}
	if p.may(h, aside) {
		p.chunks(over, offer)
	}
	return best
}

// invested tells whether no mould of a batch wants work before its separator.
func (p *player) invested(b *batch) bool {
	if !p.prepares {
		return true
	}
	return !slices.ContainsFunc(b.cases, func(i int) bool {
		n := len(p.cases[i].Prep)
		return p.stage[i] == waiting && n > 0 && (p.prep[i] < n || p.at[i] > p.t)
	})
}

// moulds offers work on the first mould that waits for it, in the order of the mixes, where it ends within the hours: while
// one layer sets, the next mould has its turn. How it stands against other work is told by when its mix is wanted, and by
// what is still to be done to it before that.
func (p *player) moulds(h int, offer func(slack float64, a act)) {
	for q := range p.batches {
		b := &p.batches[q]
		for _, i := range b.cases {
			work := p.cases[i].Prep[min(p.prep[i], len(p.cases[i].Prep)):]
			if p.stage[i] != waiting || p.at[i] > p.t || len(work) == 0 || p.tod+work[0].HandsMin > p.open.ClosesMin || !p.may(h, work[0].HandsMin) {
				continue
			}
			rest := p.CoatMin + p.DryMin
			for _, w := range work {
				rest += w.HandsMin + w.ThenMin
			}
			offer(p.mixBy(b)-p.SetMin-p.lead(b.cases)-p.t-60-rest, act{do: doPrep, of: i})
			return
		}
	}
}

// chunks offers a piece of finishing or cleaning; after hours only of what is due that day.
func (p *player) chunks(over bool, offer func(slack float64, a act)) {
	tonight := float64(p.day)*Day + p.open.OvertimeMin
	for i, s := range p.stage {
		if s != finishing && s != dirty || p.at[i] > p.t {
			continue
		}
		if over && (p.tod >= p.open.OvertimeMin || s != finishing || p.cases[i].DueMin > tonight) {
			continue
		}
		first := 0.
		if s == dirty {
			first = 400
		}
		offer(p.cases[i].DueMin-p.FinishMin-p.t-first+1e-3*p.left[i], act{do: doChunk, of: i})
	}
}

// lead is from the start of a mix to its last flask closed, as expected.
func (p *player) lead(cases []int) float64 {
	w := 0.
	for _, i := range cases {
		w += p.work(p.cases[i].Size, 0, true)
	}
	return p.doughOf(p.cases[cases[0]].Resin).DoughMin + p.MixMin + w
}

// mixNow is the batch that could be mixed now, -1 for none, and its slack.
func (p *player) mixNow(h int) (index int, slack float64) {
	k := slices.IndexFunc(p.batches, func(b batch) bool { return p.t >= b.at && p.invested(&b) })
	if k < 0 {
		return -1, 0
	}
	b := &p.batches[k]
	for _, i := range b.cases {
		if p.stage[i] != coated || p.at[i] > p.t+nearlyDry {
			return -1, 0
		}
	}
	lead := p.lead(b.cases)
	beforeLunch := p.LunchForMin > 0 && p.tod < p.LunchMin && p.lunched < p.day
	if p.tod+lead > p.open.ClosesMin || beforeLunch && p.tod+lead > p.LunchMin+lunchWaits {
		return -1, 0
	}
	busy, end := 0., math.Inf(1)
	for _, i := range p.live {
		busy += p.workOn(i)
		end = min(end, p.end[i])
	}
	if busy > p.plan.GateMin || len(p.live) > 0 && !p.may(h, p.MixMin) && end-p.t <= p.MixMin+1.3*busy {
		return -1, 0
	}
	return k, p.mixBy(b) - p.SetMin - lead - p.t - 60
}

// lunchWaits is how long the break waits for a dough (house default).
const lunchWaits = 25

// mixBy is when the flasks of a batch are wanted set: for their load, or else for a load by day.
func (p *player) mixBy(b *batch) float64 {
	if first := b.cases[0]; p.loadOf[first] >= 0 && !p.stray[first] {
		if l := p.plan.Loads[p.loadOf[first]].LatestMin; l > p.t {
			return l
		}
	}
	due := math.Inf(1)
	for _, i := range b.cases {
		due = min(due, p.cases[i].DueMin)
	}
	return due - p.byDay() - 150
}

// byDay is the length of a load by day, or of any where the house has none by day.
func (h *Lab) byDay() float64 {
	if h.ShortMin > 0 {
		return h.ShortMin
	}
	return h.LongMin
}
