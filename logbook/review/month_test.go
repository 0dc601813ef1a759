package review

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// lab is an invented laboratory: shifts drawn at random, held against the bench and
// recorded as a book records them. Nothing in it was measured.
type lab struct {
	t    testing.TB
	rng  *rand.Rand
	at   time.Time
	b    *bench.Bench
	recs []record.Record
	last int
}

func newLab(t testing.TB, seed uint64, start time.Time) *lab {
	return &lab{t: t, rng: rand.New(rand.NewPCG(seed, 20)), at: start, b: bench.Fold(nil, bench.Counters{}), last: 4000}
}

func (l *lab) chance(p float64) bool { return l.rng.Float64() < p }

// do records something some seconds later and gives the record.
func (l *lab) do(afterS int, body action.Body) record.Record {
	l.t.Helper()
	l.at = l.at.Add(time.Duration(afterS) * time.Second)
	now := timers.Reading{Wall: l.at, BootID: "boot-1", Boot: l.at.Sub(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC))}
	n := len(l.recs) + 1
	a := action.Action{ID: fmt.Sprintf("a%06d", n), At: l.at, By: "KT", Body: body, Why: "4"}
	stamp := timers.StampAt(l.at, now)
	a, err := l.b.Check(a, stamp, timers.Now{Reading: now})
	if err != nil {
		l.t.Fatalf("%s at %s: %v", body.Kind(), l.at, err)
	}
	prev := record.Genesis("invented")
	if n > 1 {
		prev = l.recs[n-2].Hash()
	}
	r, err := record.Write(uint64(n), prev, now, stamp, a)
	if err != nil {
		l.t.Fatal(err)
	}
	l.recs = append(l.recs, r)
	l.b = l.b.Extend(r)
	return r
}

// round works a number of flasks from separator to outcome, three to a mix, one load.
func (l *lab) round(n int) {
	type one struct {
		no, need int
		odds     float64
	}
	var fs []*one
	wet := l.chance(0.06)
	for place := 1; place <= n; place++ {
		size := action.Sizes[l.rng.IntN(3)]
		l.last++
		r := l.do(40, action.FlaskOpen{Place: place, Case: fmt.Sprint(l.last), Base: action.Bases[l.rng.IntN(3)], Size: size})
		f := &one{no: r.Action.Body.(action.FlaskOpen).Flask, odds: 0.05}
		f.need = 2 + l.rng.IntN(2)
		if size == "large" {
			f.need += l.rng.IntN(3)
		}
		fs = append(fs, f)
		dry := 0
		if wet {
			dry = 2400 // a separator that wants longer than it is given
		}
		l.do(20, action.Coat{Flask: f.no, Half: "both", DryMinS: dry})
	}
	l.at = l.at.Add(500 * time.Second)
	for i := 0; i < n; i += 3 {
		part := fs[i:min(i+3, n)]
		var nos []int
		for _, f := range part {
			nos = append(nos, f.no)
		}
		mix := l.do(60, action.MixMake{Flasks: nos, PowderLot: "P-2031", LiquidLot: "L-118", RoomC: 21 + 4*l.rng.Float64()}).Action.Body.(action.MixMake).Mix
		l.do(540+l.rng.IntN(200), action.MixDough{Mix: mix})
		for k := range 8 {
			for _, f := range part {
				if k >= f.need {
					continue
				}
				grade := "heavy"
				if k == f.need-1 {
					grade = "slight"
				}
				psi := 3000.0
				if l.chance(0.02) {
					psi = 2600
				}
				in := l.do(20+l.rng.IntN(40), action.PressIn{Flask: f.no})
				if wet && k == 0 && len(in.Action.Unusual) > 0 {
					f.odds += 0.2
				}
				l.do(30+l.rng.IntN(20), action.PressAt{Flask: f.no, PressurePSI: psi})
				hold := 61
				if l.chance(0.02) {
					hold = 40
				}
				l.do(hold, action.PressOpen{Flask: f.no})
				judged := l.do(15+l.rng.IntN(10), action.Flash{Flask: f.no, Grade: action.Grade(grade)})
				if l.chance(0.02) {
					l.do(5, action.Correct{Of: judged.Action.ID, Set: json.RawMessage(`{"grams":0.8}`)})
				}
			}
		}
		for _, f := range part {
			l.do(40, action.SheetOut{Flask: f.no})
			l.do(40, action.MetalToMetal{Flask: f.no})
			clamp := l.do(30, action.Clamp{Flask: f.no})
			if l.chance(0.01) {
				l.do(5, action.TakeBack{Of: clamp.Action.ID})
				l.do(5, action.Clamp{Flask: f.no})
			}
		}
	}
	set := 1860
	if l.chance(0.1) {
		set = 900
	}
	var all []int
	for _, f := range fs {
		all = append(all, f.no)
	}
	l.do(set, action.BathLoad{Flasks: all, Programme: "short and boil"})
	cure := 3*3600 + 1860
	if l.chance(0.05) {
		cure = 3 * 3600
		for _, f := range fs {
			f.odds += 0.15
		}
	}
	l.do(cure, action.BathUnload{Flasks: all})
	l.do(1860, action.CoolWater{Flasks: all})
	l.do(960, action.Deflask{Flasks: all})
	for _, f := range fs {
		pin := math.Round(10*math.Exp(-1+0.5*l.rng.NormFloat64())) / 10
		l.do(60, action.Remount{Flask: f.no, PinMM: pin})
		out := action.Outcome{Flask: f.no, Outcome: "finished here"}
		if l.chance(f.odds) {
			out.Outcome = action.Outcomes[1+l.rng.IntN(2)]
			out.Defects = []string{action.Defects[l.rng.IntN(len(action.Defects))]}
		}
		l.do(30, out)
	}
}

// month works so many flasks, two rounds a day at most, and gives the bench and the
// bounds of the month.
func month(t testing.TB, seed uint64, n int) (l *lab, from, until time.Time) {
	from = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	until = from.AddDate(0, 1, 0)
	l = newLab(t, seed, from)
	for i := 0; n > 0; i++ {
		begin := from.AddDate(0, 0, i/2).Add(time.Duration(6+9*(i%2)) * time.Hour)
		if l.at.Before(begin) {
			l.at = begin
		}
		k := min(n, 9)
		l.round(k)
		n -= k
	}
	return l, from, until
}

func BenchmarkMonthOf500(b *testing.B) {
	l, from, until := month(b, 1, 500)
	folded := bench.Fold(l.recs, bench.Counters{})
	b.ReportMetric(float64(len(l.recs)), "records")
	for b.Loop() {
		Of(folded, from, until, Boiling(folded, from, until))
	}
}

func BenchmarkPageOf500(b *testing.B) {
	l, from, until := month(b, 1, 500)
	r := Of(bench.Fold(l.recs, bench.Counters{}), from, until, boil{})
	n := 0
	for b.Loop() {
		var w counter
		if err := r.HTML(&w); err != nil {
			b.Fatal(err)
		}
		n = int(w)
	}
	b.ReportMetric(float64(n), "bytes")
}

type counter int

func (c *counter) Write(p []byte) (int, error) { *c += counter(len(p)); return len(p), nil }
