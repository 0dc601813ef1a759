package plan

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
)

// spread is when something happens over many days: the middle of them, and until when it is
// on nine days of ten.
// NaN where it happens on fewer than half of them.
type spread struct{ Middle, To float64 }

// caseTimes is what is foretold of a case.
type caseTimes struct {
	Late   float64 // share of the days on which it is late
	Lost   float64 // share of the days on which a dough of it is lost
	Closed spread  // final closure over
	In     spread  // into the bath
	Out    spread  // taken out
	End    spread  // finished
	Bath   int     // the bath it is in most often
	Long   bool    // and the programme
}

// mixTimes is what is foretold of a mix of the plan.
type mixTimes struct {
	Coat   spread  // the first of its moulds is begun
	Start  spread  // powder meets liquid
	Closed spread  // the last of its flasks is closed, when all are closed the first time
	All    float64 // share of the days on which no dough of it is lost
	// Latest is until when it may be put off without more than a little being lost by it; NaN where that is not
	// worked out.
	Latest float64
}

// LoadTimes is what is foretold of a load of the plan.
type LoadTimes struct {
	In, Out spread
}

// Foretold is what comes of a plan over many days drawn anew.
type Foretold struct {
	Cost        float64   // mean, points
	Costs       []float64 // on each day
	CostSE      float64
	Lost        float64 // doughs a day
	MixesMade   float64 // mixes a day, with those made anew
	OvertimeMin float64 // mean
	Overtime    float64 // share of the days with more than five minutes of it
	Cases       []caseTimes
	Mixes       []mixTimes
	Loads       []LoadTimes
}

// seen is what was seen of one day.
type seen struct {
	result
	closed, in, out        []float64 // by case, the last time
	bath                   []int
	long                   []bool
	coat, start, allClosed []float64 // by mix
	lost                   []bool    // by mix
	lostCase               []bool    // by case
	loadIn, loadOut        []float64
}

// ofCase keeps what an event tells of a case, and of its mix, -1 for none.
func (s *seen) ofCase(e event, i, mix int) {
	switch e.What {
	case whatCoated:
		if mix >= 0 && !(s.coat[mix] < e.AtMin) {
			s.coat[mix] = e.AtMin
		}
	case whatClosed:
		s.closed[i] = e.EndMin
		if mix >= 0 && !(s.allClosed[mix] > e.EndMin) {
			s.allClosed[mix] = e.EndMin
		}
	case whatLost:
		s.lostCase[i] = true
		if mix >= 0 {
			s.lost[mix] = true
		}
	case whatLoaded:
		s.in[i], s.bath[i], s.long[i] = e.AtMin, e.Bath, e.Long
	case whatUnloaded:
		s.out[i] = e.AtMin
	}
}

func (e *engine) foretell(ctx context.Context, cases []Case, p *Plan, draws []draw) (Foretold, error) {
	days := make([]seen, len(draws))
	var wg sync.WaitGroup
	workers := max(1, min(runtime.GOMAXPROCS(0), len(draws)))
	for k := range workers {
		wg.Go(func() {
			w := newPlayer(e, cases)
			for i := k; i < len(draws) && ctx.Err() == nil; i += workers {
				days[i] = w.look(p, &draws[i])
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return Foretold{}, err
	}
	return gather(cases, p, days), nil
}

func none(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
	}
	return out
}

// look plays one day and keeps what is told of it.
func (p *player) look(plan *Plan, d *draw) seen {
	n, m, l := len(p.cases), len(plan.Mixes), len(plan.Loads)
	s := seen{closed: none(n), in: none(n), out: none(n), bath: make([]int, n), long: make([]bool, n),
		coat: none(m), start: none(m), allClosed: none(m), lost: make([]bool, m), lostCase: make([]bool, n), loadIn: none(l), loadOut: none(l)}
	mixOf := make([]int, n)
	for i, c := range p.cases {
		mixOf[i] = -1
		if c.bathed() {
			s.bath[i] = max(0, c.Begun.Bath)
		}
	}
	for j, x := range plan.Mixes {
		for _, i := range x.Cases {
			mixOf[i] = j
		}
	}
	running := make([]int, p.Baths) // load of the plan in each bath
	for b := range running {
		running[b] = -1
	}
	p.watch = func(e event) {
		for _, i := range e.Cases {
			s.ofCase(e, i, mixOf[i])
		}
		switch {
		case e.What == whatMixed && e.Mix >= 0:
			s.start[e.Mix] = e.AtMin
		case e.What == whatLoaded:
			if running[e.Bath] = e.Load; e.Load >= 0 {
				s.loadIn[e.Load] = e.AtMin
			}
		case e.What == whatUnloaded && running[e.Bath] >= 0:
			s.loadOut[running[e.Bath]] = e.AtMin
		}
	}
	s.result = p.play(plan, d)
	p.watch = nil
	for j := range s.lost {
		if s.lost[j] {
			s.allClosed[j] = math.NaN()
		}
	}
	return s
}

// span sums up a list, of which NaN says that it did not happen.
func span(list []float64) spread {
	x := slices.DeleteFunc(slices.Clone(list), math.IsNaN)
	if 2*len(x) < len(list) || len(x) == 0 {
		return spread{math.NaN(), math.NaN()}
	}
	slices.Sort(x)
	at := func(q float64) float64 { return x[min(len(x)-1, int(q*float64(len(x))))] }
	return spread{at(.5), at(.9)}
}

func share(n, of int) float64 { return float64(n) / float64(max(1, of)) }

// gather sums up the days.
func gather(cases []Case, p *Plan, days []seen) Foretold {
	var f Foretold
	col := func(get func(*seen) float64) []float64 {
		out := make([]float64, len(days))
		for k := range days {
			out[k] = get(&days[k])
		}
		return out
	}
	count := func(is func(*seen) bool) float64 {
		n := 0
		for k := range days {
			if is(&days[k]) {
				n++
			}
		}
		return share(n, len(days))
	}
	mean := func(get func(*seen) float64) float64 { return sum(col(get)) / float64(max(1, len(days))) }
	f.Costs = col(func(s *seen) float64 { return s.Cost })
	f.Cost, f.CostSE = Paired(f.Costs, make([]float64, len(days)))
	f.Lost = mean(func(s *seen) float64 { return float64(s.result.Lost) })
	f.MixesMade = mean(func(s *seen) float64 { return float64(s.Mixes) })
	f.OvertimeMin = mean(func(s *seen) float64 { return s.OvertimeMin })
	f.Overtime = count(func(s *seen) bool { return s.OvertimeMin > 5 })
	for i := range cases {
		c := caseTimes{
			Late:   count(func(s *seen) bool { return s.Late[i] }),
			Lost:   count(func(s *seen) bool { return s.lostCase[i] }),
			Closed: span(col(func(s *seen) float64 { return s.closed[i] })),
			In:     span(col(func(s *seen) float64 { return s.in[i] })),
			Out:    span(col(func(s *seen) float64 { return s.out[i] })),
			End:    span(col(func(s *seen) float64 { return s.EndMin[i] })),
			Long:   count(func(s *seen) bool { return s.long[i] }) > .5,
		}
		most := 0.
		for b := range maxBaths {
			if x := count(func(s *seen) bool { return s.bath[i] == b && s.long[i] == c.Long }); x > most {
				c.Bath, most = b, x
			}
		}
		f.Cases = append(f.Cases, c)
	}
	for j := range p.Mixes {
		f.Mixes = append(f.Mixes, mixTimes{
			Coat:   span(col(func(s *seen) float64 { return s.coat[j] })),
			Start:  span(col(func(s *seen) float64 { return s.start[j] })),
			Closed: span(col(func(s *seen) float64 { return s.allClosed[j] })),
			All:    count(func(s *seen) bool { return !s.lost[j] }),
			Latest: math.NaN(),
		})
	}
	for j := range p.Loads {
		f.Loads = append(f.Loads, LoadTimes{
			In:  span(col(func(s *seen) float64 { return s.loadIn[j] })),
			Out: span(col(func(s *seen) float64 { return s.loadOut[j] })),
		})
	}
	return f
}
