package timeline_test

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
	"flaskside/logbook/timeline"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var morning = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("CET", 3600))

// day is a bench made by hand, record by record.
type day struct {
	t    rapid.TB
	ck   *simclock.Hand
	recs []record.Record
	b    *bench.Bench
}

func newDay(t rapid.TB) *day {
	return &day{t: t, ck: simclock.At(morning, "boot-0"), b: bench.Fold(nil, bench.Counters{})}
}

func (d *day) now() timers.Now { return timers.Now{Reading: d.ck.Read()} }

// try records an action if it is taken, with a reason where one is asked for.
func (d *day) try(body action.Body) bool {
	now := d.now()
	a := action.Action{ID: fmt.Sprintf("a%d", len(d.recs)+1), At: now.Wall, By: "KT", Body: body}
	stamp := timers.StampAt(a.At, now.Reading)
	checked, err := d.b.Check(a, stamp, now)
	var ask *bench.NeedsReason
	if errors.As(err, &ask) {
		a.Why = "1"
		checked, err = d.b.Check(a, stamp, now)
	}
	if err != nil {
		return false
	}
	prev := record.Genesis("LINE")
	if len(d.recs) > 0 {
		prev = d.recs[len(d.recs)-1].Hash()
	}
	r, err := record.Write(uint64(len(d.recs)+1), prev, now.Reading, stamp, checked)
	if err == nil {
		r, err = record.Decode(r.Raw)
	}
	if err != nil {
		d.t.Fatalf("%v", err)
	}
	d.recs = append(d.recs, r)
	d.b = bench.Fold(d.recs, bench.Counters{})
	return true
}

func (d *day) do(after time.Duration, body action.Body) {
	d.t.Helper()
	d.ck.Run(after)
	if !d.try(body) {
		d.t.Fatalf("%+v is refused", body)
	}
}

func (d *day) row(k timeline.Owner, no int) timeline.Row {
	d.t.Helper()
	for _, r := range timeline.Of(d.b, d.now()).Rows {
		if r.Kind == k && r.No == no {
			return r
		}
	}
	d.t.Fatalf("no row %s %d", k, no)
	return timeline.Row{}
}

// A closure is a bar of its press, its hold's end marked; once open it is history. The
// times are those of the acts themselves.
func TestPressAndBathHaveRows(t *testing.T) {
	d := newDay(t)
	d.do(0, action.FlaskOpen{Place: 4, Case: "4417", Base: "upper", Size: "medium"})
	d.do(time.Minute, action.Coat{Flask: 1, Half: "both"})
	dry := d.row(timeline.Flask, 1).Bars
	if len(dry) != 1 || !dry[0].From.Equal(morning.Add(time.Minute)) || dry[0].Earliest.IsZero() {
		t.Fatalf("drying is %+v", dry)
	}
	d.do(time.Hour, action.MixMake{Flasks: []int{1}})
	d.do(15*time.Minute, action.PressIn{Flask: 1})
	in := d.now().Wall
	d.ck.Run(10 * time.Second)
	if got := d.row(timeline.Press, 1).Bars; len(got) != 1 || got[0].Ended || !got[0].From.Equal(in) || !got[0].To.Equal(d.now().Wall) {
		t.Errorf("laid in, the press has %+v", got)
	}
	d.do(0, action.PressAt{Flask: 1, HoldS: 60})
	if got := d.row(timeline.Press, 1).Bars[0]; !got.Earliest.Equal(d.now().Wall.Add(time.Minute)) || !got.To.Equal(got.Earliest) {
		t.Errorf("at pressure, the press has %+v", got)
	}
	d.do(70*time.Second, action.PressOpen{Flask: 1})
	if got := d.row(timeline.Press, 1).Bars[0]; !got.Ended || !got.To.Equal(d.now().Wall) || !slices.Equal(got.Places, []int{4}) {
		t.Errorf("opened, the press has %+v", got)
	}
	d.do(0, action.Flash{Flask: 1, Grade: "slight"})
	d.do(0, action.SheetOut{Flask: 1})
	d.do(0, action.MetalToMetal{Flask: 1})
	d.do(time.Minute, action.Clamp{Flask: 1})
	d.do(time.Hour, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"})
	got := d.row(timeline.Bath, 1).Bars
	if len(got) != 1 || got[0].Ended || !got[0].Earliest.Equal(d.now().Wall.Add(9*time.Hour)) || !slices.Equal(got[0].Places, []int{4}) {
		t.Errorf("the bath has %+v", got)
	}
	d.do(10*time.Hour, action.BathUnload{Flasks: []int{1}})
	if got := d.row(timeline.Bath, 1).Bars; len(got) != 1 || !got[0].Ended || !got[0].To.Equal(d.now().Wall) {
		t.Errorf("unloaded, the bath has %+v", got)
	}
}

// What the line must never do, whatever was done at the bench: leave out a flask or a
// running timer, show one twice, call a timer late before its latest or not late after it,
// call history what runs, or reach without end.
func TestLineIsTrueToTheBench(t *testing.T) {
	longrun.Checks(t, 30, 100)
	rapid.Check(t, func(t *rapid.T) {
		d := newDay(t)
		for range rapid.IntRange(1, 40).Draw(t, "acts") {
			d.ck.Run(time.Duration(rapid.SampledFrom([]int{0, 1, 10, 60, 300, 900, 1800, 7200, 33000}).Draw(t, "passes")) * time.Second)
			var old []string
			for _, r := range d.recs {
				old = append(old, r.Action.ID)
			}
			d.try(benchtest.Draw(t, d.b, d.now(), old))
			d.holds(t)
		}
	})
}

func (d *day) holds(t *rapid.T) {
	now := d.now()
	l := timeline.Of(d.b, now)
	if !l.From.Before(l.To) || now.Wall.Before(l.From) || !now.Wall.Before(l.To) || l.To.Sub(l.From) > 24*time.Hour || l.From.Minute() != 0 || l.To.Minute() != 0 {
		t.Fatalf("the line runs from %v to %v at %v", l.From, l.To, now.Wall)
	}
	var flasks []int
	running := map[int]int{} // closures at work by press
	for _, r := range l.Rows {
		if r.Kind == timeline.Flask {
			flasks = append(flasks, r.No)
		}
		for _, b := range r.Bars {
			ends := []time.Time{b.From}
			for _, e := range []time.Time{b.Earliest, b.Aim, b.Latest} {
				if !e.IsZero() {
					ends = append(ends, e)
				}
			}
			for _, e := range ends {
				if e.Before(b.From) || e.After(b.To) {
					t.Fatalf("an end of %+v lies outside it", b)
				}
			}
			if late := !b.Latest.IsZero() && !now.Wall.Before(b.Latest); late != b.Over && !b.Ended {
				t.Fatalf("at %v late is %v: %+v", now.Wall, b.Over, b)
			}
			if b.Ended && b.To.After(now.Wall) {
				t.Fatalf("history reaches beyond now: %+v", b)
			}
			if r.Kind == timeline.Press && !b.Ended {
				running[r.No]++
			}
		}
	}
	var want []int
	inBath := map[string]int{}
	for f := range d.b.AtWork() {
		if s := d.b.SpotOf(f); s.Bath == 0 {
			want = append(want, f.No)
		} else {
			inBath[fmt.Sprint(s.Bath, " ", f.Case)]++
		}
	}
	for _, r := range l.Rows { // those have the row of their bath
		if r.Kind != timeline.Bath {
			continue // a press names the cases of what was closed in it, too
		}
		for _, b := range r.Bars {
			for _, c := range b.Cases {
				inBath[fmt.Sprint(r.No, " ", c)]--
			}
		}
	}
	for at, n := range inBath {
		if n != 0 {
			t.Fatalf("in bath and case %s: %d too few in the rows of the baths", at, n)
		}
	}
	if !slices.Equal(flasks, want) {
		t.Fatalf("rows of the flasks %v, on the bench are %v", flasks, want)
	}
	for n := 1; n <= d.b.House.Press.Presses; n++ {
		if in := len(d.b.InPress(n)); in != running[n] && l.Now.Sub(l.From) > 0 {
			for _, f := range d.b.InPress(n) { // laid in long before the line begins, or by a record taken back
				if len(f.Trials) == 0 && f.Metal == nil {
					in--
				}
			}
			if in != running[n] {
				t.Fatalf("press %d has %d flasks and %d bars that run", n, in, running[n])
			}
		}
	}
	for _, w := range d.b.Windows() {
		st := w.Stand(now)
		bar := timeline.BarOf(st, now)
		if bar.To.Before(l.From) || bar.From.After(l.To) || len(w.Flasks) == 0 && w.What != bench.Own && (w.Case == "" || w.Place == "") {
			continue
		}
		seen := false
		for _, r := range l.Rows {
			seen = seen || slices.ContainsFunc(r.Bars, func(b timeline.Bar) bool {
				return b.From.Equal(bar.From) && b.To.Equal(bar.To) && b.Latest.Equal(bar.Latest)
			})
		}
		if !seen {
			t.Fatalf("timer %s has no bar", w.Key)
		}
	}
}
