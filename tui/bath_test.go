package tui

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers/dough"
)

// bathDesk has n flasks on the first places whose bench set is just over.
func bathDesk(t *testing.T, w, h, n int) *desk {
	t.Helper()
	d := newDesk(t, w, h)
	for p := 1; p <= n; p++ {
		d.do(action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: "medium"})
		d.do(action.Clamp{Flask: p})
	}
	d.do(action.Caution{Hazard: "bath"})
	d.wait(31 * time.Minute)
	for range n {
		d.press(".")
	}
	return d
}

// do records something as if by another door, and the screen hears of it.
func (d *desk) do(body action.Body) {
	d.t.Helper()
	d.unheard(body)
	d.heard()
}

// unheard records something the screen does not hear of yet.
func (d *desk) unheard(body action.Body) {
	d.t.Helper()
	d.n++
	if _, err := d.book.Append(action.Action{ID: fmt.Sprintf("do-%05d", d.n), At: d.ck.Read().Wall, By: "KT", Body: body, Why: "8"}); err != nil {
		d.t.Fatal(err)
	}
}

// load puts flasks in bath 1.
func (d *desk) load(programme string, thick float64, flasks ...int) {
	d.t.Helper()
	l := action.BathLoad{Flasks: flasks, Programme: programme, BathC: 74}
	for _, f := range flasks {
		l.Sections = append(l.Sections, action.Section{Flask: f, ThinMM: 2, ThickMM: thick})
	}
	d.do(l)
}

// reads records a reading a minute for some minutes.
func (d *desk) reads(minutes int, tempC float64) {
	d.t.Helper()
	for range minutes {
		d.ck.Run(time.Minute)
		d.unheard(action.BathReading{Bath: 1, TempC: tempC, Source: "probe"})
	}
	d.heard()
}

// settle lets the screen look at the clock, which has it take everything in.
func (d *desk) settle() { d.run(d.m.onTick()) }

// TestBathScreens keeps the page of the baths.
func TestBathScreens(t *testing.T) {
	t.Run("fell", func(t *testing.T) {
		d := bathDesk(t, 80, 24, 2)
		d.load("long, 9 h", 4, 1, 2)
		d.reads(120, 74.2)
		d.reads(60, 61)
		d.reads(30, 73.8)
		d.press("/").golden("baths-80x24")
		d.press("enter").golden("baths-80x24-2")
		d.do(action.BathReading{Bath: 1, TempC: 61, Source: bench.Typed})
		d.press("0").golden("bath-alarm-80x24")
	})
	t.Run("thick, two loads", func(t *testing.T) {
		d := bathDesk(t, 160, 45, 4)
		d.load("short and boil", 10, 1, 2)
		d.wait(70 * time.Minute)
		d.load("short and boil", 4, 3, 4)
		d.wait(20 * time.Minute)
		d.press("/").golden("baths-160x45")
		d.press("0").golden("baths-below-160x45")
	})
	t.Run("plan", func(t *testing.T) {
		d := bathDesk(t, 100, 30, 2)
		h := d.m.house()
		h.Units.Temperature = units.Fahrenheit
		d.do(action.Settings{House: h})
		d.load("long and boil", 4, 1)
		d.wait(2 * time.Hour)
		d.press("/ - 1 6 . 3 0 enter").golden("baths-plan-100x30")
		d.press("enter").golden("baths-plan-100x30-2")
	})
}

// TestBandAlarmOnTheScreen: a bath that reads out of band rings, says what it costs,
// and goes back by itself to an alarm that still wants to be heard.
func TestBandAlarmOnTheScreen(t *testing.T) {
	d := bathDesk(t, 100, 30, 2)
	d.load("long, 9 h", 4, 1, 2)
	d.reads(90, 74)
	d.raw = nil
	d.reads(30, 60)
	d.settle()
	if len(d.raw) == 0 || !strings.Contains(d.raw[0], "BATH 1 60 °C, SHOULD BE 74 °C") {
		t.Errorf("the terminal was sent %q", d.raw)
	}
	cost := d.m.cures.views[1].Estimate.Excursions[0].Minutes
	if cost < 25 || cost > 45 { // an hour at 60 °C costs 1 to 1.5 h by the reference model
		t.Errorf("half an hour at 60 °C costs %.0f min", cost)
	}
	d.sees(fmt.Sprintf("▲2 BATH 1 60 °C, SHOULD BE 74 °C: HOLD +%.0f MIN", cost))
	d.reads(5, 74)
	d.sees("BATH 1 WAS OFF 74 °C: HOLD +")
	d.press(".")
	if s := d.screen(); strings.Contains(s, "WAS OFF") && !strings.Contains(s, "acknowledged: BATH 1 WAS OFF") {
		t.Errorf("heard, it still stands:\n%s", s)
	}
	d.wait(12 * time.Minute)
	d.sees("PROBE OF BATH 1 SILENT 12 min")
	d.reads(1, 74)
	d.sees("PROBE OF BATH 1 WAS SILENT 1")
}

// TestWorkedOutOnce: the model runs when something about a load has changed, never
// for the time that passes, and never while it runs.
func TestWorkedOutOnce(t *testing.T) {
	d := bathDesk(t, 80, 24, 4)
	d.load("long, 9 h", 4, 1)
	if d.m.cures.views[1] == nil {
		t.Fatal("the load was not worked out")
	}
	view := d.m.cures.views[1]
	d.wait(3 * time.Hour)
	d.do(action.Note{Flask: 2, Text: "something else"})
	if d.m.cures.views[1] != view {
		t.Error("it was worked out anew though nothing about it changed")
	}
	d.do(action.BathReading{Bath: 1, TempC: 70})
	if d.m.cures.views[1] == view {
		t.Error("a reading is not on the list")
	}
	d.m.cures.busy = true
	d.do(action.BathReading{Bath: 1, TempC: 71})
	if cmd := d.m.cureLate(); cmd != nil {
		t.Error("it is worked out twice at a time")
	}
	d.run(d.m.onCure(cureMsg{}))
	if got := d.m.cures.views[1].Estimate.Case.Readings; len(got) != 2 {
		t.Errorf("afterwards it rests on %d readings", len(got))
	}
	d.do(action.BathUnload{Flasks: []int{1}})
	d.settle()
	if len(d.m.cures.views) != 0 {
		t.Error("a load that is out is still kept")
	}
}

// TestNoEstimate: a programme that the model does not take leaves the page, and says
// why in one line.
func TestNoEstimate(t *testing.T) {
	d := bathDesk(t, 80, 24, 4)
	d.do(action.BathLoad{Flasks: []int{1}, Programme: "odd", Stages: []house.Stage{{TempC: 74, HoldS: 30}}, BathC: 74})
	d.settle()
	d.press("/").press("enter")
	d.sees("no estimate: stage 1: a hold of 30s cannot be")
}

// TestColdFlasksInTheForm: before the last key the form says what they do to the
// bath and to those in it.
func TestColdFlasksInTheForm(t *testing.T) {
	d := bathDesk(t, 80, 24, 4)
	h := d.m.house()
	h.Baths[0].Litres, h.Baths[0].HeaterW = 5, 400
	d.do(action.Settings{House: h})
	d.load("long, 9 h", 4, 1, 2)
	d.wait(time.Hour)
	d.press("3 enter 1")
	d.sees("out from 18:31", "the bath: dip of about", "sets place 1 2 back", "in the bath now?")
	d.press("1")
	d.at(3, bench.InBath)
	if n := len(d.m.cures.views[1].Estimate.Dips); n != 1 {
		t.Errorf("the first load has %d dips", n)
	}
}

// TestPlanInTheForm chooses a programme by the hour at which the flasks are to be
// out, with the pad alone.
func TestPlanInTheForm(t *testing.T) {
	d := bathDesk(t, 80, 24, 4)
	d.press("1 enter 5")
	d.sees("out at")
	d.press("1 8 enter")
	d.sees("1 long, 9 h: fits: in by 09:00, in 29 min", "3 short and boil: in from 12:00 to 14:30")
	d.press("1 1")
	d.at(1, bench.InBath)
	if l := d.book.State().Bench.Loads[1]; l.Programme != "long, 9 h" || len(l.Flasks) != 4 {
		t.Errorf("the load is %+v", l)
	}
}

// TestPlanOverTheChangeOfClocks: nine hours before 08:00 in the night that gains an
// hour (tz database).
func TestPlanOverTheChangeOfClocks(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	d := bathDesk(t, 80, 24, 4)
	d.m.now.Wall = time.Date(2026, 10, 24, 20, 0, 0, 0, berlin)
	d.m.setPlan(8 * 60)
	var s sheet
	d.m.planSheet(&s, 78)
	f := newFrame(80, 10)
	s.draw(f, area{0, 0, 80, 10}, 0)
	for _, want := range []string{"out at Sun 08:00 (UTC+01:00)", "to Sun 00:00\n", "in from Sun 02:00 (UTC+01:00)"} {
		if text := f.plainText(); !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
}

func TestParseHour(t *testing.T) {
	for in, want := range map[string]float64{"8": 480, "07": 420, "7.30": 450, "7:30": 450, "730": 450, "0730": 450, "0": 0, "23.59": 1439, " 8 ": 480} {
		if got, err := parseHour(in); err != nil || got != want {
			t.Errorf("%q is %g, %v, want %g", in, got, err, want)
		}
	}
	for _, in := range []string{"", "24", "7.60", "7.3", "-1", "7.300", "12345", "7h", ".30", "7."} {
		if got, err := parseHour(in); err == nil {
			t.Errorf("%q is taken for %g", in, got)
		}
	}
}

// TestMixByMould and by grams of liquid: the masses are those of the resin's own
// ratio (package dough), and what is left over is said.
func TestMixByMould(t *testing.T) {
	for _, c := range []struct {
		keys string
		q    dough.Request
		says string
	}{
		{"3 3 5 enter", dough.Request{Amount: 35, In: dough.InMouldCM3, TrialAllowance: dough.DefaultTrialAllowance}, "35 for moulds, 10"},
		{"4 1 5 enter", dough.Request{Amount: 15, In: dough.InLiquidG}, "shrinks 5 to 7 vol%"},
		{"2 1 . 5 enter", dough.Request{Amount: 1.5, In: dough.InUnits}, "43 mL of dough"},
		{"5", dough.Request{Amount: 2, In: dough.InUnits}, "58 mL of dough: 45 for moulds, 13 (15 g) for trials"},
	} {
		d := newDesk(t, 80, 24)
		d.openFlask(1, "4417", 1, 2)
		d.openFlask(2, "4420", 1, 2)
		d.do(action.Caution{Hazard: "monomer"})
		d.do(action.Coat{Flask: 1, Half: "both"})
		d.do(action.Coat{Flask: 2, Half: "both"})
		d.wait(11 * time.Minute)
		d.press("1 enter enter " + c.keys)
		d.sees("powder weighed", c.says)
		d.press("enter enter enter enter")
		d.sees("dough from 08:", "(estimate: ")
		d.press("3 0")
		warm := d.screen()
		d.press("enter")
		x := d.book.State().Bench.Mixes[1]
		if x == nil {
			t.Fatalf("%s: no mix:\n%s", c.keys, d.screen())
		}
		p, err := dough.Proportion(d.m.house().Resins[0], c.q)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(x.PowderG-p.PowderG) > 0.06 || math.Abs(x.LiquidG-p.LiquidG) > 0.06 || x.RoomC != 30 {
			t.Errorf("%s: %g g and %g g in %g °C, want %.2f and %.2f", c.keys, x.PowderG, x.LiquidG, x.RoomC, p.PowderG, p.LiquidG)
		}
		if want := "dough from " + x.Made.At.Add(x.Window.From).Format("15:04") + " to " + x.Made.At.Add(x.Window.To).Format("15:04"); !strings.Contains(warm, want) {
			t.Errorf("%s: the form did not say %q:\n%s", c.keys, want, warm)
		}
	}
}

// TestMixFromRefrigerator: the temperature that the parts stood at is typed behind that
// of the room, and the dough then comes later, as package dough has it.
func TestMixFromRefrigerator(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.do(action.Caution{Hazard: "monomer"})
	d.do(action.Coat{Flask: 1, Half: "both"})
	d.wait(11 * time.Minute)
	d.press("1 enter enter 1 enter enter")
	d.sees("powder and liquid from the fridge: type room/fridge, as 22/5")
	d.press("2 3")
	room := d.screen()
	d.press("/ 5")
	if cold := d.screen(); cold == room || strings.Contains(cold, "type both") {
		t.Errorf("a cold jar changes nothing:\n%s", cold)
	}
	d.press("/ 4 enter")
	d.sees("5/4")
	d.press("* * enter")
	x := d.book.State().Bench.Mixes[1]
	if x == nil {
		t.Fatalf("no mix:\n%s", d.screen())
	}
	want, _ := bench.WorkingTimes(d.m.house().Resins[0], 23, new(5.0))
	plain, _ := bench.WorkingTimes(d.m.house().Resins[0], 23, nil)
	if got := int(x.Window.From / time.Second); x.RoomC != 23 || x.JarC == nil || *x.JarC != 5 || got != want || want <= plain {
		t.Errorf("room %g, jar %v, dough from %d s, want %d; without the jar %d", x.RoomC, x.JarC, got, want, plain)
	}
}

// TestShortOfFilling: a mould too large for the mix is told before the last key.
func TestShortOfFilling(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.do(action.Caution{Hazard: "monomer"})
	d.do(action.Coat{Flask: 1, Half: "both"})
	d.press("1 + 2 enter 3 3 5 enter 1 0 enter 5 enter")
	d.sees("SHORT of filling the moulds")
}

// TestProbesAreNotTakenBack: 0 takes back what a hand did last, though a probe has
// read since.
func TestProbesAreNotTakenBack(t *testing.T) {
	d := bathDesk(t, 80, 24, 4)
	d.do(action.Note{Flask: 1, Text: "the last thing done"})
	d.reads(3, 74)
	d.press("0")
	d.sees("undo the last record?", "note")
}

// TestTell is a line from beside the screen.
func TestTell(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.hub.Tell("probe of bath 1: line refused")
	d.heard()
	d.sees("probe of bath 1: line refused")
}

// TestTroubleStays: what is wrong with the disk is seen also by one who was away, and
// not hidden for good by what is said meanwhile.
func TestTroubleStays(t *testing.T) {
	d := newDesk(t, 80, 24)
	hides := func() {
		t.Helper()
		if strings.Contains(d.screen(), "the disk is full") {
			t.Errorf("the trouble is shown:\n%s", d.screen())
		}
	}
	d.hub.Trouble("the disk is full")
	d.heard()
	d.hub.Tell("reading of bath 1")
	d.heard()
	hides()
	d.wait(time.Minute)
	d.sees("the disk is full")
	d.wait(time.Hour)
	d.sees("the disk is full")
	d.press("0")
	hides()
}

func FuzzParseHour(f *testing.F) {
	for _, s := range []string{"8", "7.30", "0730", "", ".", "99.99", "1e3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := parseHour(s); err == nil && (v < 0 || v >= 24*60 || v != math.Trunc(v)) {
			t.Errorf("%q is taken for minute %g of the day", s, v)
		}
	})
}
