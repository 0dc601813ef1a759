package bench_test

import (
	"errors"
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

// The list of cases never says what is not so: no piece of work is on it twice, none whose
// flask has an outcome is at work, none that was taken off or delivered waits, and whatever
// was taken in and is not done, off or delivered is on it.
func TestListOfCasesSaysWhatIsSo(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), "boot-1")
		var recs []record.Record
		b := bench.Fold(nil, bench.Counters{})
		boots := 1
		for range rapid.IntRange(1, 60).Draw(t, "records") {
			pass(t, ck, &boots)
			r, ok := add(t, b, ck, recs)
			if !ok {
				continue
			}
			recs = append(recs, r)
			b = bench.Fold(recs, bench.Counters{})
			holdsCases(t, b)
		}
	})
}

func holdsCases(t *rapid.T, b *bench.Bench) {
	seen := map[string]bool{}
	for _, k := range b.Cases() {
		if seen[k.Name()] {
			t.Fatalf("case %s is on the list twice", k.Name())
		}
		seen[k.Name()] = true
		if f := b.Flasks[k.Flask]; k.Flask > 0 && (f == nil || f.Stage == bench.Finished) {
			t.Fatalf("case %s is at work in flask %d, which is %+v", k.Name(), k.Flask, f)
		}
	}
	// What ends a case, told by the records themselves.
	last := map[string]action.Body{}
	flask := map[int]string{}
	for _, it := range b.Items {
		if it.TakenBack != nil {
			continue
		}
		number, base, _ := action.CaseOf(it.Body)
		name := number + " " + base
		switch a := it.Body.(type) {
		case action.CaseIn:
			last[name] = a
		case action.CaseOff, action.CaseDelivered:
			last[name] = a
		case action.FlaskOpen:
			flask[a.Flask] = name
		case action.Outcome:
			if n := flask[a.Flask]; a.Outcome != "remake" {
				if in, ok := last[n].(action.CaseIn); !ok || in.Route == "" || in.Ends != "" {
					last[n] = a
				}
			}
		case action.CaseStep:
			if a.Last {
				last[name] = a
			}
		}
	}
	for name, body := range last {
		switch body.(type) {
		case action.CaseOff, action.CaseDelivered, action.CaseStep:
			if seen[name] {
				t.Fatalf("case %s was %s and is on the list", name, body.Kind())
			}
		case action.CaseIn:
			if !seen[name] {
				t.Fatalf("case %s was taken in and is nowhere", name)
			}
		}
	}
	for i, k := range b.Cases() {
		if i > 0 && k.DueAt().Before(b.Cases()[i-1].DueAt()) {
			t.Fatal("the list is not in the order of the due times")
		}
	}
}

// A shift of a pair: what parts the halves is marked, asks nothing, and is told once.
func TestHalvesThatPartAreTold(t *testing.T) {
	s := newStock(t)
	s.do(action.FlaskOpen{Place: 3, Case: "4417", Base: "lower", Size: "small"}, "")
	s.do(action.MixMake{Flasks: []int{1}, PowderLot: "P-1", LiquidLot: "L-1"}, "")
	if a := s.do(action.MixMake{Flasks: []int{2}, PowderLot: "P-9"}, ""); len(a.Unusual) > 0 {
		t.Errorf("another case: %v", a.Unusual)
	}
	a := s.do(action.MixMake{Flasks: []int{3}, PowderLot: "P-2", LiquidLot: "L-1"}, "")
	if !slices.Contains(a.Unusual, bench.OddCode(bench.PairLotCode, 3)) || a.Why != "" {
		t.Errorf("other powder: %v, %q", a.Unusual, a.Why)
	}
	load := func(n int) action.Action {
		return s.do(action.BathLoad{Flasks: []int{n}, Programme: s.bench().House.Programmes[0].Name}, "8")
	}
	if a := load(1); slices.Contains(a.Unusual, bench.OddCode(bench.PairLoadCode, 1)) {
		t.Errorf("the first into the bath is told apart: %v", a.Unusual)
	}
	if a := load(3); !slices.Contains(a.Unusual, bench.OddCode(bench.PairLoadCode, 3)) {
		t.Errorf("another load: %v", a.Unusual)
	}
	got := s.bench().UnusualOf(s.bench().Flasks[3])
	if !slices.Contains(got, bench.PairLotCode) || !slices.Contains(got, bench.PairLoadCode) || slices.Contains(s.bench().UnusualOf(s.bench().Flasks[1]), bench.PairLoadCode) {
		t.Errorf("told of flask 3: %v", got)
	}
}

// Each question about a case, and what makes it go away.
func TestQuestionsAboutCases(t *testing.T) {
	s := newStock(t)
	due := s.ck.Read().Wall.Add(9 * time.Hour).Format(time.RFC3339)
	in := action.CaseIn{Case: "4500", Base: "upper", Size: "medium", Due: due}
	s.do(in, "")
	refused := func(body action.Body) {
		t.Helper()
		var odd *bench.NeedsReason
		if _, err := s.say(body, "8"); err == nil || errors.As(err, &odd) {
			t.Errorf("%+v: %v, want a refusal", body, err)
		}
	}
	asks := func(body action.Body, want string) {
		t.Helper()
		_, err := s.say(body, "")
		if codes, _ := asked(err); codes != want {
			t.Errorf("%+v asks %q (%v), want %q", body, codes, err, want)
		}
	}
	refused(in)
	refused(action.CaseIn{Case: "4502", Base: "upper", Due: due}) // no size for its flask
	refused(action.CaseIn{Case: "4502", Base: "upper", Due: due, Route: "packed"})
	s.do(action.CaseIn{Case: "4502", Base: "upper", Due: due, Route: "pot"}, "")
	if k, ok := s.bench().CaseOnList("4502", "upper"); !ok || k.Size != "" {
		t.Errorf("a repair in the pot has the size %q, which nobody said", k.Size)
	}
	refused(action.CaseOff{Case: "4500", Base: "lower", Reason: "x"})
	asks(action.CaseIn{Case: "4501", Base: "upper", Size: "medium", Due: s.ck.Read().Wall.Add(-time.Hour).Format(time.RFC3339)}, bench.DuePastCode)
	asks(action.CaseIn{Case: "4501", Base: "upper", Size: "medium", Due: due, Resin: "glue"}, bench.ResinCode)
	asks(action.CaseDelivered{Case: "4500", Base: "upper"}, bench.CaseOpenCode)
	s.do(action.FlaskOpen{Place: 3, Case: "4500", Base: "upper", Size: "medium"}, "")
	asks(action.FlaskOpen{Place: 4, Case: "4500", Base: "upper", Size: "medium"}, bench.CaseDoubleCode)
	asks(action.CaseOff{Case: "4500", Base: "upper", Reason: "x"}, bench.CaseOpenCode)
	s.do(action.Outcome{Flask: 3, Outcome: "remake", Defects: []string{"porosity"}}, "8")
	if k, ok := s.bench().CaseOnList("4500", "upper"); !ok || !k.Waits() || k.Remakes != 1 {
		t.Errorf("after a remake: %+v, %v", k, ok)
	}
	if d := benchtest.Difference(benchtest.Dump(bench.Fold(s.bench().Living(), s.bench().Top), timers.Now{Reading: s.ck.Read()}), benchtest.Dump(s.bench(), timers.Now{Reading: s.ck.Read()})); d != "" {
		t.Error(d)
	}
	s.do(action.FlaskOpen{Place: 4, Case: "4500", Base: "upper", Size: "medium"}, "")
	s.do(action.Outcome{Flask: 4, Outcome: "finished here"}, "8")
	if _, ok := s.bench().CaseOnList("4500", "upper"); ok {
		t.Error("the case is on the list though its flask is finished")
	}
}
