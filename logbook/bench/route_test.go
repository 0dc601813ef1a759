package bench_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// The route of one flask: where each step takes it, what comes next, that nothing
// done by the book is called unusual, and what is filled in from the house.
func TestRouteByTheBook(t *testing.T) {
	p := newPaper(t)
	for i, s := range route {
		if got := p.unusual(s.after, s.body); len(got) != 0 {
			t.Errorf("step %d, %s: unusual %v", i, s.body.Kind(), got)
		}
		f := p.b.Flasks[1]
		if f.Stage != s.to {
			t.Errorf("step %d, %s: at %q, want %q", i, s.body.Kind(), f.Stage, s.to)
		}
		if got := p.b.Next(f, p.now()); got != s.next {
			t.Errorf("step %d, %s: next is %q, want %q", i, s.body.Kind(), got, s.next)
		}
		if want := s.to != bench.Finished; (p.b.Places[1] == 1) != want {
			t.Errorf("step %d, %s: place 1 holds %d", i, s.body.Kind(), p.b.Places[1])
		}
	}
	f := p.b.Flasks[1]
	if len(f.Trials) != 2 || f.Trials[0].Grade != "heavy" || f.Trials[1].HeldS != 60 || f.Trials[1].PSI != 3000 || f.Trials[1].HoldAimS != 60 || f.Trials[1].Press != 1 {
		t.Errorf("trials %+v", f.Trials)
	}
	if f.Halves["cast"].MinS != 600 || f.BackedOff != 0.25 || f.BenchMinS != 1800 || f.BenchMaxS != 3600 || f.CoolS != 1800 || f.WaterS != 900 || f.MetalPSI != 3000 {
		t.Errorf("the house's values are not filled in: %+v", f)
	}
	if l := p.b.Loads[1]; l.Bath != 1 || l.BathC != 74 || l.MaxS != 12*3600 || len(l.Stages) != 1 || l.Stages[0].HoldS != 9*3600 {
		t.Errorf("load %+v", l)
	}
	if m := p.b.Mixes[1]; m.Resin != p.b.House.Resins[0].Name || m.PowderG <= 0 || m.LiquidG <= 0 || m.RoomC != 23 || abs(m.WorkS-45*60) > 1 || abs(m.DoughS-8*60) > 1 {
		t.Errorf("mix %+v", m)
	}
	if *f.PinMM != 0.4 || f.Outcome != "finished here" || f.Ended == nil || f.Place != 0 || len(f.Oddities) != 0 {
		t.Errorf("the end: %+v", f)
	}
}

// From any stage any step can be taken: at most a reason is asked for, and with one
// it is recorded. What is called out of order is what the route does not have there.
func TestNothingOutOfOrderIsBlocked(t *testing.T) {
	inOrder := map[string][]bench.FlaskStage{
		"coat": {bench.Opened, bench.Drying}, "press-in": {bench.Drying, bench.Trimmed}, "press-at": {bench.InPress}, "press-open": {bench.Holding},
		"flash": {bench.Judging}, "dough-add": {bench.Trimmed}, "inspect": {bench.Judging, bench.Trimmed}, "sheet-out": {bench.Trimmed},
		"metal-to-metal": {bench.Sheetout}, "clamp": {bench.Metal}, "bath-load": {bench.Set}, "bath-unload": {bench.InBath}, "cool-water": {bench.Cooling},
		"deflask": {bench.InWater}, "remount": {bench.Open},
		"mix":       {bench.Opened, bench.Drying, bench.InPress, bench.Holding, bench.Judging, bench.Trimmed},
		"mix-serve": {bench.Opened, bench.Drying, bench.InPress, bench.Holding, bench.Judging, bench.Trimmed},
	}
	always := map[string]bool{"flask-move": true, "note": true, "mix-dough": true, "mix-stiff": true, "flash-more": true, "remake": true}
	steps := []action.Body{
		action.Coat{Flask: 1, Half: "both"}, action.MixMake{Flasks: []int{1}}, action.MixServe{Mix: 1, Flasks: []int{1}}, action.MixDough{Mix: 1}, action.MixStiff{Mix: 1},
		action.PressIn{Flask: 1}, action.PressAt{Flask: 1}, action.PressOpen{Flask: 1}, action.Flash{Flask: 1, Grade: "none"}, action.FlashMore{Flask: 1, Grams: 1},
		action.DoughAdd{Flask: 1}, action.Inspect{Flask: 1}, action.SheetOut{Flask: 1}, action.MetalToMetal{Flask: 1}, action.Clamp{Flask: 1},
		action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, action.BathUnload{Flasks: []int{1}}, action.CoolWater{Flasks: []int{1}}, action.Deflask{Flasks: []int{1}},
		action.Remount{Flask: 1}, action.Outcome{Flask: 1, Outcome: "finished here"}, action.Outcome{Flask: 1, Outcome: "remake"}, action.FlaskMove{Flask: 1, Place: 5}, action.Note{Flask: 1, Text: "x"},
	}
	for _, stage := range bench.Stages {
		if stage == bench.Finished {
			continue
		}
		for _, body := range steps {
			p := upTo(t, stage)
			name := fmt.Sprintf("%s at %q", body.Kind(), stage)
			// Two things are not out of order but impossible: a mix that was never made,
			// and a judgement to add to that was never given.
			_, more := body.(action.FlashMore)
			noMix := strings.HasPrefix(string(body.Kind()), "mix-") && p.b.Mixes[1] == nil
			if more && len(p.b.Flasks[1].Judged()) == 0 || noMix {
				if _, err := p.tryAt(0, body, "1"); err == nil {
					t.Errorf("%s is taken", name)
				}
				continue
			}
			p.ck.Run(second)
			_, err := p.tryAt(0, body, "")
			var ask *bench.NeedsReason
			if err != nil && !errors.As(err, &ask) {
				t.Errorf("%s is blocked: %v", name, err)
				continue
			}
			odd := false
			if ask != nil {
				for _, o := range ask.Odd {
					odd = odd || o.Code == "out-of-order"
					if o.Text == "" || strings.Contains(o.Text, "\n") {
						t.Errorf("%s: the words for %q are %q", name, o.Code, o.Text)
					}
				}
				if _, err := p.tryAt(0, body, "1"); err != nil {
					t.Errorf("%s is blocked although a reason is given: %v", name, err)
				}
			}
			kind := string(body.Kind())
			if o, ok := body.(action.Outcome); ok && o.Outcome == "remake" {
				kind = "remake"
			} else if ok {
				kind = "finished here"
			}
			want := !always[kind]
			for _, s := range append(inOrder[kind], map[string][]bench.FlaskStage{"finished here": {bench.Checked}}[kind]...) {
				want = want && s != stage
			}
			if odd != want {
				t.Errorf("%s: out of order %v, want %v (%v)", name, odd, want, ask)
			}
		}
	}
}

// A reason given once for a thing about a flask is not asked for again; another
// flask, or another thing, is.
func TestNeverNagsTwice(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, open(2))
	for f := 1; f <= 2; f++ {
		p.do(0, action.Coat{Flask: f, Half: "both"})
	}
	p.do(11*minute, action.MixMake{Flasks: []int{1, 2}})
	p.do(9*minute, action.MixDough{Mix: 1})
	trial := func(flask int, hold time.Duration, why string) error {
		p.do(minute, action.PressIn{Flask: flask})
		p.do(30*second, action.PressAt{Flask: flask})
		p.ck.Run(hold)
		_, err := p.tryAt(0, action.PressOpen{Flask: flask}, why)
		if err == nil {
			p.do(second, action.Flash{Flask: flask, Grade: "heavy"})
		}
		return err
	}
	asks := func(err error, code string) bool {
		var ask *bench.NeedsReason
		return errors.As(err, &ask) && len(ask.Odd) == 1 && ask.Odd[0].Code == code
	}
	if err := trial(1, 20*second, ""); !asks(err, "hold-short") {
		t.Fatalf("a short hold: %v", err)
	}
	p.do(0, action.PressOpen{Flask: 1}, "4")
	p.do(second, action.Flash{Flask: 1, Grade: "heavy"})
	if err := trial(1, 20*second, ""); err != nil {
		t.Errorf("the second short hold of the same flask: %v", err)
	}
	if got := p.recs[len(p.recs)-2].Action; !sameSet(got.Unusual, []string{"hold-short"}) || got.Why != "" {
		t.Errorf("it is recorded as %v, reason %q, want hold-short all the same", got.Unusual, got.Why)
	}
	if err := trial(2, 20*second, ""); !asks(err, "hold-short") {
		t.Errorf("a short hold of another flask: %v", err)
	}
	p.do(0, action.PressOpen{Flask: 2}, "4")
	// Another thing about the first flask is asked for.
	_, err := p.tryAt(0, action.Remount{Flask: 1}, "")
	if !asks(err, "out-of-order") {
		t.Errorf("another thing: %v", err)
	}
	// A reason taken back no longer counts.
	p = newPaper(t)
	p.do(0, open(1))
	id := p.do(0, action.Remount{Flask: 1}, "9")
	if _, err := p.tryAt(0, action.Deflask{Flasks: []int{1}}, ""); err != nil {
		t.Errorf("the second step out of order: %v", err)
	}
	p.do(0, action.TakeBack{Of: p.recs[len(p.recs)-1].Action.ID}, "6")
	p.do(0, action.TakeBack{Of: id}, "6")
	if _, err := p.tryAt(0, action.Deflask{Flasks: []int{1}}, ""); !asks(err, "out-of-order") {
		t.Errorf("after the reason was taken back: %v", err)
	}
}

func abs(n int) int { return max(n, -n) }
