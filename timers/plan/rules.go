package plan

import (
	"cmp"
	"math"
	"slices"
)

// mixRule is a simple way to put cases into mixes.
type mixRule string

// The rules. All but the first take the earliest due first; each mix is of one resin.
const (
	firstCome4 mixRule = "first come, four to a mix" // as they came
	threeToMix mixRule = "three to a mix"
	twoAtOnce  mixRule = "two to a mix, without waiting for the press" // the next mix is made at once
	twoToMix   mixRule = "two to a mix"
	oneToMix   mixRule = "one to a mix"
	fit80      mixRule = "as many as have 80 %" // while all of the mix are in time with a chance of 80 %
	fit95      mixRule = "as many as have 95 %"
	ownDay     mixRule = "as many as have 80 %, today's alone" // what is due today is mixed for alone
)

// picked are the rules that Pick tries.
var picked = []mixRule{twoToMix, oneToMix, fit80, fit95, ownDay}

// habit varies a rule.
type habit struct {
	Small   bool    // among equal due times small bases first, large last
	Wait    bool    // today's load waits for its stragglers while its first case can still be in time
	GateMin float64 // as in Plan; 0 is houseGateMin
	Nights  bool    // what has no room overnight waits for the next night, and keeps no bath by day
}

const (
	houseGateMin = 8
	noGateMin    = 1000
)

func (e *engine) byRule(cases []Case, r mixRule, v habit) Plan {
	order := make([]int, len(cases))
	for i := range order {
		order[i] = i
	}
	if r != firstCome4 {
		slices.SortStableFunc(order, func(i, j int) int {
			a, b := cases[i], cases[j]
			c := cmp.Or(cmp.Compare(e.wish.rank(i), e.wish.rank(j)), cmp.Compare(a.DueMin, b.DueMin), cmp.Compare(b.Weight, a.Weight))
			if c == 0 && v.Small {
				c = cmp.Compare(a.Size, b.Size)
			}
			return c
		})
	}
	var begun, fresh []int
	for _, i := range order {
		if cases[i].mixed() {
			begun = append(begun, i)
		} else {
			fresh = append(fresh, i)
		}
	}
	groups := e.group(cases, fresh, r)
	if r != firstCome4 {
		fresh = slices.Concat(groups...)
	}
	order = slices.DeleteFunc(append(begun, fresh...), func(i int) bool { return cases[i].bathed() })
	p := Plan{GateMin: cmp.Or(v.GateMin, houseGateMin), Rule: r, Habit: v}
	if r == twoAtOnce {
		p.GateMin = noGateMin
	}
	for _, g := range groups {
		p.Mixes = append(p.Mixes, Mix{Cases: g})
	}
	p.Loads = e.loads(cases, order, v)
	return p
}

// group puts each case into the last mix of its resin, or into one of its own.
func (e *engine) group(cases []Case, order []int, r mixRule) [][]int {
	var groups [][]int
	last := map[int]int{} // by resin
	today := float64(e.today())*Day + e.hours(e.today()).ClosesMin
	taken := map[int]bool{}
	for _, i := range order {
		c := cases[i]
		if taken[i] {
			continue
		}
		if g := e.wish.with(i); g != nil { // a person's own mix: as it is
			for _, j := range g {
				taken[j] = true
			}
			groups = append(groups, slices.Clone(g))
			continue
		}
		k, begun := last[c.Resin]
		if begun && e.joins(cases, groups[k], i, r, today) {
			groups[k] = append(groups[k], i)
			continue
		}
		last[c.Resin] = len(groups)
		groups = append(groups, []int{i})
	}
	return groups
}

// joins tells whether a case may join a mix by a rule.
func (e *engine) joins(cases []Case, group []int, i int, r mixRule, today float64) bool {
	fits := func(least float64) bool {
		flasks := []Size{cases[i].Size}
		for _, j := range group {
			flasks = append(flasks, cases[j].Size)
		}
		return e.fits(flasks, cases[i].Resin) >= least
	}
	switch r {
	case firstCome4:
		return len(group) < 4
	case threeToMix:
		return len(group) < 3
	case twoToMix, twoAtOnce:
		return len(group) < 2
	case fit80:
		return fits(.8)
	case fit95:
		return fits(.95)
	case ownDay:
		return cases[i].DueMin > today && cases[group[0]].DueMin > today && fits(.8)
	}
	return false
}

// overnightDone is when the first case of a load of a night can be finished.
func (e *engine) overnightDone(day int) float64 {
	return float64(e.workday(day+1))*Day + e.OpensMin + e.BathOutMin + e.CoolMin + e.FinishMin
}

// loadDay is the day whose loads are planned: the next working day where today nothing can be closed any more.
func (e *engine) loadDay(cases []Case, list []int) int {
	closes, p := float64(e.today())*Day+e.hours(e.today()).ClosesMin, newPlayer(e, cases)
	for _, i := range list {
		c := &cases[i]
		at := c.readyMin(e.start())
		if c.Begun == nil || c.Begun.Step < Painted {
			at += e.CoatMin + max(0, e.DryMin-nearlyDry)
		}
		if c.mixed() || at+p.lead([]int{i}) <= closes {
			return e.today()
		}
	}
	if len(list) == 0 || e.Simple {
		return e.today()
	}
	return e.nextday()
}

// hopeless tells whether a case is due before it could be finished if all else waited: then it must not keep a bath by
// day from those that can be in time.
func (e *engine) hopeless(c Case) bool { return c.DueMin < e.soonest(c) }

// loads puts cases into baths: what is due before a load of this night can be finished goes by day as soon as it is set
// (where that can be in time at all, or nothing else goes by day), the rest overnight; what has no room overnight goes by day, so as to be out before work ends, or the night after.
func (e *engine) loads(cases []Case, list []int, v habit) []Load {
	places, baths := e.BathPlaces, e.Baths
	day := e.loadDay(cases, list)
	first := e.hours(day)
	tonight := float64(day)*Day + first.ClosesMin
	if e.start() > tonight { // somebody is still at it
		tonight = float64(day)*Day + first.OvertimeMin - e.BathStartMin
	}
	byDay := func(i int) bool { return cases[i].DueMin < e.overnightDone(day) && e.ShortMin > 0 }
	kept := slices.ContainsFunc(list, func(i int) bool { return byDay(i) && !e.hopeless(cases[i]) })
	var today, rest []int
	for _, i := range list {
		// Where nobody else wants the bath by day, and it is free again for the night, late is better than later.
		if byDay(i) && (!e.hopeless(cases[i]) || !kept && e.soonest(cases[i]) <= tonight) {
			today = append(today, i)
		} else {
			rest = append(rest, i)
		}
	}
	var out []Load
	put := func(list []int, bath func(k int) int, long bool, latest func(g []int) float64) {
		k := 0
		for g := range slices.Chunk(list, places) {
			out = append(out, Load{bath(k), long, slices.Clone(g), latest(g)})
			k++
		}
	}
	order := e.freest(cases)
	forward := func(k int) int { return order[k%baths] }
	by := func(t float64) func([]int) float64 { return func([]int) float64 { return t } }
	put(today, forward, false, func(g []int) float64 {
		due := math.Inf(1)
		for _, i := range g { // a case that cannot be in time hurries no load: the others would wait for the next
			if !e.hopeless(cases[i]) {
				due = min(due, cases[i].DueMin)
			}
		}
		if math.IsInf(due, 1) {
			return tonight - e.ShortMin - 15
		}
		behind := e.FinishMin
		if !v.Wait {
			behind = e.FinishMin*float64(len(g))/float64(e.Hands) + 15
		}
		return due - e.ShortMin - e.CoolMin - e.BathStartMin - e.BathOutMin - behind
	})
	night, over := split(rest, places*baths)
	if len(over) > 0 && !v.Nights && e.start() < float64(day)*Day+first.OpensMin+120 && e.ShortMin > 0 {
		room := places * baths
		if len(today) > 0 {
			room = places * max(1, baths-1)
		}
		byDay, later := split(rest, min(len(over), room))
		night, over = split(later, places*baths)
		put(byDay, func(k int) int { return order[(baths-1-k%baths)%baths] }, false, by(tonight-e.ShortMin-15))
	}
	put(night, forward, true, by(tonight))
	put(over, forward, true, by(float64(e.workday(day+1))*Day+e.ClosesMin))
	return out
}

// freest are the baths in the order in which they are free.
func (e *engine) freest(cases []Case) []int {
	free := make([]float64, e.Baths)
	copy(free, e.BathFreeMin)
	for _, c := range cases {
		if c.Begun != nil && c.Begun.Step == Bathed && c.Begun.Bath >= 0 && c.Begun.Bath < e.Baths {
			free[c.Begun.Bath] = max(free[c.Begun.Bath], c.Begun.FromMin)
		}
	}
	order := make([]int, e.Baths)
	for b := range order {
		order[b] = b
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(free[a], free[b]) })
	return order
}

func split(list []int, n int) (first, rest []int) {
	n = min(n, len(list))
	return list[:n], list[n:]
}
