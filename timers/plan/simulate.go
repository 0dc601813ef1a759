package plan

import (
	"math"
	"slices"
)

// stage of a case on its way through the day.
type stage uint8

const (
	waiting   stage = iota // for its separator
	coated                 // from at on dry
	dough                  // packed, or waiting for the press with its sheet laid
	untrimmed              // out of the press
	inPress
	set     // under its clamp until at
	ready   // for the bath
	inBath  //
	cooling // until at
	finishing
	dirty // its dough was lost
	finished
)

// live tells whether a flask's dough is being worked.
func (s stage) live() bool { return s == dough || s == untrimmed || s == inPress }

// what is an event of a day.
type what uint8

// The events of a day.
const (
	whatCoated   what = iota // work on the separator begins
	whatMixed                // a mix is begun
	whatClosed               // a final closure is begun
	whatLoaded               // a load goes in
	whatUnloaded             // a load comes out
	whatFinished             // the last piece of finishing is begun; it ends at Event.EndMin
	whatLost                 // a flask's dough is over before its final closure
	whatLunch
	whatPrepared // work on a mould before its separator
)

// event is one thing that happens on a played day.
type event struct {
	AtMin, EndMin float64 // when it begins, and when the hands, or the bath for a load, are free again
	What          what
	Cases         []int
	Bath          int
	Long          bool
	Mix, Load     int // index in the plan; -1 for a mix or load that the plan does not name
}

// result is what came of one day.
type result struct {
	Cost        float64 // points
	Late        []bool  // by case
	EndMin      []float64
	Lost        int // doughs
	Mixes       int
	OvertimeMin float64
	Events      []event // where asked for
}

// batch is a mix still to be made.
type batch struct {
	cases  []int
	at     float64
	index  int
	repack bool
}

// bathe is a bath as it stands.
type bathe struct {
	busy  bool
	cases []int
	end   float64
}

// player plays days; it serves one goroutine, and keeps its room from day to day.
type player struct {
	*engine
	cases []Case
	plan  *Plan
	draw  *draw
	watch func(event)

	t        float64
	day      int
	open     *Hours  // of that day
	tod      float64 // time of day
	hands    []float64
	press    []pressed
	baths    []bathe
	stage    []stage
	at       []float64 // from when a case can be worked on
	made     []int     // trial closures
	packed   []int     // packings lost
	prep     []int     // pieces of work on its mould that are done
	prepares bool      // some case has such work
	dough    []float64 // when its dough is reached
	end      []float64 // and when it ends
	left     []float64 // of finishing or cleaning
	over     []float64 // when it is finished; +Inf before that
	batches  []batch
	gone     []bool // by load
	loadOf   []int  // by case; -1 for none
	stray    []bool // without a load to wait for
	live     []int
	ranks    ranks
	room     []int // to gather cases in
	nMixes   int
	nLost    int
	nShort   int
	overtime float64
	lunched  int // the day of the last break
	horizon  float64
	adv      advised
}

func newPlayer(e *engine, cases []Case) *player {
	n := len(cases)
	f := func() []float64 { return make([]float64, n) }
	prepares := slices.ContainsFunc(cases, func(c Case) bool { return len(c.Prep) > 0 })
	return &player{prep: make([]int, n), prepares: prepares, engine: e, cases: cases, hands: make([]float64, e.Hands), press: make([]pressed, e.Presses), baths: make([]bathe, e.Baths),
		stage: make([]stage, n), at: f(), made: make([]int, n), packed: make([]int, n), dough: f(), end: f(), left: f(), over: f(),
		loadOf: make([]int, n), stray: make([]bool, n), room: make([]int, 0, n)}
}

// off tells whether nobody works on a day.
func (h *Lab) off(day int) bool { return day < len(h.Off) && h.Off[day] }

// workday is the first day from this one on on which somebody works.
func (h *Lab) workday(day int) int {
	for h.off(day) {
		day++
	}
	return day
}

// today is the day that the plan is for.
func (h *Lab) today() int { return h.workday(0) }

// nextday is the working day after the first.
func (h *Lab) nextday() int { return h.workday(h.today() + 1) }

// start is when the first day is taken up.
func (h *Lab) start() float64 {
	if d := h.today(); d > 0 {
		return float64(d)*Day + h.hours(d).OpensMin
	}
	return h.StartMin
}

func (p *player) reset(plan *Plan, d *draw) {
	p.plan, p.draw = plan, d
	p.t = p.start()
	for i := range p.hands {
		p.hands[i] = p.t
	}
	clear(p.press)
	clear(p.baths)
	for b, free := range p.BathFreeMin {
		if b < len(p.baths) && free > p.t {
			p.baths[b] = bathe{busy: true, end: free}
		}
	}
	for i, c := range p.cases {
		p.stage[i], p.at[i], p.made[i], p.packed[i], p.left[i], p.over[i] = waiting, c.FromMin, 0, 0, 0, math.Inf(1)
		p.loadOf[i], p.stray[i], p.prep[i] = -1, true, 0
		if c.Begun != nil {
			p.prep[i] = len(c.Prep)
			p.resume(i, c.Begun)
		}
	}
	p.batches = p.batches[:0]
	for j, m := range plan.Mixes {
		p.batches = append(p.batches, batch{cases: m.Cases, at: m.AtMin, index: j})
	}
	p.gone = append(p.gone[:0], make([]bool, len(plan.Loads))...)
	for j, l := range plan.Loads {
		for _, i := range l.Cases {
			p.loadOf[i], p.stray[i] = j, false
		}
	}
	p.adv.clear()
	p.nMixes, p.nLost, p.nShort, p.overtime = 0, 0, 0, 0
	p.lunched = -1
	if math.Mod(p.t, Day) >= p.LunchMin {
		p.lunched = int(p.t / Day)
	}
	p.horizon = float64(p.today()) * Day
	for k, d := 0, p.today(); k < horizonDays; k++ {
		p.horizon = float64(d+1) * Day
		d = p.workday(d + 1)
	}
}

// say tells of an event to who watches.
func (p *player) say(what what, end float64, cases ...int) {
	if p.watch != nil {
		p.watch(event{AtMin: p.t, EndMin: end, What: what, Cases: slices.Clone(cases), Mix: -1, Load: -1})
	}
}

// play plays one day, and those after it until all is finished.
func (p *player) play(plan *Plan, d *draw) result {
	p.reset(plan, d)
	for p.t < p.horizon {
		p.happen()
		if !slices.ContainsFunc(p.stage, func(s stage) bool { return s != finished }) {
			break
		}
		p.live = p.live[:0]
		for i, s := range p.stage {
			if s.live() {
				p.live = append(p.live, i)
			}
		}
		p.day = int(p.t / Day)
		p.tod = p.t - float64(p.day)*Day
		p.open = p.hours(p.day)
		if h := slices.IndexFunc(p.hands, func(x float64) bool { return x <= p.t }); h >= 0 && p.tod >= p.open.OpensMin && !p.off(p.day) {
			if p.handsFree(h) {
				continue
			}
		}
		p.t = p.next()
	}
	return p.result()
}

// handsFree gives a free pair of hands its next work; false where there is none.
func (p *player) handsFree(h int) bool {
	a := p.atPress()
	if a.do == nothing && p.lunch() {
		return true
	}
	if a.do == nothing && p.may(h, aside) {
		a = p.atBath()
	}
	if a.do == nothing {
		a = p.elsewhere(h)
	}
	if a.do == nothing {
		return false
	}
	p.begin(a, h)
	end := p.hands[h] - float64(p.day)*Day
	if end >= Day {
		end -= Day
	}
	if end > p.open.ClosesMin {
		p.overtime = max(p.overtime, end-p.open.ClosesMin)
	}
	return true
}

// happen is what comes about by itself.
func (p *player) happen() {
	for i := range p.press {
		if x := &p.press[i]; x.busy && x.final && x.until <= p.t {
			*x = pressed{}
		}
	}
	for i, s := range p.stage {
		switch {
		case (s == dough || s == untrimmed) && p.t > p.end[i] && p.at[i] <= p.t:
			p.lose(i)
		case s == set && p.t >= p.at[i]:
			p.stage[i] = ready
		case s == cooling && p.t >= p.at[i]:
			p.stage[i], p.left[i] = finishing, p.FinishMin*p.draw.Finish[i]
		}
	}
}

// pairedAgain is the chance from which two lost flasks share their new mix (house default).
const pairedAgain = .8

// lose gives up a flask whose dough is over: cleaned, it is mixed for anew before all others.
func (p *player) lose(i int) {
	p.stage[i], p.left[i], p.made[i] = dirty, p.CleanMin, 0
	p.nLost++
	p.packed[i]++
	p.say(whatLost, p.t, i)
	for k := range p.batches {
		b := &p.batches[k]
		if first := p.cases[b.cases[0]]; b.repack && len(b.cases) < 2 && first.Resin == p.cases[i].Resin && p.pair(first.Resin, first.Size, p.cases[i].Size) >= pairedAgain {
			b.cases = append(b.cases, i)
			return
		}
	}
	p.batches = slices.Insert(p.batches, 0, batch{cases: []int{i}, index: -1, repack: true})
}

// wants tells whether a flask wants a further trial closure.
func (p *player) wants(i int) bool {
	return p.made[i] < int(p.draw.Closures[i][p.packed[i]%attempts])
}

// workOn is the press work expected on a flask. What it will take is not known: only that its last closure did not do.
func (p *player) workOn(i int) float64 {
	if b := p.cases[i].Begun; b != nil && p.packed[i] == 0 && p.cases[i].live() {
		return p.workOf(b.expects(p.made[i]), p.wants(i))
	}
	return p.work(p.cases[i].Size, p.made[i], p.wants(i))
}

// next is the next instant at which something can change.
func (p *player) next() float64 {
	t, next := p.t, math.Inf(1)
	later := func(x float64) {
		if x > t && x < next {
			next = x
		}
	}
	for _, x := range p.hands {
		later(x)
	}
	for _, x := range p.press {
		if x.busy {
			later(x.until)
		}
	}
	for _, b := range p.baths {
		if b.busy {
			later(b.end)
		}
	}
	for i, s := range p.stage {
		if s != finished && s != inBath {
			later(p.at[i])
		}
		if s.live() {
			later(p.dough[i])
			if p.end[i] > t {
				later(p.end[i] + moment)
			}
		}
		if s == coated {
			later(p.at[i] - nearlyDry)
		}
	}
	for _, b := range p.batches {
		later(b.at)
	}
	for j, l := range p.plan.Loads {
		if !p.gone[j] {
			later(l.LatestMin)
		}
	}
	d := float64(p.day) * Day
	later(d + p.LunchMin)
	later(d + p.open.ClosesMin)
	later(d + p.open.OpensMin)
	later(d + Day + p.Hours.OpensMin)
	return next
}

func (p *player) result() result {
	n := len(p.cases)
	r := result{Late: make([]bool, n), EndMin: make([]float64, n), Lost: p.nLost, Mixes: p.nMixes, OvertimeMin: p.overtime}
	w := &p.Cost
	for i, c := range p.cases {
		r.EndMin[i] = min(p.over[i], p.horizon)
		r.Late[i] = r.EndMin[i] > c.DueMin+moment || math.IsInf(p.over[i], 1) && c.DueMin <= p.horizon
		tardy := max(0, min(w.TardyCap, (r.EndMin[i]-c.DueMin)/60))
		if r.Late[i] {
			r.Cost += c.Weight * w.Late
		}
		r.Cost += c.Weight * w.TardyH * tardy
	}
	r.Cost += w.Lost*float64(p.nLost) + w.OverMin*p.overtime + w.Mix*float64(p.nMixes) + w.Short*float64(p.nShort)
	return r
}
