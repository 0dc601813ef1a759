package bench_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// pass lets a random time pass, as a rule in an ordinary way.
func pass(t *rapid.T, ck *simclock.Hand, boots *int) {
	d := time.Duration(rapid.SampledFrom([]int{0, 1, 10, 60, 300, 900, 1800, 7200, 33000}).Draw(t, "passes")) * time.Second
	switch rapid.IntRange(0, 30).Draw(t, "clock") {
	case 0:
		ck.Sleep(d)
	case 1:
		*boots++
		ck.Reboot(d+time.Minute, fmt.Sprintf("boot-%d", *boots))
	default:
		ck.Run(d)
	}
}

// add draws an action, holds it against the bench and makes a record of it. A reason
// is given where one is asked for. ok is false where the action was refused.
func add(t *rapid.T, b *bench.Bench, ck *simclock.Hand, recs []record.Record) (record.Record, bool) {
	var old []string
	for _, it := range b.Items {
		old = append(old, it.Action.ID)
	}
	ago := time.Duration(rapid.SampledFrom([]int{0, 0, 0, 0, 5}).Draw(t, "ago")) * time.Second
	r, err := take(t, b, ck, recs, ago, benchtest.Draw(t, b, timers.Now{Reading: ck.Read()}, old))
	return r, err == nil
}

// take holds a body against the bench and makes a record of it; a reason is given where one
// is asked for.
func take(t *rapid.T, b *bench.Bench, ck *simclock.Hand, recs []record.Record, ago time.Duration, body action.Body) (record.Record, error) {
	now := timers.Now{Reading: ck.Read()}
	a := action.Action{ID: fmt.Sprintf("a%d", len(recs)+1), At: now.Wall.Add(-ago), By: "KT", Body: body}
	switch a.Body.(type) {
	case action.Correct, action.TakeBack:
		b = bench.Fold(recs, top(recs)) // a book reads again what they speak of
	}
	stamp := timers.StampAt(a.At, now.Reading)
	checked, err := b.Check(a, stamp, now)
	var ask *bench.NeedsReason
	if errors.As(err, &ask) {
		a.Why = "1"
		if checked, err = b.Check(a, stamp, now); errors.As(err, &ask) {
			t.Fatalf("a reason was given and is asked for: %v", err)
		}
	}
	if err != nil {
		return record.Record{}, err
	}
	prev := record.Genesis("RANDOM")
	if len(recs) > 0 {
		prev = recs[len(recs)-1].Hash()
	}
	r, err := record.Write(uint64(len(recs)+1), prev, now.Reading, stamp, checked)
	if err != nil {
		t.Fatalf("%+v is taken and cannot be written: %v", checked, err)
	}
	// What is folded is what will be read.
	if r, err = record.Decode(r.Raw); err != nil {
		t.Fatalf("%s was written and cannot be read: %v", r.Raw, err)
	}
	return r, nil
}

// top reads the highest numbers used from the records themselves, taken back or not.
func top(recs []record.Record) (c bench.Counters) {
	for _, r := range recs {
		c.Seq = r.Seq
		switch a := r.Action.Body.(type) {
		case action.FlaskOpen:
			c.Flask = max(c.Flask, a.Flask)
		case action.MixMake:
			c.Mix = max(c.Mix, a.Mix)
		case action.BathLoad:
			c.Load = max(c.Load, a.Load)
		case action.TimerStart:
			c.Timer = max(c.Timer, a.Timer)
		}
	}
	return c
}

// alone tells whether no two flasks claim one place.
func alone(b *bench.Bench) bool {
	on := map[int]bool{}
	for _, f := range b.Flasks {
		if f.Place > 0 && f.Stage != bench.Finished {
			if on[f.Place] {
				return false
			}
			on[f.Place] = true
		}
	}
	return true
}

// A bench that is moved on says what the fold of all its records says; the one that it was
// moved on from goes on saying what it said, also when it is moved on a second time.
func TestMovedOnIsFold(t *testing.T) {
	longrun.Checks(t, 30, 400)
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(morning, "boot-0")
		var recs, rests []record.Record // of the book; those that the bench rests on
		boots := 0
		cur := bench.Fold(nil, bench.Counters{})
		kept := []*bench.Bench{cur}
		of := [][]record.Record{nil}
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			pass(t, ck, &boots)
			r, ok := add(t, cur, ck, recs)
			if !ok {
				continue
			}
			if rapid.IntRange(0, 3).Draw(t, "aside") == 0 { // one like it, which is not stored in the end
				other := r
				other.Stamp.At, other.Stamp.Boot, other.Action.By = r.Stamp.At.Add(time.Second), r.Stamp.Boot+time.Second, "ZZ"
				kept, of = append(kept, cur.MovedOn(other)), append(of, append(slices.Clone(rests), other))
			}
			recs, rests = append(recs, r), append(rests, r)
			cur = cur.MovedOn(r)
			kept, of = append(kept, cur), append(of, slices.Clone(rests))
			if rapid.IntRange(0, 19).Draw(t, "prune") == 0 {
				rests = cur.Living()
				cur = bench.Fold(rests, cur.Top)
				kept, of = append(kept, cur), append(of, slices.Clone(rests))
			}
		}
		for i, b := range kept {
			if all := bench.Fold(of[i], b.Top); !b.Same(all) {
				now := timers.Now{Reading: ck.Read()}
				t.Fatalf("bench %d of %d, %d records, is another than their fold:\n%s", i, len(kept), len(of[i]), benchtest.Difference(benchtest.Dump(b, now), benchtest.Dump(all, now)))
			}
		}
	})
}

// Adding records one by one gives the same bench as folding them all.
func TestExtendIsFold(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(morning, "boot-0")
		var recs []record.Record
		boots := 0
		grown := bench.Fold(nil, bench.Counters{})
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			pass(t, ck, &boots)
			r, ok := add(t, grown, ck, recs)
			if !ok {
				continue
			}
			recs = append(recs, r)
			all := bench.Fold(recs, top(recs))
			if !alone(all) {
				return // who stands there is anybody's guess
			}
			now := timers.Now{Reading: ck.Read()}
			grown = grown.Extend(r)
			if d := benchtest.Difference(benchtest.Dump(grown, now), benchtest.Dump(all, now)); d != "" {
				t.Fatalf("after %s the bench grown by records is another:\n%s", r.Raw, d)
			}
			if grown.Crew != all.Crew || len(grown.Cautions) != len(all.Cautions) || grown.Seen != all.Seen || len(grown.Readings) != len(all.Readings) {
				t.Fatalf("after %s the bench grown by records knows other things", r.Raw)
			}
		}
	})
}
