package press

import (
	"fmt"
	"slices"
	"time"
)

// MixCost answers "can I mix another now?": what it would cost those at work, and what it would bring. Both are
// estimates under the same draws; a cost a little below 0 is noise.
type MixCost struct {
	AtWork   []change  // one for each flask at work, in the order given
	Fresh    []outlook // one for each flask of the new mix, in the order given, without help
	Cost     float64   // flasks at work expected to be lost more
	Expected float64   // flasks of the new mix expected in time
}

// change is one flask's chance to be in time without and with the new mix.
type change struct {
	Flask         string
	Without, With float64
}

// mixWork bounds the solving of each of the two benches: what another mix costs need not be known as closely as what to
// do next.
const mixWork = 120_000

// CostOfMix weighs mixing now for the flasks fresh, which takes a pair of hands for the time mixing before anything
// else; From of each fresh flask is when its dough is reached, Due when it ends. With the mix the look-ahead counts
// every flask alike, old or new. AdviceOptions.Previous is not read. It fails as Advise does.
func CostOfMix(jobs, fresh []Job, mixing time.Duration, d Durations, b Capacity, o AdviceOptions) (MixCost, error) {
	o, err := o.settled()
	if err != nil {
		return MixCost{}, err
	}
	o.Previous, o.Work = nil, min(workFor(o.Work, len(jobs)+len(fresh)), mixWork)
	if err := checkBench(d, b); err != nil {
		return MixCost{}, err
	}
	if mixing < 0 || mixing > MaxTime {
		return MixCost{}, fmt.Errorf("mixing takes %v: want 0 to %v", mixing, MaxTime)
	}
	both := slices.Concat(jobs, fresh)
	if err := checkJobs(both); err != nil {
		return MixCost{}, err
	}
	before, _ := newDesk(jobs, d, b, o).outlook()
	q := newDesk(both, d, b, o)
	q.mix(mixing)
	after, lost := q.outlook()
	var c MixCost
	for _, j := range jobs {
		x := change{j.ID, before[j.ID], after[j.ID]}
		c.AtWork = append(c.AtWork, x)
		c.Cost += x.Without - x.With
	}
	for _, j := range fresh {
		c.Fresh = append(c.Fresh, outlook{Flask: j.ID, Chance: after[j.ID], Lost: lost[j.ID]})
		c.Expected += after[j.ID]
	}
	return c, nil
}

// mix puts a pair of hands to mixing.
func (q *desk) mix(t time.Duration) {
	q.bench.cells = append(q.bench.cells, cell{stage: mixing, at: t, turn: never})
	q.due = append(q.due, 0)
	q.bench.hands--
	q.settle(q.bench)
}

// outlook gives each flask's chance, by name, and whether it is lost already.
func (q *desk) outlook() (chance map[string]float64, lost map[string]bool) {
	var adv Advice
	out, _ := q.estimate(q.decide(&adv))
	chance, lost = make(map[string]float64), make(map[string]bool)
	for i, c := range chances(len(q.jobs), out) {
		chance[q.jobs[i].ID] = c
		lost[q.jobs[i].ID] = q.tooLate(i)
	}
	return chance, lost
}
