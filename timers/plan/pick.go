package plan

import (
	"cmp"
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
)

// costs plays a plan on every draw; nil where ctx is done before that.
func (e *engine) costs(cases []Case, p *Plan, draws []draw) []float64 {
	w := newPlayer(e, cases)
	out := make([]float64, len(draws))
	for i := range draws {
		out[i] = w.play(p, &draws[i]).Cost
	}
	return out
}

// all plays plans on every draw, on every processor; the figures do not depend on how many there are.
func (e *engine) all(ctx context.Context, cases []Case, plans []Plan, draws []draw) ([][]float64, error) {
	out := make([][]float64, len(plans))
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(runtime.GOMAXPROCS(0), max(1, len(plans))) {
		wg.Go(func() {
			for k := range next {
				if ctx.Err() == nil {
					out[k] = e.costs(cases, &plans[k], draws)
				}
			}
		})
	}
	for k := range plans {
		next <- k
	}
	close(next)
	wg.Wait()
	return out, ctx.Err()
}

func sum(x []float64) float64 {
	s := 0.
	for _, v := range x {
		s += v
	}
	return s
}

// Paired is the mean of a less b over the same draws, and its standard error.
func Paired(a, b []float64) (mean, se float64) {
	n := float64(len(a))
	if n == 0 {
		return 0, 0
	}
	for i := range a {
		mean += (a[i] - b[i]) / n
	}
	if n < 2 {
		return mean, 0
	}
	for i := range a {
		d := a[i] - b[i] - mean
		se += d * d
	}
	return mean, math.Sqrt(se / (n - 1) / n)
}

const (
	firstDraws = 15 // on which every variant is tried
	second     = 10 // how many of them are tried on all
)

func (e *engine) variants(cases []Case) []Plan {
	today := slices.ContainsFunc(cases, func(c Case) bool { return c.DueMin < float64(e.today()+1)*Day })
	waits := []bool{false}
	if today {
		waits = append(waits, true)
	}
	nights := []bool{false}
	unloaded := 0
	for _, c := range cases {
		if !c.bathed() {
			unloaded++
		}
	}
	if unloaded > e.BathPlaces*e.Baths {
		nights = append(nights, true)
	}
	var out []Plan
	for _, r := range picked {
		for _, gate := range []float64{4, 8} {
			for _, small := range []bool{false, true} {
				for _, wait := range waits {
					for _, night := range nights {
						out = append(out, e.byRule(cases, r, habit{small, wait, gate, night}))
					}
				}
			}
		}
	}
	return slices.CompactFunc(out, func(a, b Plan) bool { return a.same(b) })
}

// same tells whether two plans do the same.
func (p Plan) same(q Plan) bool {
	return p.GateMin == q.GateMin &&
		slices.EqualFunc(p.Mixes, q.Mixes, func(a, b Mix) bool { return a.AtMin == b.AtMin && slices.Equal(a.Cases, b.Cases) }) &&
		slices.EqualFunc(p.Loads, q.Loads, func(a, b Load) bool {
			return a.Bath == b.Bath && a.Long == b.Long && a.LatestMin == b.LatestMin && slices.Equal(a.Cases, b.Cases)
		})
}

func (e *engine) pick(ctx context.Context, cases []Case, draws []draw) (Plan, error) {
	plans := e.variants(cases)
	first, err := e.all(ctx, cases, plans, draws[:min(firstDraws, len(draws))])
	if err != nil {
		return Plan{}, err
	}
	order := make([]int, len(plans))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(sum(first[i]), sum(first[j])) })
	best := make([]Plan, 0, second)
	for _, k := range order[:min(second, len(order))] {
		best = append(best, plans[k])
	}
	costs, err := e.all(ctx, cases, best, draws)
	if err != nil {
		return Plan{}, err
	}
	least := 0
	for k := range costs {
		if sum(costs[k]) < sum(costs[least]) {
			least = k
		}
	}
	return best[least], nil
}

// least gain, in points, for which a plan is changed.
const leastGain = .2

func (e *engine) deferred(ctx context.Context, cases []Case, p Plan, draws []draw) (Plan, error) {
	now := e.costs(cases, &p, draws)
	morning := float64(e.nextday())*Day + e.OpensMin
	for {
		var tries []Plan
		for j, m := range p.Mixes {
			due := math.Inf(1)
			for _, i := range m.Cases {
				due = min(due, cases[i].DueMin)
			}
			chosen := slices.ContainsFunc(m.Cases, e.wish.names)
			if m.AtMin < float64(e.today()+1)*Day && due > morning && !chosen {
				q := p.clone()
				q.Mixes[j].AtMin = morning
				tries = append(tries, q)
			}
		}
		costs, err := e.all(ctx, cases, tries, draws)
		if err != nil {
			return Plan{}, err
		}
		best, most := -1, 0.
		for k, c := range costs {
			if gain, se := Paired(now, c); gain > max(2*se, leastGain) && gain > most {
				best, most = k, gain
			}
		}
		if best < 0 {
			return p, nil
		}
		p, now = tries[best], costs[best]
	}
}
