package bench

import (
	"errors"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// The final closure: sheet out, metal to metal, clamped, bench set.
var finalClosure = subject{
	rules: []rule{
		on(checkSheetOut, func(b *Bench, a action.SheetOut, it *Item) {
			f := b.flask(a.Flask, it)
			f.SheetOut = it.at()
			f.to(Sheetout, it)
		}, mends()),
		on(checkMetal, func(b *Bench, a action.MetalToMetal, it *Item) {
			f := b.flask(a.Flask, it)
			f.Press, f.Metal, f.MetalPSI, f.MetalGauge = a.Press, it.at(), a.PressurePSI, b.gauge(a.PressurePSI, a.Gauge)
			f.MetalDoubt = a.Doubts
			b.tell(a.Doubts, it)
			f.to(Metal, it)
		}, mends("pressure_psi"), limits(func(c *checker, a action.MetalToMetal) error {
			if err := c.pressNumber(a.Press); err != nil {
				return err
			}
			return pressureTold(a.PressurePSI)
		})),
		on(checkClamp, applyClamp, mends("backed_off_turn")),
	},
	ofFlask: benchSet,
	next: map[FlaskStage]func(*Bench, *Flask, timers.Now) Step{
		Sheetout: always(DoMetal),
		Metal:    always(DoClamp),
		Set:      always(DoLoad),
	},
}

// pressureTold refuses a closure without a pressure.
func pressureTold(psi float64) error {
	if psi <= 0 {
		return errors.New("a closure has a pressure: give what the gauge showed")
	}
	return nil
}

func checkSheetOut(c *checker, a action.SheetOut) (action.SheetOut, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	c.order(f, "final closure", Trimmed)
	if f.Stage == Trimmed {
		if v := c.b.Verdict(f, c.then); !v.Ready {
			c.unusual("not-ready", "not ready for final closure: %s", strings.TrimPrefix(v.String(), "not yet: "))
		}
	}
	return a, nil
}

func checkMetal(c *checker, a action.MetalToMetal) (action.MetalToMetal, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	orInt(&a.Press, 1)
	c.gauge(&a.PressurePSI, &a.Gauge, c.b.House.Press.Final())
	c.order(f, "final closure", Sheetout)
	c.pressTaken(f, a.Press)
	if m := c.b.MixOf(f); m != nil {
		c.knownSpent(f, m)
		c.doughSpent(m)
	}
	return a, nil
}

// knownSpent asks no second reason for dough that was too old, or about to be, when the
// sheet came out: not ready then, with a reason, is the same thing as too late now.
func (c *checker) knownSpent(f *Flask, m *Mix) {
	if f.Stage != Sheetout || f.SheetOut == nil || !f.excused["not-ready"] {
		return
	}
	left := m.Window.To - timers.Elapsed(m.Made, *f.SheetOut)
	if m.Stiff != nil || left < time.Duration(c.b.House.Work.FinalS)*time.Second {
		c.excuse("dough-late")
		c.excuse("stiff-mix")
	}
}

func checkClamp(c *checker, a action.Clamp) (action.Clamp, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	h := c.b.House
	orFloat(&a.BackedOffTurn, h.Press.BackOffTurn)
	orInt(&a.BenchMinS, h.BenchSet.MinS)
	if a.BenchMaxS == 0 && h.BenchSet.MaxS >= a.BenchMinS {
		a.BenchMaxS = h.BenchSet.MaxS
	}
	c.order(f, "clamped", Metal)
	return a, c.clampHolds(f, a.Clamp)
}

func applyClamp(b *Bench, a action.Clamp, it *Item) {
	f := b.flask(a.Flask, it)
	f.Clamped, f.Clamp, f.BackedOff, f.BenchMinS, f.BenchMaxS = it.at(), a.Clamp, a.BackedOffTurn, a.BenchMinS, a.BenchMaxS
	f.to(Set, it)
	if f.Metal == nil {
		f.Metal = it.at()
	}
}

// benchSet gives the window of the rest under the clamp.
func benchSet(b *Bench, f *Flask) []Window {
	if f.Stage != Set || f.Clamped == nil {
		return nil
	}
	ends := timers.Ends{FloorS: f.BenchMinS, LimitS: f.BenchMaxS, WarnS: b.House.Alarms.WarnS, Floor: timers.Medium, Limit: timers.Medium, Set: f.staged(), WarnSet: b.houseSet}
	return []Window{{What: BenchSet, Flasks: []int{f.No}, Window: timers.NewWindow(flaskKey(f.No, "set"), *f.Clamped, ends)}}
}

// SetOver tells whether the bench set of a flask is over, or it was never clamped.
func (f *Flask) SetOver(now timers.Now) bool {
	return f.Clamped == nil || now.Since(*f.Clamped).For >= time.Duration(f.BenchMinS)*time.Second
}

// setLong calls it unusual to heat a flask before its bench set is over.
func (c *checker) setLong(f *Flask) {
	if f.Stage != Set || f.Clamped == nil {
		return
	}
	if set, want := c.since(*f.Clamped), time.Duration(f.BenchMinS)*time.Second; set < want {
		c.unusual("set-short", "bench set %s of %s", words.Length(set), words.Length(want))
	}
}
