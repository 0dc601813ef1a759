package bench_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/longrun"
)

// two brings flasks 1 and 2 to the press in a house with so many presses.
func two(t testing.TB, presses int) *paper {
	p := newPaper(t)
	h := house.Default()
	h.Press.Presses = presses
	p.do(0, action.Settings{House: h})
	p.do(0, open(1))
	p.do(0, open(2))
	for n := 1; n <= 2; n++ {
		p.do(0, action.Coat{Flask: n, Half: "both"})
	}
	p.do(0, action.MixMake{Flasks: []int{1, 2}})
	p.do(10*minute, action.MixDough{Mix: 1})
	return p
}

// closing takes flask 1 through its closures to metal to metal in a press.
func closing(p *paper, press int) {
	for _, g := range []string{"heavy", "slight"} {
		p.do(0, action.PressIn{Flask: 1, Press: press})
		p.do(40*second, action.PressAt{Flask: 1})
		p.do(minute, action.PressOpen{Flask: 1})
		p.do(0, action.Flash{Flask: 1, Grade: action.Grade(g)})
	}
	p.do(0, action.SheetOut{Flask: 1})
	p.do(minute, action.MetalToMetal{Flask: 1, Press: press})
}

// A flask holds its press at metal to metal until it is under its clamp: it is asked
// about, and with two presses the other one is offered.
func TestAPressIsTakenAtMetalToMetal(t *testing.T) {
	p := two(t, 1)
	closing(p, 1)
	if got := p.b.FreePress(); got != 1 {
		t.Errorf("the only press: %d", got)
	}
	var ask *bench.NeedsReason
	if _, err := p.tryAt(0, action.PressIn{Flask: 2}, ""); !errors.As(err, &ask) || ask.Odd[0].Code != "press-taken" || ask.Odd[0].Text != "case 4401 is in press 1" {
		t.Errorf("flask 2 into the press of flask 1: %v", err)
	}
	p.do(0, action.Clamp{Flask: 1})
	if got := p.unusual(0, action.PressIn{Flask: 2}); len(got) > 0 {
		t.Errorf("out under its clamp: %v", got)
	}

	p = two(t, 2)
	closing(p, 2) // the trials and the final closure in the second press
	if got := p.b.FreePress(); got != 1 {
		t.Errorf("free is press %d, want 1", got)
	}
	if f := p.b.InPress(2); len(f) != 1 || f[0].No != 1 {
		t.Errorf("in press 2: %v", f)
	}
	p.do(0, action.PressIn{Flask: 2, Press: 1})
	if got := p.b.FreePress(); got != 1 {
		t.Errorf("none is free: %d", got)
	}
	if _, err := p.tryAt(0, action.MetalToMetal{Flask: 1, Press: 1}, ""); !errors.As(err, &ask) || !strings.Contains(err.Error(), "case 4402 is in press 1") {
		t.Errorf("metal to metal in the press of flask 2: %v", err)
	}
}

// The press given at metal to metal is kept, though the trials were in another.
func TestThePressOfTheFinalClosureIsKept(t *testing.T) {
	p := two(t, 2)
	closing(p, 1)
	p.do(0, action.TakeBack{Of: p.recs[len(p.recs)-1].Action.ID}, "6")
	p.do(0, action.MetalToMetal{Flask: 1, Press: 2})
	if f := p.b.Flasks[1]; f.Press != 2 || f.Trial().Press != 1 {
		t.Errorf("press %d, of the last trial %d", f.Press, f.Trial().Press)
	}
	if len(p.b.InPress(1)) != 0 || len(p.b.InPress(2)) != 1 {
		t.Errorf("press 1 %v, press 2 %v", p.b.InPress(1), p.b.InPress(2))
	}
}

// Whatever is done, no two flasks get into one press but with a reason, and what the
// bench offers is free where anything is.
func TestOnePressOneFlask(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(rt *rapid.T) {
		presses := rapid.IntRange(1, 3).Draw(rt, "presses")
		p := two(t, presses)
		for i := range rapid.IntRange(1, 20).Draw(rt, "steps") {
			f := rapid.IntRange(1, 2).Draw(rt, "flask")
			press := rapid.IntRange(0, presses).Draw(rt, "press")
			body := rapid.SampledFrom([]action.Body{action.PressIn{Flask: f, Press: press}, action.PressAt{Flask: f}, action.PressOpen{Flask: f}, action.Flash{Flask: f, Grade: "heavy"},
				action.SheetOut{Flask: f}, action.MetalToMetal{Flask: f, Press: press}, action.Clamp{Flask: f}}).Draw(rt, "body")
			p.ck.Run(20 * second)
			checked, err := p.tryAt(0, body, "1")
			if err != nil {
				rt.Fatalf("step %d: %v", i, err)
			}
			shared := false
			for n := 1; n <= presses; n++ {
				shared = shared || len(p.b.InPress(n)) > 1
			}
			into := body.Kind() == "press-in" || body.Kind() == "metal-to-metal"
			if asked := slices.Contains(checked.Unusual, "press-taken"); into && asked != (len(p.b.InPress(p.b.Flasks[f].Press)) > 1) {
				rt.Fatalf("step %d, %s: asked %v, shared %v", i, body.Kind(), asked, shared)
			}
			free := p.b.FreePress()
			for n := 1; n <= presses; n++ {
				if len(p.b.InPress(n)) == 0 && len(p.b.InPress(free)) > 0 {
					rt.Fatalf("press %d is offered, %d is free", free, n)
				}
			}
		}
	})
}

// Past its working time the next step is another mix, not the press; a second before it
// is not.
func TestPastItsWorkingTimeANewMixIsNext(t *testing.T) {
	for _, at := range []bench.FlaskStage{bench.Drying, bench.Trimmed} {
		p := upTo(t, at)
		if at == bench.Trimmed {
			p = upTo(t, bench.Judging)
			p.do(0, action.Flash{Flask: 1, Grade: "heavy"})
		}
		f, m := p.b.Flasks[1], p.b.Mixes[1]
		left, _ := m.DoughLeft(p.now())
		p.ck.Run(left)
		if got := p.b.Next(f, p.now()); got != bench.DoPress {
			t.Errorf("%s, at the end of its time: %q", at, got)
		}
		p.ck.Run(1)
		if got := p.b.Next(f, p.now()); got != bench.DoMix {
			t.Errorf("%s, past its time: %q", at, got)
		}
		p.do(0, action.MixMake{Flasks: []int{1}})
		if got := p.b.Next(p.b.Flasks[1], p.now()); got != bench.DoDough {
			t.Errorf("%s, from a new mix: %q", at, got)
		}
	}
	p := upTo(t, bench.Trimmed) // ready but for its dough
	p.ck.Run(3 * hour)
	if got := p.b.Next(p.b.Flasks[1], p.now()); got != bench.DoMix {
		t.Errorf("ready once, its dough dead: %q", got)
	}
}

// Dead dough is asked about once: a reason given when the sheet came out holds at metal to
// metal, and not where the dough was good when the sheet came out.
func TestDeadDoughIsAskedAboutOnce(t *testing.T) {
	for _, c := range []struct {
		name  string
		spend func(p *paper)
	}{
		{"past its time", func(p *paper) { p.ck.Run(3 * hour) }},
		{"marked too stiff", func(p *paper) { p.do(0, action.MixStiff{Mix: 1}) }},
		{"too short for a final closure", func(p *paper) {
			left, _ := p.b.Mixes[1].DoughLeft(p.now())
			p.ck.Run(left - 10*second)
		}},
	} {
		p := upTo(t, bench.Trimmed)
		c.spend(p)
		if got := p.unusual(0, action.SheetOut{Flask: 1}, "4"); !sameSet(got, []string{"not-ready"}) {
			t.Errorf("%s: sheet out %v", c.name, got)
		}
		if _, err := p.tryAt(0, action.MetalToMetal{Flask: 1}, ""); err != nil {
			t.Errorf("%s: asked again: %v", c.name, err)
		}
	}
	p := upTo(t, bench.Trimmed)
	p.do(0, action.SheetOut{Flask: 1})
	p.ck.Run(3 * hour)
	if _, err := p.tryAt(0, action.MetalToMetal{Flask: 1}, ""); err == nil {
		t.Error("the dough died with the sheet out: nothing is asked")
	}
}

// Dough is early before half of the early end of its estimate, and late from the first
// nanosecond past its end.
func TestDoughEarlyAndLate(t *testing.T) {
	begin := func() (*paper, *bench.Mix) {
		p := newPaper(t)
		p.do(0, open(1))
		p.do(0, action.Coat{Flask: 1, Half: "both"})
		p.do(0, action.MixMake{Flasks: []int{1}})
		return p, p.b.Mixes[1]
	}
	p, m := begin()
	half := m.Window.FromLow / 2
	if got := p.unusual(half-1, action.MixDough{Mix: 1}, "1"); !sameSet(got, []string{"dough-early"}) {
		t.Errorf("before half of %s: %v", m.Window.FromLow, got)
	}
	p, _ = begin()
	if got := p.unusual(half, action.MixDough{Mix: 1}); len(got) > 0 {
		t.Errorf("at half of %s: %v", m.Window.FromLow, got)
	}
	for _, late := range []time.Duration{0, 1} {
		p, _ := begin()
		p.do(half, action.MixDough{Mix: 1})
		left, _ := p.b.Mixes[1].DoughLeft(p.now())
		got := p.unusual(left+late, action.PressIn{Flask: 1}, "1")
		if slices.Contains(got, "dough-late") != (late > 0) {
			t.Errorf("%s past its end: %v", late, got)
		}
	}
}

// What a window shows as long enough is never asked about as too short, and the other way
// round, whatever was done to the clocks: slept, stepped, started anew. What is recorded
// never ran backwards.
func TestCheckAndWindowsAgreeUnderAnyClock(t *testing.T) {
	longrun.Checks(t, 20, 100)
	for _, c := range []struct {
		at   bench.FlaskStage
		what bench.What
		body action.Body
		code string
	}{
		{bench.Drying, bench.DryTeeth, action.PressIn{Flask: 1}, "separator-wet"},
		{bench.Holding, bench.Hold, action.PressOpen{Flask: 1}, "hold-short"},
		{bench.Set, bench.BenchSet, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}, "set-short"},
		{bench.InBath, bench.Cure, action.BathUnload{Flasks: []int{1}}, "cure-short"},
		{bench.Cooling, bench.BenchCool, action.CoolWater{Flasks: []int{1}}, "cool-short"},
		{bench.InWater, bench.WaterCool, action.Deflask{Flasks: []int{1}}, "cool-short"},
	} {
		t.Run(string(c.at), func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				p := upTo(t, c.at)
				if c.at == bench.Drying {
					p.do(0, action.Coat{Flask: 1, Half: "teeth"})
				}
				for i := range rapid.IntRange(0, 4).Draw(rt, "clock") {
					d := time.Duration(rapid.IntRange(0, 40).Draw(rt, "d")) * rapid.SampledFrom([]time.Duration{second, 30 * second, minute, 15 * minute}).Draw(rt, "unit")
					switch rapid.IntRange(0, 4).Draw(rt, "what") {
					case 0:
						p.ck.Sleep(d)
					case 1:
						p.ck.Step(d)
					case 2:
						p.ck.Step(-d)
					case 3:
						p.ck.Reboot(d, fmt.Sprintf("boot-%d", i+2))
					default:
						p.ck.Run(d)
					}
				}
				now := p.now()
				i := slices.IndexFunc(p.b.Windows(), func(w bench.Window) bool { return w.What == c.what })
				if i < 0 {
					rt.Fatalf("no window %q", c.what)
				}
				w := p.b.Windows()[i]
				floor, st := w.After(timers.Floor), w.Stand(now)
				checked, err := p.tryAt(0, c.body, "1")
				if err != nil {
					rt.Fatal(err)
				}
				if short := slices.Contains(checked.Unusual, c.code); short != (st.For < floor.After) {
					rt.Fatalf("the window says %s of %s, the check %v", st.For, floor.After, checked.Unusual)
				}
				if f := p.b.Flasks[1]; f.Trial() != nil && f.Trial().HeldS < 0 {
					rt.Fatalf("held %d s", f.Trial().HeldS)
				}
			})
		})
	}
}

// The case from the bench: coat, the machine started anew, its clock set back by fifty
// minutes, twenty minutes later the half is dry and nothing is asked.
func TestDryThoughTheClockWasSetBack(t *testing.T) {
	p := upTo(t, bench.Drying)
	p.do(0, action.Coat{Flask: 1, Half: "teeth"})
	p.ck.Reboot(0, "boot-2")
	p.ck.Step(-50 * minute)
	p.ck.Run(20 * minute)
	got := p.unusual(0, action.PressIn{Flask: 1}, "1")
	if slices.Contains(got, "separator-wet") {
		t.Errorf("dried 20 minutes: %v", got)
	}
}
