package plan

import (
	"cmp"
	"math"
	"slices"
)

// Whatever is drawn, dough is reached and ends within so many standard deviations of what is expected (house default, as
// in the reference days).
const (
	earliestDough, latestDough = 3.5 / 1.5, 4.5 / 1.5
	earliestEnd, latestEnd     = 8 / 3.3541019662496847, 9 / 3.3541019662496847
)

// within keeps a time within so many standard deviations of what is expected, and above a fifth of it.
func within(x, expected, sd, low, high float64) float64 {
	return max(expected/5, expected-low*sd, min(expected+high*sd, x))
}

// begin starts a piece of work.
func (p *player) begin(a act, h int) {
	switch a.do {
	case doOpen:
		i := p.press[a.press].flask
		p.press[a.press] = pressed{}
		p.hands[h] = p.t + p.OpenMin
		p.stage[i], p.at[i] = untrimmed, p.hands[h]
		p.made[i]++
	case doPress:
		p.intoPress(a, h)
	case doTrim:
		p.hands[h] = p.t + p.TrimMin
		p.stage[a.of], p.at[a.of] = dough, p.hands[h]
	case doMix:
		p.mix(a.of, h)
	case doCoat:
		p.hands[h] = p.t + p.CoatMin
		p.stage[a.of], p.at[a.of] = coated, p.hands[h]+p.DryMin
		p.say(whatCoated, p.hands[h], a.of)
	case doPrep:
		w := p.cases[a.of].Prep[p.prep[a.of]]
		p.hands[h] = p.t + w.HandsMin
		p.at[a.of] = p.hands[h] + w.ThenMin
		p.prep[a.of]++
		p.say(whatPrepared, p.hands[h], a.of)
	case doChunk:
		p.chunk(a.of, h)
	case doOut:
		b := &p.baths[a.bath]
		p.hands[h] = p.t + p.BathOutMin
		for _, i := range b.cases {
			p.stage[i], p.at[i] = cooling, p.hands[h]+p.CoolMin
		}
		if p.watch != nil && len(b.cases) > 0 {
			p.watch(event{AtMin: p.t, EndMin: p.hands[h], What: whatUnloaded, Cases: slices.Clone(b.cases), Bath: a.bath, Mix: -1, Load: -1})
		}
		b.busy, b.cases = false, b.cases[:0]
	case doLoad, doStray:
		p.load(a, h)
	}
}

// intoPress is a trial closure, or the final one where no more is wanted and there is time for it.
func (p *player) intoPress(a act, h int) {
	i := a.of
	switch {
	case p.wants(i):
		p.stage[i], p.hands[h] = inPress, p.t+p.RaiseMin
		p.press[a.press] = pressed{true, i, p.t + p.RaiseMin + p.HoldMin, false}
	case p.t+p.FinalMin <= p.end[i]:
		p.stage[i], p.hands[h] = set, p.t+p.FinalMin
		p.at[i] = p.hands[h] + p.SetMin
		p.press[a.press] = pressed{true, i, p.t + p.FinalMin, true}
		p.say(whatClosed, p.hands[h], i)
	default:
		p.at[i] = p.end[i] + moment // lost, once its dough is over
	}
}

func (p *player) mix(k, h int) {
	b := p.batches[k]
	p.batches = slices.Delete(p.batches, k, k+1)
	p.hands[h] = p.t + p.MixMin
	if p.watch != nil {
		p.watch(event{AtMin: p.t, EndMin: p.hands[h], What: whatMixed, Cases: slices.Clone(b.cases), Mix: b.index, Load: -1})
	}
	k = p.nMixes % doughs
	d := p.doughOf(p.cases[b.cases[0]].Resin)
	reached := within(d.DoughMin+d.DoughSDMin*p.draw.Dough[k], d.DoughMin, d.DoughSDMin, earliestDough, latestDough)
	end := within(d.EndMin+d.EndDaySDMin*p.draw.DayEnd+d.EndMixSDMin*p.draw.End[k], d.EndMin, math.Hypot(d.EndDaySDMin, d.EndMixSDMin), earliestEnd, latestEnd)
	p.nMixes++
	for _, i := range b.cases {
		p.stage[i], p.at[i] = dough, max(p.at[i], p.t+p.MixMin)
		p.dough[i], p.end[i] = p.t+reached, p.t+end
	}
}

// chunk is a piece of finishing or cleaning: short where something may come up.
func (p *player) chunk(i, h int) {
	d := float64(aside)
	if tod := p.tod; len(p.live) == 0 && (tod < p.LunchMin-piece || tod > p.LunchMin+30) {
		d = piece
	}
	d = min(d, p.left[i])
	p.left[i] -= d
	p.hands[h] = p.t + d
	p.at[i] = p.t + d
	if p.left[i] > 1e-9 {
		return
	}
	if p.stage[i] == dirty {
		p.stage[i] = waiting
		return
	}
	p.stage[i], p.over[i] = finished, p.t+d
	p.say(whatFinished, p.t+d, i)
}

// load puts flasks in a bath; those of the plan that are not set go without a load from then on, and others that are
// set take their room, earliest due first.
func (p *player) load(a act, h int) {
	in := a.flasks[:min(len(a.flasks), p.BathPlaces)]
	index := -1
	if a.do == doLoad {
		index = a.load
		p.gone[a.load] = true
		for _, i := range p.plan.Loads[a.load].Cases {
			p.stray[i] = p.stray[i] || !slices.Contains(in, i)
		}
		var others []int
		for i, s := range p.stage {
			if p.stray[i] && s == ready && !slices.Contains(in, i) {
				others = append(others, i)
			}
		}
		slices.SortStableFunc(others, func(i, j int) int { return cmp.Compare(p.cases[i].DueMin, p.cases[j].DueMin) })
		in = append(slices.Clip(in), others[:min(len(others), p.BathPlaces-len(in))]...)
	}
	for _, i := range in {
		p.stage[i], p.stray[i] = inBath, false
	}
	stay := p.ShortMin
	if a.long {
		stay = p.LongMin
	} else {
		p.nShort += len(in)
	}
	p.hands[h] = p.t + p.BathStartMin
	b := &p.baths[a.bath]
	*b = bathe{true, append(b.cases[:0], in...), p.hands[h] + stay}
	if p.watch != nil {
		p.watch(event{AtMin: p.t, EndMin: b.end, What: whatLoaded, Cases: slices.Clone(in), Bath: a.bath, Long: a.long, Mix: -1, Load: index})
	}
}
