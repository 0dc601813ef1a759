package bench_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/longrun"
)

func at(v float64) *float64 { return &v }

const day = 24 * time.Hour

// shop is a bench with a bath, its thermometer, a press and its gauge in the register.
func shop(t testing.TB) *paper {
	p := newPaper(t)
	p.do(0, action.EquipIn{Item: "bath", Name: "1"})
	p.do(0, action.EquipIn{Item: "thermometer", Name: "T1", On: "bath 1"})
	p.do(0, action.EquipIn{Item: "press", Name: "1"})
	p.do(0, action.EquipIn{Item: "gauge", Name: "G1", On: "press 1", ScalePSI: 5000})
	return p
}

// said gives the doubts of the latest record.
func (p *paper) said() []action.Doubt {
	return action.DoubtsOf(p.recs[len(p.recs)-1].Action.Body)
}

func doubtWords(ds []action.Doubt) string {
	var out []string
	for _, d := range ds {
		out = append(out, d.Words(house.Default().Units))
	}
	return strings.Join(out, "; ")
}

// The want of a check is told once, not at each flask, stands in every record, is refused
// nothing for, and is over with the check; a check does not reach back.
func TestAWantOfACheckIsToldOnce(t *testing.T) {
	p := shop(t)
	told := func() string {
		return doubtWords(p.b.FirstTold(p.recs[len(p.recs)-1].Action.ID))
	}
	cure := func(place int) {
		p.do(minute, open(place))
		p.do(minute, action.BathLoad{Flasks: []int{p.b.Top.Flask}, Programme: "long, 9 h"}, "8")
	}
	const none = "thermometer T1 has no check recorded"
	cure(1)
	if got := told(); got != none {
		t.Errorf("at the first load it tells %q", got)
	}
	cure(2)
	if got, stands := told(), doubtWords(p.said()); got != "" || stands != none {
		t.Errorf("at the second it tells %q, and the record says %q", got, stands)
	}
	p.do(minute, action.EquipCheck{Item: "thermometer", Name: "t1", IceC: at(0)})
	if got := doubtWords(p.b.Loads[1].Doubts); got != none {
		t.Errorf("after the check the load before it says %q", got)
	}
	cure(3)
	if got := doubtWords(p.said()); got != "" {
		t.Errorf("after the check a load says %q", got)
	}
	p.do(30*day, open(4)) // the last day on which the next one is in time
	p.do(0, action.BathLoad{Flasks: []int{4}, Programme: "long, 9 h"}, "8")
	if got := doubtWords(p.said()); got != "" {
		t.Errorf("on the day it is due a load says %q", got)
	}
	p.do(16*hour, open(5))
	p.do(0, action.BathLoad{Flasks: []int{5}, Programme: "long, 9 h"}, "8")
	if got := told(); got != "thermometer T1: check was due by Fri 25 Dec 2026" {
		t.Errorf("a day late it tells %q", got)
	}
	if got := doubtWords(p.b.Loads[4].Doubts); got != "" {
		t.Errorf("what fell due while it was in the bath changed the load to %q", got)
	}
	p.do(minute, action.EquipOut{Item: "thermometer", Name: "T1", Reason: "broken"})
	p.do(minute, open(6))
	p.do(0, action.BathLoad{Flasks: []int{6}, Programme: "long, 9 h"}, "8")
	if got := told(); got != "bath 1 has no thermometer in the register" {
		t.Errorf("without a thermometer it tells %q", got)
	}
	p.do(minute, action.EquipIn{Item: "thermometer", Name: "T1"}, "1")
	p.do(minute, open(7))
	p.do(0, action.BathLoad{Flasks: []int{7}, Programme: "long, 9 h"}, "8")
	if got := told(); got != none {
		t.Errorf("back in use after it was broken it tells %q", got)
	}
}

// A gauge is asked about where a pressure is read off, by how far off it was found, too.
func TestAGaugeThatIsOff(t *testing.T) {
	p := shop(t)
	p.do(minute, open(1))
	p.do(0, action.PressIn{Flask: 1}, "8")
	p.do(0, action.PressAt{Flask: 1})
	if got := doubtWords(p.said()); got != "gauge G1 has no check recorded" {
		t.Errorf("unchecked it says %q", got)
	}
	// 5000 psi and class 2.5, which is taken where none is known: 125 psi (EN 837-1).
	p.do(minute, action.EquipCheck{Item: "gauge", Name: "G1", ReadPSI: at(3125), AgainstPSI: at(3000)})
	p.do(0, action.MetalToMetal{Flask: 1}, "8")
	if got := doubtWords(p.said()); got != "" {
		t.Errorf("125 psi off of 125 allowed it says %q", got)
	}
	p.do(minute, action.EquipCheck{Item: "gauge", Name: "G1", ReadPSI: at(2870), AgainstPSI: at(3000)})
	p.do(0, action.PressAt{Flask: 1}, "8")
	if got := doubtWords(p.said()); got != "gauge G1 reads 130 psi too low by its last check" {
		t.Errorf("130 psi off it says %q", got)
	}
}

// Boiling water is where the air of the place has it. 94.65 °C at 1600 m, 93.32 °C at 2000 m
// (region 4 of IAPWS-IF97 on the standard atmosphere of the ASHRAE handbook); 99.97 °C at
// 1013.25 hPa (MSL technical guide on the ice point, figure 1, has 99.974).
func TestBoilingWaterIsWhereTheAirHasIt(t *testing.T) {
	for _, c := range []struct {
		place house.Site
		air   float64
		read  float64
		off   float64
	}{
		{house.Site{AltitudeM: 1600}, 0, 95, 0.35},
		{house.Site{AltitudeM: 2000}, 0, 93, -0.32},
		{house.Site{AirHPa: 980}, 0, 99, -0.04},
		{house.Site{AltitudeM: 1600}, 1013.25, 100, 0.03}, // a barometer comes before the height
		{house.Site{}, 1013.25, 99.5, -0.47},
	} {
		p := shop(t)
		h := house.Default()
		h.Place = c.place
		p.do(0, action.Settings{House: h})
		p.do(minute, action.EquipCheck{Item: "thermometer", Name: "T1", BoilC: at(c.read), AirHPa: c.air})
		k, _ := p.b.Piece(action.Piece{Item: "thermometer", Name: "T1"})
		if s := k.Standing(p.now().Wall); math.Abs(s.Off.Off-c.off) > 0.011 {
			t.Errorf("%+v, %g hPa: %g °C is %.3f off, want %.2f", c.place, c.air, c.read, s.Off.Off, c.off)
		}
		// An altitude put right later does not change what was found.
		h.Place = house.Site{AltitudeM: 500}
		before := k.Checks[0].AirHPa
		p.do(minute, action.Settings{House: h})
		if k, _ = p.b.Piece(k.Piece()); k.Checks[0].AirHPa != before {
			t.Error("the air of a check changed with the settings")
		}
	}
	p := shop(t)
	if _, err := p.tryAt(0, action.EquipCheck{Item: "thermometer", Name: "T1", BoilC: at(100)}, "1"); err == nil || !strings.Contains(err.Error(), "where water boils is not known here") {
		t.Errorf("without the air: %v", err)
	}
}

// Slips of the key and of the unit are asked about, a reading of 0 °C is one, and what cannot
// be is refused with what would be right.
func TestSlipsAtACheck(t *testing.T) {
	check := func(c action.EquipCheck) action.EquipCheck { c.Item, c.Name = "thermometer", "T1"; return c }
	gauge := func(read, against float64) action.EquipCheck {
		return action.EquipCheck{Item: "gauge", Name: "G1", ReadPSI: at(read), AgainstPSI: at(against)}
	}
	for _, c := range []struct {
		body action.Body
		want string
	}{
		{check(action.EquipCheck{IceC: at(0)}), ""},
		{check(action.EquipCheck{IceC: at(32)}), "(32 °F would be 0 °C)"},
		{check(action.EquipCheck{BoilC: at(212), AirHPa: 1013}), "(212 °F would be 100 °C)"},
		{check(action.EquipCheck{BoilC: at(0), AirHPa: 1013}), "reading in boiling water 0 °C is outside"},
		{check(action.EquipCheck{ReadC: at(23), AgainstC: at(73)}), "look at the number and its unit"},
		{check(action.EquipCheck{ReadC: at(73)}), "read_c and against_c belong together"},
		{check(action.EquipCheck{}), "nothing was compared"},
		{check(action.EquipCheck{IceC: at(0), Due: "2026-11-24"}), "before this one of Wed 25 Nov 2026: check the date"},
		{check(action.EquipCheck{IceC: at(0), Due: "2036-11-24"}), "would be due by Mon 24 Nov 2036"},
		{check(action.EquipCheck{IceC: at(0), Due: "tomorrow"}), "due must be a day from 1990 to 2200"},
		{check(action.EquipCheck{IceC: at(math.NaN())}), "ice_c must be"},
		{check(action.EquipCheck{ReadPSI: at(3000), AgainstPSI: at(3000)}), "a thermometer is checked in °C"},
		{gauge(3010, 3000), ""},
		{gauge(0, 3000), "reading 0 psi is outside"},
		{gauge(0, 0), "without pressure a gauge tells only where its pointer rests"},
		{gauge(207, 3000), "look at the number and its unit"},
		{action.EquipCheck{Item: "thermometer", Name: "4401", IceC: at(0)}, "there is no thermometer 4401 in the register: take it in first (thermometers there: T1)"},
		{action.EquipIn{Item: "clamp", Name: "4401"}, "4401 is a case number at the bench"},
		{action.EquipIn{Item: "clamp", Name: "12", RatedPSI: 207}, "(207 bar would be 3002 psi)"},
		{action.EquipIn{Item: "press", Name: "12"}, "named by its number at the bench, 1 to 9"},
		{action.EquipIn{Item: "bath", Name: "1", Litres: 10}, "stands in the settings"},
		{action.EquipIn{Item: "thermometer", Name: "T2", On: "press 1"}, "a thermometer is not fitted to a press"},
		{action.EquipIn{Item: "thermometer", Name: "T2", On: "bath  1"}, `on must be "bath 1"`},
	} {
		p := shop(t)
		p.do(0, open(1))
		_, err := p.tryAt(0, c.body, "")
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%+v: %v, want %q", c.body, err, c.want)
		}
	}
}

// The rated load of the register is held by the rule that the settings have: the weakest of
// press, flask and clamp, refused with any reason.
func TestRatedLoadOfTheRegister(t *testing.T) {
	try := func(psi, limit, press, flask, clamp float64) (metal, clamped error) {
		p := shop(t)
		h := house.Default()
		if h.Press.MaxPSI = limit; limit > 0 {
			h.Press.PressurePSI = 2000
		}
		p.do(0, action.Settings{House: h})
		p.do(0, action.EquipIn{Item: "press", Name: "1", RatedPSI: press})
		p.do(0, action.EquipIn{Item: "flask", Name: "F1", RatedPSI: flask})
		p.do(0, action.EquipIn{Item: "clamp", Name: "C1", RatedPSI: clamp})
		f := open(1)
		f.Tag = "f1"
		p.do(0, f)
		if _, metal = p.tryAt(0, action.MetalToMetal{Flask: 1, PressurePSI: psi}, "8"); metal != nil {
			return metal, nil
		}
		_, clamped = p.tryAt(0, action.Clamp{Flask: 1, Clamp: "c1"}, "8")
		return nil, clamped
	}
	for _, c := range []struct {
		psi, limit, press, flask, clamp float64
		metal, clamped                  string
	}{
		{3000, 0, 0, 0, 0, "", ""},
		{3000, 0, 2900, 0, 0, "rated load of 2900 psi (that of press 1 in the register)", ""},
		{3000, 0, 6000, 2500, 0, "rated load of 2500 psi (that of flask F1 in the register)", ""},
		{3000, 2800, 6000, 5000, 0, "press.max_psi", ""},
		{3000, 2800, 2700, 0, 0, "that of press 1", ""},
		{3000, 0, 3000, 3000, 3000, "", ""},
		{3000, 0, 0, 0, 2500, "", "clamp C1 has a rated load of 2500 psi and the flask was closed at 3000 psi"},
	} {
		metal, clamped := try(c.psi, c.limit, c.press, c.flask, c.clamp)
		for _, e := range []struct {
			err  error
			want string
		}{{metal, c.metal}, {clamped, c.clamped}} {
			if e.want == "" && e.err != nil || e.want != "" && (e.err == nil || !strings.Contains(e.err.Error(), e.want)) {
				t.Errorf("%+v: %v, want %q", c, e.err, e.want)
			}
		}
	}
}

// A clamp that is out of use, or not in a register that has others, is asked about once.
func TestAClampThatIsOutOfUse(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, action.EquipIn{Item: "clamp", Name: "C1"})
	p.do(0, action.EquipIn{Item: "clamp", Name: "C2"})
	p.do(0, action.EquipOut{Item: "clamp", Name: "c2", Reason: "recalled"})
	for name, code := range map[string]string{"C1": "", "C2": bench.PieceOutCode, "C3": bench.PieceUnknownCode} {
		_, err := p.tryAt(0, action.Clamp{Flask: 1, Clamp: name}, "")
		var odd *bench.NeedsReason
		codes := ""
		if errors.As(err, &odd) {
			for _, o := range odd.Odd {
				if o.Code != "out-of-order" {
					codes += o.Code
				}
			}
		}
		if codes != code {
			t.Errorf("clamp %s: asked %q (%v), want %q", name, codes, err, code)
		}
	}
	p.do(0, action.Clamp{Flask: 1, Clamp: "C2"}, "8")
	p.do(minute, action.Clamp{Flask: 1, Clamp: "C2"})
	if _, err := p.tryAt(0, action.Clamp{Flask: 1, Clamp: "C3"}, ""); err == nil {
		t.Error("the reason for one clamp let another pass")
	}
}

// reckoned is how a thermometer or a gauge stands at an instant, by a reading of the records
// alone, without the fold: the latest check of those that count.
func reckoned(b *bench.Bench, p action.Piece, at time.Time) (known, inUse bool, last *action.EquipCheck, checks int) {
	var back time.Time
	var when time.Time
	for _, it := range b.Items {
		if it.TakenBack != nil {
			continue
		}
		if q, ok := action.PieceOf(it.Body); !ok || q.Key() != p.Key() {
			continue
		}
		switch a := it.Body.(type) {
		case action.EquipIn:
			if known && !inUse {
				back = it.Stamp.At
			}
			known, inUse = true, true
		case action.EquipOut:
			known, inUse, last, checks = true, false, nil, 0
		case action.EquipCheck:
			if !inUse || it.Stamp.At.Before(back) {
				continue
			}
			checks++
			if !it.Stamp.At.After(at) && (last == nil || !it.Stamp.At.Before(when)) {
				last, when = &a, it.Stamp.At
			}
		}
	}
	return known, inUse, last, checks
}

// Through hostile histories, with clocks set, records typed late, corrections and takings
// back: no instrument is called checked by anything but a check up to then, what stands in a
// step is what the register said as it was recorded and stays so, the same want is told
// once, and no step wants more than it would without a register.
func TestEquipmentThroughHostileHistories(outer *testing.T) {
	longrun.Checks(outer, 20, 100)
	told, refused, steps := 0, 0, 0
	rapid.Check(outer, func(t *rapid.T) {
		p := shop(outer)
		old := []string{p.do(0, open(1))}
		stood := map[string]string{}
		for range rapid.IntRange(20, 60).Draw(t, "steps") {
			p.ck.Run(time.Duration(rapid.SampledFrom([]int{1, 60, 3600, 40000, 90000, 300000}).Draw(t, "passes")) * time.Second)
			if rapid.IntRange(0, 14).Draw(t, "clock") == 0 {
				p.ck.Step(time.Duration(rapid.IntRange(-4, 4).Draw(t, "by")) * 13 * hour)
			}
			now := p.now()
			body := benchtest.Draw(t, p.b, now, old)
			switch rapid.IntRange(0, 5).Draw(t, "used") {
			case 0:
				body = action.BathLoad{Flasks: []int{p.b.Top.Flask}, Programme: "long, 9 h", Doubts: []action.Doubt{{Item: "thermometer T1", What: "off", Off: 9}}}
			case 1:
				body = action.PressAt{Flask: p.b.Top.Flask}
			}
			ago := rapid.SampledFrom([]time.Duration{0, 0, 0, hour, 2 * day}).Draw(t, "ago")
			before := p.b
			a, err := p.tryAt(ago, body, "8")
			if err != nil {
				refused += lessWithout(t, before, body, now, ago)
				continue
			}
			old = append(old, a.ID)
			steps++
			if n := lessWithout(t, before, body, now, ago); n != 0 {
				t.Fatalf("%+v is taken with a register and not without", body)
			}
			if ds := action.DoubtsOf(a.Body); !slices.Equal(ds, expected(before, a)) {
				t.Fatalf("%+v says %+v, want %+v", a.Body, ds, expected(before, a))
			}
			for _, it := range p.b.Items {
				ds := fmt.Sprint(action.DoubtsOf(it.Body))
				if was, ok := stood[it.Action.ID]; ok && was != ds {
					t.Fatalf("record %d said %s and says %s", it.Seq, was, ds)
				}
				stood[it.Action.ID] = ds
			}
			told += toldOnce(t, p.b)
			held, out := p.b.Pieces()
			for _, k := range slices.Concat(held, out) {
				known, inUse, _, _ := reckoned(p.b, k.Piece(), now.Wall)
				if !known || inUse != (k.Out == nil) {
					t.Fatalf("%s: in use %v, by the records %v", k.Piece(), k.Out == nil, inUse)
				}
				for _, when := range []time.Time{now.Wall, now.Wall.Add(-2 * day), now.Wall.Add(40 * day)} {
					s := k.Standing(when)
					_, _, last, checks := reckoned(p.b, k.Piece(), when)
					if k.Item.Checked() && k.Out == nil && checks <= len(k.Checks) && (s.Last == nil) != (last == nil) {
						t.Fatalf("%s at %s: a check is known %v, by the records %v", k.Piece(), when, s.Last != nil, last != nil)
					}
					if s.Last != nil && (s.Last.At.At.After(when) || s.Last.Due != last.Due) {
						t.Fatalf("%s at %s stands by the check of %s", k.Piece(), when, s.Last.At.At)
					}
					if s.Last == nil && k.Item.Checked() && (s.Overdue || !s.Due.IsZero() || s.OffByMuch()) {
						t.Fatalf("%s at %s: %+v of an instrument without a check", k.Piece(), when, s)
					}
				}
			}
		}
	})
	if steps < 60 || told < 4 || refused < 10 {
		outer.Errorf("%d records, %d told, %d refused: too little was tried", steps, told, refused)
	}
}

// expected is what a step must say of its instruments, by the records before it alone.
func expected(b *bench.Bench, a action.Action) []action.Doubt {
	kind, on := action.Gauge, action.Piece{Item: action.Press, Name: "1"}
	switch body := a.Body.(type) {
	case action.PressAt, action.MetalToMetal:
	case action.BathLoad:
		kind, on = action.Thermometer, action.Piece{Item: action.Bath, Name: fmt.Sprint(body.Bath)}
	default:
		return nil
	}
	var out []action.Doubt
	fitted := false
	held, _ := b.Pieces()
	for _, k := range held {
		if k.Item != kind || k.On != on.String() {
			continue
		}
		fitted = true
		_, _, last, checks := reckoned(b, k.Piece(), a.At)
		switch {
		case last == nil && checks >= 3: // of many, all later: nothing is known
		case last == nil:
			out = append(out, action.Doubt{Item: k.Piece().String(), What: action.Unchecked})
		default:
			if a.At.Format(time.DateOnly) > last.Due {
				out = append(out, action.Doubt{Item: k.Piece().String(), What: action.Overdue, Due: last.Due})
			}
			worst, _ := last.Worst()
			allowed := 1.0
			if kind == action.Gauge {
				if allowed = k.ScalePSI * 0.025; allowed == 0 {
					continue // the end of its scale is not known
				}
			}
			if math.Abs(worst.Off) > allowed {
				out = append(out, action.Doubt{Item: k.Piece().String(), What: action.OffByMuch, Off: worst.Off})
			}
		}
	}
	if k, ok := b.Piece(on); ok && k.Out == nil && !fitted {
		out = append(out, action.Doubt{Item: on.String(), What: action.NoInstrument})
	}
	return out
}

// toldOnce holds that of the steps between two checks one at most tells the same want.
func toldOnce(t *rapid.T, b *bench.Bench) int {
	seen, n := map[string]bool{}, 0
	for _, it := range b.Items {
		if it.TakenBack != nil {
			continue
		}
		for _, d := range b.FirstTold(it.Action.ID) {
			p, err := action.ParsePiece(d.Item)
			if k, ok := b.Piece(p); err != nil || !ok || k.Out != nil {
				continue // gone since
			}
			if n++; seen[d.Item+d.What] {
				t.Fatalf("%s is told twice", d.Words(house.Default().Units))
			}
			seen[d.Item+d.What] = true
		}
	}
	return n
}

// lessWithout holds a step against the bench without its register: 1 where it is refused
// there, too. A step that only the register refuses must be one that the register is about,
// or be above a rated load.
func lessWithout(t *rapid.T, b *bench.Bench, body action.Body, now timers.Now, ago time.Duration) int {
	if _, ok := action.PieceOf(body); ok || action.IsAmendment(body) {
		return 0
	}
	var bare []bench.Item
	for _, it := range b.Items {
		if _, ok := action.PieceOf(it.Action.Body); !ok {
			bare = append(bare, it)
		}
	}
	without := benchtest.Of(bare, b.Top)
	a := action.Action{ID: "x", At: now.Wall.Add(-ago), By: "KT", Body: body, Why: "8"}
	stamp := timers.StampAt(a.At, now.Reading)
	_, with := b.Check(a, stamp, now)
	_, bareErr := without.Check(a, stamp, now)
	switch {
	case bareErr != nil:
		return 1
	case with != nil && !strings.Contains(with.Error(), "rated load"):
		t.Fatalf("%+v is refused for the register: %v", body, with)
	}
	return 0
}

// What is said of instruments calls none of them good, in no unit.
func TestWordsOfEquipmentCallNothingGood(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := house.Units{Pressure: rapid.SampledFrom([]units.PressureUnit{"psi", "bar", "MPa"}).Draw(t, "p"), Temperature: rapid.SampledFrom([]units.TempUnit{"C", "F"}).Draw(t, "t")}
		ice, boil := rapid.Float64Range(-5, 5).Draw(t, "ice"), rapid.Float64Range(85, 105).Draw(t, "boil")
		said := action.Teller{Units: u, Full: true}.Tell(action.EquipCheck{Item: "thermometer", Name: "T1", IceC: &ice, BoilC: &boil, AirHPa: 1000, Due: "2026-12-24"})
		for _, what := range []string{action.NoInstrument, action.Unchecked, action.Overdue, action.OffByMuch} {
			said += "; " + action.Doubt{Item: "gauge G1", What: what, Due: "2026-11-20", Off: ice}.Words(u)
		}
		for _, bad := range []string{"in date", "ok", "good", "passed", "valid", "accurate", "correct", "safe"} {
			if strings.Contains(" "+strings.ToLower(said)+" ", bad) {
				t.Fatalf("%q says %q", said, bad)
			}
		}
	})
}
