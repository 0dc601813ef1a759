package logbook

import (
	"encoding/json"
	"flag"
	"fmt"
	"iter"
	"path/filepath"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var longRecords = flag.Int("long-records", 60_000, "records of the long book that the benchmarks read")

// wholeShift is the invented shift taken to its end, so that nothing stays at work,
// with a correction and a taking back: what one day of a long book is.
func wholeShift(t testing.TB) []record.Record {
	t.Helper()
	b := shift(t)
	h := hands{t: &testing.T{}, b: b, ck: b.clock.(*simclock.Hand)}
	must := func(after time.Duration, body action.Body) Saved {
		s, err := h.try(after, body, "1")
		if err != nil {
			t.Fatalf("%s: %v", body.Kind(), err)
		}
		return s
	}
	both := []int{3, 4}
	must(9*time.Hour, action.BathUnload{Flasks: both})
	must(30*minute, action.CoolWater{Flasks: both})
	must(15*minute, action.Deflask{Flasks: both})
	must(minute, action.Remount{Flask: 3, PinMM: 0.2})
	pin := must(minute, action.Remount{Flask: 4, PinMM: 0.2})
	must(minute, action.Correct{Of: pin.Action.ID, Set: json.RawMessage(`{"pin_mm":0.3}`)})
	must(minute, action.Outcome{Flask: 3, Outcome: "finished here"})
	out := must(minute, action.Outcome{Flask: 4, Outcome: "remake"})
	must(minute, action.TakeBack{Of: out.Action.ID})
	must(minute, action.Outcome{Flask: 4, Outcome: "finished here"})
	return records(t, b)
}

// longBook gives the records of shift after shift in one chain, n of them.
func longBook(t testing.TB, id string, n int) iter.Seq2[record.Record, error] {
	days := wholeShift(t)
	return func(yield func(record.Record, error) bool) {
		seq, prev := uint64(0), record.Genesis(id)
		for day := 0; ; day++ {
			for _, r := range days {
				if int(seq) == n {
					return
				}
				a := r.Action
				a.At = a.At.AddDate(0, 0, day)
				a.ID = idOn(a.ID, day)
				var err error
				if a.Body, err = onDay(a.Body, day); err == nil {
					r, err = record.Write(seq+1, prev, timers.Reading{Wall: a.At, BootID: "boot-1", Boot: time.Duration(seq)},
						timers.Stamp{At: a.At, BootID: "boot-1", Boot: time.Duration(seq + 1)}, a)
				}
				if !yield(r, err) || err != nil {
					return
				}
				seq, prev = r.Seq, r.Hash()
			}
		}
	}
}

// idOn makes an id as long as those of the program, in order of the days.
func idOn(id string, day int) string { return fmt.Sprintf("%012x-%012s", day, id) }

// onDay moves the numbers in a body to those of a later shift.
func onDay(body action.Body, day int) (action.Body, error) {
	raw, err := action.Encode(body)
	if err != nil {
		return nil, err
	}
	var m map[string]any
	if err := json.Unmarshal(raw, &m); err != nil {
		return nil, err
	}
	shiftBy := map[string]float64{"flask": 4, "mix": 2, "load": 2}
	var move func(m map[string]any)
	move = func(m map[string]any) {
		for k, by := range shiftBy {
			if v, ok := m[k].(float64); ok {
				m[k] = v + by*float64(day)
			}
		}
		if fs, ok := m["flasks"].([]any); ok {
			for i := range fs {
				fs[i] = fs[i].(float64) + 4*float64(day)
			}
		}
		if ss, ok := m["sections"].([]any); ok {
			for _, s := range ss {
				move(s.(map[string]any))
			}
		}
		if of, ok := m["of"].(string); ok {
			m["of"] = idOn(of, day)
		}
	}
	move(m)
	if raw, err = json.Marshal(m); err != nil {
		return nil, err
	}
	return action.DecodeBody(body.Kind(), raw)
}

// longFile is a long book in a file.
func longFile(t testing.TB, n int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "long.db")
	meta := map[string]string{"format": format, "book": "LONG", "created": start.Format(time.RFC3339)}
	if err := build(path, meta, nil, longBook(t, "LONG", n)); err != nil {
		t.Fatal(err)
	}
	return path
}

// A long book is sound, and opens with nothing at work.
func TestVerifyLong(t *testing.T) {
	n := longrun.Times(8_000, 20_000) // more than verify reads ahead
	rep := verified(t, longFile(t, n), check.Verifying{})
	if rep.Records != uint64(n) || len(rep.Faults) > 0 {
		t.Errorf("%d records, faults:\n%s", rep.Records, lines(rep.Faults))
	}
}

// BenchmarkVerify looks through a long book that is in the machine's memory.
func BenchmarkVerify(b *testing.B) {
	path := longFile(b, *longRecords)
	began := costOf(b)
	for b.Loop() {
		rep, err := Verify(path, check.Verifying{})
		if err != nil || len(rep.Faults) > 0 {
			b.Fatal(err, lines(rep.Faults))
		}
	}
	n := float64(*longRecords) * float64(b.N)
	b.ReportMetric(n/b.Elapsed().Seconds(), "records/s")
	b.ReportMetric(float64((costOf(b)-began).Nanoseconds())/n/1e3, "cpu-µs/record")
}

// BenchmarkSalvage brings a long book together from its file alone.
func BenchmarkSalvage(b *testing.B) {
	path := longFile(b, *longRecords)
	n := 0
	for b.Loop() {
		n++
		s, err := Salvage(path, nil, fmt.Sprintf("%s.%d", path, n), nil, simclock.At(start, "b"), nil)
		if err != nil || s.Records != uint64(*longRecords) {
			b.Fatal(err, s.Records)
		}
	}
	b.ReportMetric(float64(*longRecords)*float64(b.N)/b.Elapsed().Seconds(), "records/s")
}
