package press

import (
	"cmp"
	"slices"
	"time"
)

// helpShare is the part of the work for the advice that goes once more into all that could help.
const helpShare = 1. / 3

// without is what comes of leaving one flask aside.
type without struct {
	chances  []float64
	expected float64 // flasks in time
}

// help sets the flask to give up, where not all are likely to be in time, and returns what would help each flask in
// doubt.
func (q *desk) help(adv *Advice, chosen choice, got []float64, lost []bool) [][]Help {
	help := make([][]Help, len(q.jobs))
	limit := notAll
	if p := q.opt.Previous; p != nil && p.GiveUp != "" {
		limit = notAllKeep
	}
	likely := true // every flask not lost already will do
	for i := range q.jobs {
		if lost[i] && q.bench.cells[i].stage < Closing {
			help[i] = []Help{{Code: Remix}}
		}
		likely = likely && (lost[i] || got[i] >= doubtful)
	}
	if likely && (adv.Others >= limit || !slices.Contains(lost, false)) {
		return help
	}
	base := q.playOut(&chosen).chances // on the draws the helps are tried on
	aside := make([]*without, len(q.jobs))
	for i := range q.jobs {
		if !lost[i] && q.bench.cells[i].stage < Closing {
			aside[i] = q.without(i, chosen.rule)
		}
	}
	if adv.Others < limit {
		adv.GiveUp = q.giveUp(aside, base)
	}
	for i := range q.jobs {
		if aside[i] != nil && got[i] < doubtful {
			help[i] = q.helpOne(i, base, aside)
		}
	}
	return help
}

// helpOne lists what would help flask i, whose chances under the advice are got.
func (q *desk) helpOne(i int, got []float64, aside []*without) []Help {
	total := 0.0
	for _, g := range got {
		total += g
	}
	worth := false // some help brings at least what it costs
	var list []Help
	offer := func(h Help) {
		if h.Chance >= got[i]+helps {
			list = append(list, h)
			worth = worth || h.Chance-got[i]+h.Others >= 0
		}
	}
	q.favour = int8(i)
	first := q.best(mooreRule, mooreSerial, func(w *without) float64 { return w.chances[i] })
	q.favour = noFavour
	offer(Help{Code: TakeFirst, Chance: first.chances[i], Others: first.expected - first.chances[i] - (total - got[i])})

	let, wait := -1, 0.0
	for x, a := range aside {
		if x != i && a != nil && a.chances[i] > wait {
			let, wait = x, a.chances[i]
		}
	}
	if let >= 0 {
		others := aside[let].expected - wait - (total - got[i] - got[let])
		offer(Help{Code: LetWait, Flask: q.jobs[let].ID, Chance: wait, Others: others})
	}
	slices.SortStableFunc(list, func(a, b Help) int { return cmp.Compare(b.Chance, a.Chance) })
	if got[i] < hopeless && !worth {
		list = append(list, Help{Code: Remix})
	}
	return list
}

// giveUp is the flask without which most of the others are expected in time, held to what was said before but for a
// real gain; of those about equal the one with the least chance as it is.
func (q *desk) giveUp(aside []*without, got []float64) string {
	most := 0.0
	for _, a := range aside {
		if a != nil {
			most = max(most, a.expected)
		}
	}
	best := -1
	for i, a := range aside {
		if a == nil || a.expected < most-q.opt.Gain {
			continue
		}
		if p := q.opt.Previous; p != nil && p.GiveUp == q.jobs[i].ID {
			return p.GiveUp
		}
		if best < 0 || got[i] < got[best] {
			best = i
		}
	}
	if best < 0 {
		return ""
	}
	return q.jobs[best].ID
}

// without plays on with flask i left aside.
func (q *desk) without(i int, r rule) *without {
	due := q.due[i]
	q.due[i] = -MaxTime - time.Second // nobody goes on with a flask that cannot be in time
	defer func() { q.due[i] = due }()
	return q.best(r, mooreRule, func(w *without) float64 { return w.expected })
}

// best plays on by the bench solved, and by rules; of the two the better by a figure.
func (q *desk) best(a, b rule, figure func(*without) float64) *without {
	work := noWork
	if all := workFor(q.opt.Work, len(q.jobs)); all > 0 {
		work = max(1, int(helpShare*float64(all))/len(q.jobs))
	}
	t := q.solved(q.bench, work)
	if t != nil && len(q.jobs) <= mostWhole {
		return q.playOut(&choice{table: t})
	}
	a = cmp.Or(a, b)
	best := q.byRules(a, b, figure)
	if t != nil {
		if other := q.playOut(&choice{table: t}); figure(other) > figure(best)+1e-9 {
			best = other
		}
	}
	return best
}

// byRules plays on by each of two rules and gives the better, by a figure, the first of equals.
func (q *desk) byRules(a, b rule, figure func(*without) float64) *without {
	best := q.byRule(a)
	if b != a {
		if other := q.byRule(b); figure(other) > figure(best)+1e-9 {
			best = other
		}
	}
	return best
}

func (q *desk) byRule(r rule) *without { return q.playOut(&choice{rule: r}) }

// playOut plays a choice on the draws it was made by.
func (q *desk) playOut(c *choice) *without {
	out := make([]outcome, q.opt.Draws)
	for k := range out {
		q.dealt.set(q.bench)
		q.deal(&q.dealt, q.draws, k)
		if c.first {
			q.freeHands(&q.dealt)
		}
		out[k] = q.run(&q.dealt, &q.played, c)
	}
	w := &without{chances: chances(len(q.jobs), out)}
	for _, c := range w.chances {
		w.expected += c
	}
	return w
}
