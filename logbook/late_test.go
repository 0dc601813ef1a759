package logbook

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// shop is a bench where flasks come and go fast, so that most of its records have left
// the living bench, and where much is typed long after it was done.
type shop struct {
	t  *rapid.T
	ck *simclock.Hand
	b  *Book
	m  model
	n  int
}

// body draws what may be done next, mostly possible.
func (s *shop) body() action.Body {
	b := s.b.State().Bench
	var work, in []int
	for p := 1; p <= action.Places; p++ {
		f := b.OnPlace(p)
		if f == nil {
			continue
		}
		work = append(work, f.No)
		if f.Stage == bench.InBath {
			in = append(in, f.No)
		}
	}
	some := func(ns []int) []int { return ns[:rapid.IntRange(1, len(ns)).Draw(s.t, "of them")] }
	lot := action.LotIn{Material: "powder", Lot: fmt.Sprint("P", s.n)}
	switch k := rapid.IntRange(0, 9).Draw(s.t, "what"); {
	case k < 3 && b.FreePlace() > 0:
		return action.FlaskOpen{Place: b.FreePlace(), Case: fmt.Sprint(4000 + s.n), Base: "upper", Size: "large"}
	case k < 5 && len(work) > 0:
		return action.BathLoad{Flasks: some(work), Programme: b.House.Programmes[0].Name}
	case k == 5 && len(in) > 0:
		return action.BathUnload{Flasks: some(in)}
	case k == 6 && len(work) > 0:
		return action.MixMake{Flasks: some(work)}
	case k < 9 && len(work) > 0:
		return action.Outcome{Flask: rapid.SampledFrom(work).Draw(s.t, "flask"), Outcome: "remake"}
	case k == 9:
		return action.TimerStart{Label: "stone", Count: "up"}
	}
	return lot
}

func (s *shop) step() {
	s.ck.Run(time.Duration(rapid.SampledFrom([]int{60, 900, 7200, 33000, 200_000}).Draw(s.t, "passes")) * time.Second)
	late := rapid.SampledFrom([]int{0, 0, 0, 0, 60, 3600, 40_000, 200_000, 900_000}).Draw(s.t, "late")
	s.n++
	a := action.Action{ID: fmt.Sprint("a", s.n), At: s.ck.Read().Wall.Add(-time.Duration(late) * time.Second), Why: "5", Body: s.body()}
	r, err := s.b.Append(a)
	if err != nil {
		return
	}
	s.m.recs = append(s.m.recs, r.Record)
}

// What a bench was at an instant, and what a sheet of a stretch of time tells, is what
// all records up to then make, however late some of them were typed: one late line, of a
// lot or of another flask, empties no bench of the past.
func TestLateEntriesTakeNothingFromThePast(t *testing.T) {
	t.Parallel()
	dir, n := inMemory(t), 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		ck, path := simclock.At(start, "boot-0"), bookIn(t, dir)
		if n%2 == 0 {
			if err := makeNewest(path, ck); err != nil {
				rt.Fatal(err)
			}
		}
		b, err := Open(path, ck)
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = b.Close() }() // nothing more is wanted of it
		s := &shop{t: rt, ck: ck, b: b}
		for range rapid.IntRange(60, 140).Draw(rt, "steps") {
			s.step()
		}
		if len(s.m.recs) == 0 {
			return
		}
		same := func(what string, got *bench.Bench, corrections bool, until, at time.Time) {
			now := timers.Now{Reading: ck.Read()}
			back := now.Wall.Sub(at)
			now.Wall, now.Boot, now.Mono = at, now.Boot-back, now.Mono-back
			want := bench.Fold(s.m.until(until, corrections), bench.Counters{})
			if !clearPlaces(want) {
				return // a late opening on a place that was taken: who stands there is anybody's guess
			}
			got.Top, want.Top = bench.Counters{}, bench.Counters{} // they count what is at hand
			if d := benchtest.Difference(benchtest.DumpWork(got, now), benchtest.DumpWork(want, now)); d != "" {
				rt.Fatalf("%s:\n%s", what, d)
			}
		}
		at := func(label string) time.Time {
			i := rapid.IntRange(0, len(s.m.recs)-1).Draw(rt, label)
			return s.m.recs[i].Stamp.At.Add(time.Duration(rapid.SampledFrom([]int{0, 0, 1, 40_000}).Draw(rt, "after")) * time.Second)
		}
		for range 6 {
			from, end := at("then"), at("until")
			if end.Before(from) {
				from, end = end, from
			}
			end = end.Add(1)
			got, err := b.AsOf(from)
			if err != nil {
				rt.Fatal(err)
			}
			same("as of "+from.String(), got, false, from.Add(1), from)
			if got, err = b.Whole(from, end); err != nil {
				rt.Fatal(err)
			}
			same(fmt.Sprint("from ", from, " until ", end), got, true, end, end)
			for _, r := range s.m.recs {
				if !r.Stamp.At.Before(from) && r.Stamp.At.Before(end) && !slices.ContainsFunc(got.Items, func(it bench.Item) bool { return it.Seq == r.Seq }) && r.Action.Kind() != "lot-in" {
					rt.Fatalf("record %d of %s to %s is not among what was gathered", r.Seq, from, end)
				}
			}
		}
	})
}
