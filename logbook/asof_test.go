package logbook

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// until leaves the records of what was done before an instant, and where asked the
// corrections made since.
func (m *model) until(t time.Time, corrections bool) []record.Record {
	var out []record.Record
	for _, r := range m.recs {
		_, isCorrect := r.Action.Body.(action.Correct)
		_, isBack := r.Action.Body.(action.TakeBack)
		if r.Stamp.At.Before(t) || corrections && (isCorrect || isBack) {
			out = append(out, r)
		}
	}
	return out
}

// The bench as of any instant, and that of any stretch of time, is the one folded
// from all the records of the model up to then. Of the register only the lots that its
// records name are in it.
func TestAsOfAndWholeAgainstModel(t *testing.T) {
	dir := inMemory(t)
	rapid.Check(t, func(rt *rapid.T) {
		ck := simclock.At(start, "boot-0")
		b, err := Open(bookIn(t, dir), ck)
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = b.Close() }() // nothing more is wanted of it
		w := &walk{t: rt, ck: ck, b: b}
		for range rapid.IntRange(1, historySteps).Draw(rt, "steps") {
			ck.Run(time.Duration(rapid.SampledFrom([]int{1, 60, 900, 7200, 33000}).Draw(rt, "passes")) * time.Second)
			a := w.draw()
			a.At, a.Why = ck.Read().Wall, "1"
			s, err := b.Append(a)
			if err != nil || s.Already { // an alarm that was answered at that moment
				continue
			}
			w.m.recs = append(w.m.recs, s.Record)
			w.ids = append(w.ids, a.ID)
		}
		if !clearPlaces(w.m.bench()) || len(w.m.recs) == 0 {
			return
		}
		same := func(what string, got *bench.Bench, recs []record.Record, at time.Time) {
			now := timers.Now{Reading: ck.Read()}
			back := now.Wall.Sub(at)
			now.Wall, now.Boot, now.Mono = at, now.Boot-back, now.Mono-back
			want := bench.Fold(recs, bench.Counters{})
			if !clearPlaces(want) {
				return
			}
			got.Top, want.Top = bench.Counters{}, bench.Counters{} // they count what is at hand
			if d := benchtest.Difference(benchtest.DumpWork(got, now), benchtest.DumpWork(want, now)); d != "" {
				rt.Fatalf("%s:\n%s", what, d)
			}
		}
		for range 4 {
			i := rapid.IntRange(0, len(w.m.recs)-1).Draw(rt, "then")
			j := rapid.IntRange(i, len(w.m.recs)-1).Draw(rt, "until")
			from := w.m.recs[i].Stamp.At
			got, err := b.AsOf(from)
			if err != nil {
				rt.Fatal(err)
			}
			same(fmt.Sprintf("as of record %d", i+1), got, w.m.until(from.Add(1), false), from)
			end := w.m.recs[j].Stamp.At.Add(1)
			if got, err = b.Whole(from, end); err != nil {
				rt.Fatal(err)
			}
			same(fmt.Sprintf("records %d to %d", i+1, j+1), got, w.m.until(end, true), end)
			recs, err := b.Between(from, end)
			if err != nil || len(recs) != j-i+1 || recs[0].Seq != uint64(i+1) {
				rt.Fatalf("between records %d and %d: %d records, %v", i+1, j+1, len(recs), err)
			}
		}
	})
}

// historySteps is how long the histories looked back upon are.
const historySteps = 40
