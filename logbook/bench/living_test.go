package bench_test

import (
	"math/rand/v2"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
)

// ordinary gives what comes next at a random place, by the book: flasks share their
// mixes and loads with those beside them that are at the same step.
func ordinary(b *bench.Bench, p *paper, rnd *rand.Rand) action.Body {
	place := 1 + rnd.IntN(5)
	f := b.OnPlace(place)
	if f == nil {
		return open(place)
	}
	step := b.Next(f, p.now())
	together := []int{f.No}
	if o := b.OnPlace(1 + place%5); o != nil && o.No != f.No && b.Next(o, p.now()) == step {
		together = append(together, o.No)
	}
	switch rnd.IntN(10) {
	case 0:
		return action.Note{Flask: f.No, Text: "x"}
	case 1:
		for _, n := range bench.Sorted(b.Timers) {
			if b.Timers[n].Stopped == nil {
				return action.TimerStop{Timer: n}
			}
		}
		return action.TimerStart{Label: "tea", Count: "down", AimS: 240}
	case 2:
		if al := b.Alarms(p.now()); len(al) > 0 {
			return action.AlarmHeard{Alarm: al[0].Key}
		}
	}
	switch step {
	case bench.DoCoat:
		return action.Coat{Flask: f.No, Half: "both"}
	case bench.DoMix:
		return action.MixMake{Flasks: together}
	case bench.DoDough:
		return action.MixDough{Mix: f.Mix}
	case bench.DoPress:
		if len(f.Judged()) >= 2 { // ready or not, for the press is wanted
			return action.SheetOut{Flask: f.No}
		}
		return action.PressIn{Flask: f.No}
	case bench.DoReach:
		return action.PressAt{Flask: f.No}
	case bench.DoOpen:
		return action.PressOpen{Flask: f.No}
	case bench.DoJudge:
		return action.Flash{Flask: f.No, Grade: action.Grades[1+rnd.IntN(2)]}
	case bench.DoFinal:
		return action.SheetOut{Flask: f.No}
	case bench.DoMetal:
		return action.MetalToMetal{Flask: f.No}
	case bench.DoClamp:
		return action.Clamp{Flask: f.No}
	case bench.DoLoad:
		return action.BathLoad{Flasks: together, Programme: b.House.Programmes[0].Name}
	case bench.DoUnload:
		return action.BathUnload{Flasks: together}
	case bench.DoWater:
		return action.CoolWater{Flasks: together}
	case bench.DoDeflask:
		return action.Deflask{Flasks: together}
	case bench.DoRemount:
		return action.Remount{Flask: f.No, PinMM: 0.3}
	}
	return action.Outcome{Flask: f.No, Outcome: "finished here"}
}

// Through days of ordinary work the records still alive, folded alone again and again
// as a book does, give the bench that all records give, and stay few.
func TestLivingThroughOrdinaryWork(t *testing.T) {
	for seed := range uint64(longrun.Times(1, 2)) {
		rnd := rand.New(rand.NewPCG(seed, 3))
		p := newPaper(t)
		live, most, finished := bench.Fold(nil, bench.Counters{}), 0, 0
		for i := range 300 {
			p.ck.Run(minute)
			p.do(0, ordinary(p.b, p, rnd), "8")
			items := make([]record.Record, 0, len(live.Items)+1)
			for _, it := range live.Items {
				items = append(items, it.Record)
			}
			live = bench.Fold(append(items, p.recs[len(p.recs)-1]), live.Top)
			live = bench.Fold(live.Living(), live.Top)
			most = max(most, len(live.Items))
			if i%longrun.Times(13, 7) != 0 && i < 299 {
				continue
			}
			if d := benchtest.Difference(benchtest.Dump(live, p.now()), benchtest.Dump(p.b, p.now())); d != "" {
				t.Fatalf("seed %d, after record %d:\n%s", seed, len(p.recs), d)
			}
		}
		for _, f := range p.b.Flasks {
			if f.Stage == bench.Finished {
				finished++
			}
		}
		if finished < 6 || most > 200 {
			t.Errorf("seed %d: %d flasks finished, at most %d of %d records alive", seed, finished, most, len(p.recs))
		}
	}
}

// The opening of a flask that is finished stays known where its case number was corrected and the old
// one waits: then its outcome does, too, or the flask would be at work again.
func TestFinishedFlaskStaysFinished(t *testing.T) {
	p := newPaper(t)
	opened := p.do(0, open(1))
	f := p.b.OnPlace(1)
	p.in(f.Case, "packed")
	p.do(second, action.Outcome{Flask: f.No, Outcome: "finished here"}, "8")
	p.do(second, action.Correct{Of: opened, Set: []byte(`{"case":"99"}`)})
	for range 40 {
		p.do(second, action.TimerStart{Label: "stone", Count: "up"})
	}
	live := bench.Fold(p.b.Living(), p.b.Top)
	if d := benchtest.Difference(benchtest.Dump(live, p.now()), benchtest.Dump(p.b, p.now())); d != "" {
		t.Error(d)
	}
	if at := live.OnPlace(1); at != nil {
		t.Errorf("flask %d is on place 1 again: %s", at.No, at.Stage)
	}
}
