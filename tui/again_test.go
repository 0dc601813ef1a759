package tui

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/timers"
)

// mixDesk has flasks with both halves dry, and the caution read.
func mixDesk(t *testing.T, n int) *desk {
	t.Helper()
	d := newDesk(t, 80, 24)
	for p := 1; p <= n; p++ {
		d.do(action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: action.Sizes[p%3]})
		d.do(action.Coat{Flask: p, Half: "both"})
	}
	d.do(action.Caution{Hazard: "monomer"})
	d.wait(11 * time.Minute)
	return d
}

// words are the words of the screen, so that a line broken by its width is found.
func (d *desk) words() string { return strings.Join(strings.Fields(d.screen()), " ") }

// TestMixInFourKeys: the place, ENTER, a new mix and one digit make the mix that was made last,
// and all that is recorded stood on the screen.
func TestMixInFourKeys(t *testing.T) {
	d := mixDesk(t, 2)
	d.do(action.MixMake{Flasks: []int{1}, Resin: d.m.house().Resins[0].Name, PowderG: 22.8, LiquidG: 9.3, PowderLot: "P-118", LiquidLot: "L-7", RoomC: 21.5, JarC: new(5.0)})
	d.do(action.FlaskOpen{Place: 3, Case: "4403", Base: "lower", Size: "large"}) // not painted: waits for no mix
	before := d.keys
	d.press("2 enter 2")
	d.sees("as last time", "place 2: 4402 upper L", "22.8 g powder, 9.3 g liquid", "powder lot P-118", "liquid lot L-7", "room 21.5 °C", "fridge at 5 °C", "dough from ")
	d.press("1")
	x := d.book.State().Bench.Mixes[2]
	if x == nil || !slices.Equal(x.Flasks, []int{2}) || x.PowderG != 22.8 || x.LiquidG != 9.3 || x.PowderLot != "P-118" || x.LiquidLot != "L-7" || x.RoomC != 21.5 || x.JarC == nil || *x.JarC != 5 {
		t.Fatalf("the mix is %+v:\n%s", x, d.screen())
	}
	if n := d.keys - before; n > 4 {
		t.Errorf("%d keys for a mix, the choice between it and one that stands among them", n)
	}
}

// TestMixSaysNoToTheLast asks for everything where something differs.
func TestMixSaysNoToTheLast(t *testing.T) {
	d := mixDesk(t, 2)
	d.do(action.MixMake{Flasks: []int{1}, PowderG: 22.8, LiquidG: 9.3, RoomC: 21.5})
	d.press("2 + 2")
	d.sees("as last time")
	d.press("2")
	d.sees("for which flasks?")
	d.press("0")
	d.sees("as last time")
	d.press("2 enter enter enter enter enter")
	want, _ := bench.Masses(d.m.house().Resins[0], 1)
	if x := d.book.State().Bench.Mixes[2]; x == nil || x.PowderG != want {
		t.Errorf("the mix is %+v, want %g g of powder:\n%s", x, want, d.screen())
	}
}

// TestSameMixIsSeenAndUsable: over random histories of mixes, lots booked in and taken out
// of use, corrections, undoings and hours that pass, "as last time" is offered for as many
// flasks as were weighed for, within a shift, and with lots about which the check asks
// nothing; all that it records stood on the screen before the key.
func TestSameMixIsSeenAndUsable(t *testing.T) {
	checks(t, 20, 400)
	offered := 0
	rapid.Check(t, func(rt *rapid.T) {
		d := mixDesk(t, rapid.IntRange(2, 5).Draw(rt, "all flasks"))
		lots := []string{"", "P-118", "P-119", "17260101"}
		lot := rapid.SampledFrom(lots)
		made := map[int]int{} // flasks that each mix was weighed for
		for range rapid.IntRange(1, 9).Draw(rt, "deeds") {
			at := d.book.State().Bench
			switch rapid.IntRange(0, 7).Draw(rt, "deed") {
			case 0, 1, 2:
				n := rapid.IntRange(1, 3).Draw(rt, "flasks")
				var to []int
				for f := 1; f <= n; f++ {
					to = append(to, f)
				}
				made[at.Top.Mix+1] = n
				d.try(action.MixMake{Flasks: to, Resin: rapid.SampledFrom([]string{at.House.Resins[0].Name, "a resin of before"}).Draw(rt, "resin"), DoughS: 480, WorkS: 1200,
					PowderG: rapid.SampledFrom([]float64{20, 22.8, 45.25}).Draw(rt, "powder"), LiquidG: 9.3, PowderLot: lot.Draw(rt, "powder lot"), LiquidLot: lot.Draw(rt, "liquid lot"),
					RoomC: rapid.SampledFrom([]float64{21.5, 22.375}).Draw(rt, "room")})
			case 3:
				d.try(action.LotIn{Material: rapid.SampledFrom([]action.Material{"powder", "liquid"}).Draw(rt, "of"), Lot: lot.Draw(rt, "lot"), Expiry: rapid.SampledFrom([]string{"", "2026-11-24", "2026-11-25", "2028-01-01"}).Draw(rt, "expiry")})
			case 4:
				d.try(action.LotOut{Material: rapid.SampledFrom([]action.Material{"powder", "liquid"}).Draw(rt, "of"), Lot: lot.Draw(rt, "lot"), Reason: rapid.SampledFrom(action.Withdrawals).Draw(rt, "reason")})
			case 5:
				if it, ok := at.LastWork(); ok {
					d.try(action.TakeBack{Of: it.Action.ID})
				}
			case 6:
				d.wait(time.Duration(rapid.IntRange(1, 11*60).Draw(rt, "minutes")) * time.Minute)
			case 7:
				d.try(action.MixServe{Mix: max(1, at.Top.Mix), Flasks: []int{rapid.IntRange(1, 5).Draw(rt, "flask")}})
			}
		}
		if left := d.waiting(); len(left) > 1 && rapid.Bool().Draw(rt, "half of them") { // else hardly one history in ten comes to an offer
			made[d.book.State().Bench.Top.Mix+1] = len(left) / 2
			d.try(action.MixMake{Flasks: left[len(left)-len(left)/2:], DoughS: 480, WorkS: 1200, PowderG: 22.8, LiquidG: 9.3, PowderLot: lot.Draw(rt, "powder lot"), RoomC: 21.5})
		}
		d.press("+ 2")
		if d.m.form() == nil || !strings.Contains(d.screen(), "as last time") {
			return
		}
		offered++
		seen, b := d.words(), d.book.State().Bench
		unit := b.House.Units.Temperature
		x := *d.formSame()
		last, _ := b.LastMixMade()
		if made[last.Mix] != len(x.Flasks) {
			rt.Fatalf("weighed for %d flasks, offered for %d", made[last.Mix], len(x.Flasks))
		}
		if age := d.m.now.Since(b.Mixes[last.Mix].Made).For; age >= bench.Shift {
			rt.Fatalf("the mix offered was made %s ago", age)
		}
		want := []string{"powder " + "lot " + x.PowderLot, "liquid lot " + x.LiquidLot, x.Resin, fmt.Sprint(x.PowderG), fmt.Sprint(x.LiquidG)}
		if x.PowderLot == "" {
			want[0] = "no powder lot"
		}
		if x.LiquidLot == "" {
			want[1] = "no liquid lot"
		}
		for _, no := range x.Flasks {
			want = append(want, b.Flasks[no].Case)
		}
		for _, w := range want {
			if !strings.Contains(seen, w) {
				rt.Fatalf("%q is recorded and was not shown:\n%s", w, d.screen())
			}
		}
		shownC, err := units.ParseTemp(exactTemp(x.RoomC, unit), unit)
		if err != nil || !strings.Contains(seen, exactTemp(x.RoomC, unit)) || shownC-x.RoomC > 0.006 || x.RoomC-shownC > 0.006 {
			rt.Fatalf("the room's %g °C was not shown", x.RoomC)
		}
		// What the check says of the same lots in flasks for which no reason was ever given.
		x.Flasks = []int{b.Top.Flask}
		stamp := timers.Stamp{At: d.ck.Read().Wall}
		_, err = b.Check(action.Action{ID: "probe", At: stamp.At, By: "KT", Body: x}, stamp, d.m.now)
		var odd *bench.NeedsReason
		if errors.As(err, &odd) {
			for _, o := range odd.Odd {
				if strings.HasPrefix(o.Code, "lot-") {
					rt.Fatalf("offered although %s", o.Text)
				}
			}
		}
		x.Flasks = d.formSame().Flasks
		n := b.Top.Mix
		d.press(rapid.SampledFrom([]string{"1", "enter"}).Draw(rt, "key"))
		now, _ := d.book.State().Bench.LastMixMade()
		if d.book.State().Bench.Top.Mix == n { // a question of another kind stands
			if f := d.m.form(); f == nil || f.title != "unusual" {
				rt.Fatalf("neither recorded nor asked:\n%s", d.screen())
			}
			return
		}
		if now.PowderG != x.PowderG || now.LiquidG != x.LiquidG || now.PowderLot != x.PowderLot || now.LiquidLot != x.LiquidLot || now.RoomC != x.RoomC || now.Resin != x.Resin || !slices.Equal(now.Flasks, x.Flasks) {
			rt.Fatalf("recorded %+v, shown %+v", now, x)
		}
	})
	if offered == 0 && !testing.Short() { // of a few short runs none may come to it
		t.Error("it was never offered")
	}
}

// formSame is the mix that is offered as the last one.
func (d *desk) formSame() *action.MixMake { return d.m.sameMix(d.waiting()) }

// waiting are the flasks that a new mix would be for.
func (d *desk) waiting() []int {
	var out []int
	for p := 1; p <= 9; p++ {
		o := d.book.State().Bench.OnPlace(p)
		if o == nil || o.ClosedForGood() {
			continue
		}
		mix := d.book.State().Bench.MixOf(o)
		if p == d.m.sel || (mix == nil || mix.Stiff != nil) && len(o.Halves) == 2 {
			out = append(out, o.No)
		}
	}
	return out
}

// try records something as if by another door, where that is possible.
func (d *desk) try(body action.Body) {
	d.n++
	if _, err := d.book.Append(action.Action{ID: fmt.Sprintf("do-%05d", d.n), At: d.ck.Read().Wall, By: "KT", Body: body, Why: "8"}); err == nil {
		d.heard()
	}
}

// TestBathLoadInThreeKeys: ENTER, the programme, and that the flask is in; the question
// which flasks is asked only where it is wanted, and the thickness is that of the last base
// of the size. All that is recorded stood on the screen.
func TestBathLoadInThreeKeys(t *testing.T) {
	d := bathDesk(t, 80, 24, 1)
	before := d.keys
	d.press("enter 1")
	seen := d.words()
	d.press("1")
	l := d.book.State().Bench.Loads[1]
	if l == nil || d.keys-before != 3 {
		t.Fatalf("%d keys, no load:\n%s", d.keys-before, d.screen())
	}
	for _, w := range []string{"place 1: 4401 upper", l.Programme, "bath not read", fmt.Sprintf("medium base %g to %g mm thick", bath.ThinMM, bath.ThickMM)} {
		if !strings.Contains(seen, w) {
			t.Errorf("%q was not on the screen:\n%s", w, seen)
		}
	}

	d = bathDesk(t, 80, 24, 3)
	d.reads(1, 73)
	d.press("1 enter 6") // other flasks
	d.sees("which flasks?")
	d.press("3 enter 1")
	d.sees("4401 upper", "bath reads 73 °C")
	d.press("2 * enter 3 enter 6 . 5 enter")
	d.sees("medium base 3 to 6.5 mm thick")
	d.press("1")
	l = d.book.State().Bench.Loads[1]
	if l == nil || !slices.Equal(l.Flasks, []int{1, 2}) || l.BathC != 73 || l.Sections[2] != (action.Section{Flask: 2, ThinMM: 3, ThickMM: 6.5}) {
		t.Fatalf("the load is %+v:\n%s", l, d.screen())
	}
	d.press("3 enter 1")
	d.sees("medium base 3 to 6.5 mm thick")
	d.press("1")
	if l := d.book.State().Bench.Loads[2]; l == nil || l.Sections[3].ThickMM != 6.5 {
		t.Errorf("the load is %+v:\n%s", l, d.screen())
	}
}

// TestThicknessOfLastWeek is that of the last base of the size, though its flask has long
// left the bench and the program was started anew.
func TestThicknessOfLastWeek(t *testing.T) {
	d := bathDesk(t, 80, 24, 1)
	d.press("enter 1 2 * enter 3 enter 7 enter 1")
	d.do(action.BathUnload{Flasks: []int{1}})
	d.do(action.Outcome{Flask: 1, Outcome: action.Outcomes[0]})
	d.wait(7 * 24 * time.Hour)
	d.do(action.FlaskOpen{Place: 1, Case: "4409", Base: "lower", Size: "medium"})
	d.do(action.Clamp{Flask: 2})
	d.do(action.Caution{Hazard: "bath"})
	d.wait(31 * time.Minute)
	d.start(d.keeper)
	d.feed(d.m.recallThickness()())
	d.press("0 1 enter 1")
	d.sees("medium base 3 to 7 mm thick")
}
