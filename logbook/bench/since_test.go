package bench_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// sounding gives what sounds at a moment, by what it is about: one entry for each flask,
// mix, load, timer or bath and each end. Also ends are in it that a later one speaks for.
func sounding(b *bench.Bench, now timers.Now) map[string]timers.Stamp {
	out := map[string]timers.Stamp{}
	windows := map[string]bool{}
	for _, w := range b.Windows() {
		windows[w.Key] = true
		about := []string{fmt.Sprint("timer ", w.Timer, " mix ", w.Mix, " load ", w.Load)}
		if w.Timer+w.Mix+w.Load == 0 {
			about = nil
			for _, n := range w.Flasks {
				about = append(about, fmt.Sprint("flask ", n))
			}
		}
		if w.Case != "" {
			about = []string{w.Key}
		}
		what := string(w.What)
		if strings.Contains(what, "half") || strings.Contains(what, "halves") {
			what = "drying" // both in one window, or each in one of its own
		}
		for _, m := range w.Marks {
			if m.Priority == timers.Silent || now.Since(w.Start).For < m.After {
				continue
			}
			for _, a := range about {
				out[fmt.Sprint(a, " ", what, " ", m.End)] = w.Rose(m, now)
			}
		}
	}
	for _, s := range b.Signals(now) {
		key, end := timers.SplitSignalKey(s.Key)
		if windows[key] {
			continue
		}
		about := strings.Join(strings.Split(key, "/")[:2], " ")
		if l, ok := b.LoadOfKey(s.Key); ok {
			about = fmt.Sprint("bath ", l.Bath)
		}
		out[fmt.Sprint(about, " ", end)] = s.Rose
	}
	return out
}

// No alarm is older than the record that made it possible: whatever is recorded, also
// late, corrected or taken back, what sounds with it and did not without it began no
// earlier than it.
func TestNoAlarmIsOlderThanItsCause(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(morning, "boot-0")
		var recs []record.Record
		boots := 0
		before := bench.Fold(nil, bench.Counters{})
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			pass(t, ck, &boots)
			r, ok := add(t, before, ck, recs)
			if !ok {
				continue
			}
			recs = append(recs, r)
			after := bench.Fold(recs, top(recs))
			if !alone(after) {
				return // who stands there is anybody's guess
			}
			cause := r.Stamp
			for _, shift := range []time.Duration{0, 10 * time.Minute, 45 * time.Minute, 10 * time.Hour} {
				now := timers.Now{Reading: ck.Read()}
				now.Wall, now.Boot, now.Mono = now.Wall.Add(shift), now.Boot+shift, now.Mono+shift
				was, is := sounding(before, now), sounding(after, now)
				for key, rose := range is {
					if _, old := was[key]; !old && rose.Before(cause) {
						t.Fatalf("%s rose %s, which is before %s that made it possible", key, rose.At, r.Raw)
					}
				}
			}
			before = after
		}
	})
}

// A shortage that arises with a mix made late rises with that mix, not before it.
func TestAShortageRisesWithTheMixThatMadeIt(t *testing.T) {
	p := newPaper(t)
	p.do(0, action.FlaskOpen{Place: 1, Case: "4401", Base: "upper", Size: "large"})
	p.do(0, action.Coat{Flask: 1, Half: "both"})
	p.do(minute, action.MixMake{Flasks: []int{1}, DoughS: 300, WorkS: 600})
	now := p.now()
	made := p.b.Mixes[1].Made
	found := false
	for _, al := range p.b.Alarms(now) {
		if strings.HasSuffix(al.Key, string(bench.ShortOfDough)) {
			found = true
			if al.Rose.Before(made) || al.Since.For < 0 {
				t.Errorf("rose %s, the mix was made %s", al.Rose.At, made.At)
			}
		}
	}
	if !found {
		t.Error("ten minutes of dough for a large flask: no shortage")
	}
}

// Two flasks cool together; one goes on to the water, and that is taken back after the
// cooling is over: it is heard from then, the other since its time was up.
func TestAFlaskThatComesBackToOthersIsHeardSinceThen(t *testing.T) {
	p := newPaper(t)
	p.do(0, action.FlaskOpen{Place: 1, Case: "4401", Base: "upper", Size: "large"})
	p.do(0, action.FlaskOpen{Place: 2, Case: "4402", Base: "upper", Size: "large"})
	p.do(0, action.BathLoad{Flasks: []int{1, 2}, Programme: "long, 9 h"}, "1")
	p.do(10*hour, action.BathUnload{Flasks: []int{1, 2}, BenchS: 1800})
	water := p.do(10*minute, action.CoolWater{Flasks: []int{1}}, "1")
	p.do(2*hour, action.TakeBack{Of: water})
	now := p.now()
	rose := map[int]time.Duration{}
	for _, w := range p.b.Windows() {
		if w.What == bench.BenchCool {
			for _, n := range w.Flasks {
				rose[n] = now.Since(w.Rose(*w.After(timers.Floor), now)).For
			}
		}
	}
	if len(rose) != 2 || rose[1] != 0 || rose[2] != 100*minute {
		t.Errorf("heard for %v, want flask 1 from now on, flask 2 for 1 h 40 min", rose)
	}
}

// A mix past its working time has one alarm, that it is; that the closures would not fit any
// more is not told beside it.
func TestDoughPastItsTimeHasOneAlarm(t *testing.T) {
	p := newPaper(t)
	p.do(0, action.FlaskOpen{Place: 1, Case: "4401", Base: "upper", Size: "large"})
	p.do(0, action.Coat{Flask: 1, Half: "both"})
	p.do(minute, action.MixMake{Flasks: []int{1}})
	seen := map[timers.End]bool{}
	for range 90 {
		p.ck.Run(minute)
		var low, over bool
		for _, al := range p.b.Alarms(p.now()) {
			switch key, end := timers.SplitSignalKey(al.Key); {
			case end == bench.ShortOfDough:
				low, seen[end] = true, true
			case strings.HasPrefix(key, "mix/") && end == timers.Limit:
				over, seen[end] = true, true
			}
		}
		if low && over {
			t.Fatalf("%s: both that the dough's time is short and that it is over", p.now().Wall)
		}
	}
	if !seen[bench.ShortOfDough] || !seen[timers.Limit] {
		t.Errorf("seen: %v", seen)
	}
}

// Before a ramp a bath may read anything: nothing is put in for it. Into a bath at its
// temperature the flasks go at that.
func TestNoBathTemperatureIsPutInBeforeARamp(t *testing.T) {
	for ramp, want := range map[int]float64{0: 74, 3600: 0} {
		p := newPaper(t)
		p.do(0, action.FlaskOpen{Place: 1, Case: "4401", Base: "upper", Size: "large"})
		p.do(0, action.BathLoad{Flasks: []int{1}, Programme: "own", Stages: []house.Stage{{TempC: 74, RampS: ramp, HoldS: 32400}}}, "1")
		if got := p.b.Loads[1].BathC; got != want {
			t.Errorf("ramp of %d s: the bath is put in at %g °C, want %g", ramp, got, want)
		}
	}
}

// Which load went in first the order of the book tells, also where the machine was started
// anew in between and its clock stood back.
func TestWhichLoadWasFirstTheBookTells(t *testing.T) {
	p := newPaper(t)
	for i, c := range []string{"4401", "4402"} {
		p.do(0, action.FlaskOpen{Place: i + 1, Case: c, Base: "upper", Size: "large"})
	}
	p.do(0, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "1")
	p.ck.Reboot(minute, "boot-2")
	p.ck.Step(-2 * hour)
	p.do(0, action.BathLoad{Flasks: []int{2}, Programme: "long, 9 h"}, "1")
	a, b := p.b.Loads[1], p.b.Loads[2]
	if d := a.Behind(b); d < 0 {
		t.Errorf("the second load went in %v after the first", d)
	}
	if d := b.Behind(a); d > 0 {
		t.Errorf("the first load went in %v after the second", d)
	}
}
