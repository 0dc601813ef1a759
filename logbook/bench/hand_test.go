package bench_test

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

var morning = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))

const (
	second = time.Second
	minute = time.Minute
	hour   = time.Hour
)

// paper is a bench kept on paper: records in memory, a clock moved by hand. Each
// step goes through Check and into a record as it does in the book.
type paper struct {
	t    testing.TB
	ck   *simclock.Hand
	recs []record.Record
	b    *bench.Bench
	n    int
}

func newPaper(t testing.TB) *paper {
	return &paper{t: t, ck: simclock.At(morning, "boot-1"), b: bench.Fold(nil, bench.Counters{})}
}

func (p *paper) now() timers.Now { return timers.Now{Reading: p.ck.Read()} }

// tryAt holds an action done some time ago against the bench, and records it when it
// is taken.
func (p *paper) tryAt(ago time.Duration, body action.Body, why string) (action.Action, error) {
	now := p.now()
	a := action.Action{ID: fmt.Sprintf("a%d", p.n+1), At: now.Wall.Add(-ago), By: "KT", Body: body, Why: why}
	stamp := timers.StampAt(a.At, now.Reading)
	checked, err := p.b.Check(a, stamp, now)
	if err != nil {
		return checked, err
	}
	p.n++
	prev := record.Genesis("PAPER")
	if len(p.recs) > 0 {
		prev = p.recs[len(p.recs)-1].Hash()
	}
	r, err := record.Write(uint64(len(p.recs)+1), prev, now.Reading, stamp, checked)
	if err != nil {
		p.t.Fatalf("write %s: %v", body.Kind(), err)
	}
	p.recs = append(p.recs, r)
	p.b = bench.Fold(p.recs, bench.Counters{})
	return checked, nil
}

// do lets time pass, then acts; the action must be taken. It gives its id.
func (p *paper) do(after time.Duration, body action.Body, why ...string) string {
	p.t.Helper()
	p.ck.Run(after)
	if _, err := p.tryAt(0, body, first(why)); err != nil {
		p.t.Fatalf("%s: %v", body.Kind(), err)
	}
	return p.recs[len(p.recs)-1].Action.ID
}

// unusual acts and gives the codes recorded.
func (p *paper) unusual(after time.Duration, body action.Body, why ...string) []string {
	p.t.Helper()
	p.do(after, body, why...)
	return p.recs[len(p.recs)-1].Action.Unusual
}

func first(ss []string) string {
	if len(ss) == 0 {
		return ""
	}
	return ss[0]
}

// open puts a flask on a place.
func open(place int) action.FlaskOpen {
	return action.FlaskOpen{Place: place, Case: fmt.Sprint(4400 + place), Base: "upper", Size: "medium"}
}

// step is one step of the route of flask 1, with the time that passes before it.
type step struct {
	after time.Duration
	body  action.Body
	to    bench.FlaskStage // where the flask stands after it
	next  bench.Step       // what comes next then
}

// route takes flask 1, alone on the bench, from separator to outcome, by the book:
// nothing in it is unusual.
var route = []step{
	{0, open(1), bench.Opened, bench.DoCoat},
	{minute, action.Coat{Flask: 1, Half: "cast"}, bench.Drying, bench.DoCoat},
	{minute, action.Coat{Flask: 1, Half: "teeth"}, bench.Drying, bench.DoMix},
	{5 * minute, action.MixMake{Flasks: []int{1}}, bench.Drying, bench.DoDough},
	{9 * minute, action.MixDough{Mix: 1}, bench.Drying, bench.DoPress},
	{minute, action.PressIn{Flask: 1}, bench.InPress, bench.DoReach},
	{40 * second, action.PressAt{Flask: 1}, bench.Holding, bench.DoOpen},
	{60 * second, action.PressOpen{Flask: 1}, bench.Judging, bench.DoJudge},
	{10 * second, action.Flash{Flask: 1, Grade: "heavy"}, bench.Trimmed, bench.DoPress},
	{minute, action.PressIn{Flask: 1}, bench.InPress, bench.DoReach},
	{40 * second, action.PressAt{Flask: 1}, bench.Holding, bench.DoOpen},
	{60 * second, action.PressOpen{Flask: 1}, bench.Judging, bench.DoJudge},
	{10 * second, action.Flash{Flask: 1, Grade: "slight"}, bench.Trimmed, bench.DoFinal},
	{minute, action.SheetOut{Flask: 1}, bench.Sheetout, bench.DoMetal},
	{minute, action.MetalToMetal{Flask: 1}, bench.Metal, bench.DoClamp},
	{minute, action.Clamp{Flask: 1}, bench.Set, bench.DoLoad},
	{30 * minute, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, bench.InBath, bench.DoUnload},
	{9 * hour, action.BathUnload{Flasks: []int{1}}, bench.Cooling, bench.DoWater},
	{30 * minute, action.CoolWater{Flasks: []int{1}}, bench.InWater, bench.DoDeflask},
	{15 * minute, action.Deflask{Flasks: []int{1}}, bench.Open, bench.DoRemount},
	{5 * minute, action.Remount{Flask: 1, PinMM: 0.4}, bench.Checked, bench.DoOutcome},
	{minute, action.Outcome{Flask: 1, Outcome: "finished here"}, bench.Finished, bench.DoOutcome},
}

// upTo walks the route until flask 1 stands at a stage, the last time it does.
func upTo(t testing.TB, to bench.FlaskStage) *paper {
	t.Helper()
	p := newPaper(t)
	last := -1
	for i, s := range route {
		if s.to == to {
			last = i
		}
	}
	if last < 0 {
		t.Fatalf("the route has no stage %q", to)
	}
	for _, s := range route[:last+1] {
		p.do(s.after, s.body)
	}
	return p
}

func sameSet(got, want []string) bool {
	return reflect.DeepEqual(append([]string{}, got...), append([]string{}, want...))
}
