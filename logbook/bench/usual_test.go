package bench_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers/longrun"
)

// Every number of every kind of action has a usual range, or names a thing. A number added
// to an action without one fails here.
func TestEveryNumberOfAnActionHasAUsualRange(t *testing.T) {
	filled := map[action.Kind]action.Body{
		"mix":         action.MixMake{JarC: new(float64)},
		"equip-check": action.EquipCheck{IceC: new(float64), BoilC: new(float64), ReadC: new(float64), AgainstC: new(float64), ReadPSI: new(float64), AgainstPSI: new(float64)},
		"bath-load":   action.BathLoad{Flasks: []int{1}, Stages: []house.Stage{{}}, Sections: []action.Section{{}}},
	}
	n := 0
	for _, k := range action.Kinds() {
		if k == "settings" { // held in package house
			continue
		}
		body := filled[k]
		if body == nil {
			body = zero(t, k)
		}
		for _, l := range house.Leaves(string(k), body) {
			_, number := l.Number()
			if _, ok := house.UsualOf(l.Key); number && !ok && !house.Counted(l.Key) {
				t.Errorf("%s has no usual range", l.Key)
			} else if number && ok {
				n++
			}
		}
	}
	if n < 30 {
		t.Errorf("only %d numbers were found", n)
	}
}

// zero is an empty body of a kind, by its schema: decoding is too strict for that.
func zero(t *testing.T, k action.Kind) action.Body {
	for _, b := range []action.Body{action.FlaskOpen{}, action.FlaskMove{}, action.Coat{}, action.MixMake{}, action.MixServe{}, action.MixDough{}, action.MixStiff{},
		action.PressIn{}, action.PressAt{}, action.PressOpen{}, action.Flash{}, action.FlashMore{}, action.DoughAdd{}, action.Inspect{}, action.FlaskLots{}, action.SheetOut{},
		action.MetalToMetal{}, action.Clamp{}, action.BathReading{}, action.BathUnload{}, action.CoolWater{}, action.Deflask{}, action.Remount{}, action.Outcome{}, action.Note{},
		action.TimerStart{}, action.TimerStop{}, action.AlarmHeard{}, action.AlarmShelve{}, action.Correct{}, action.TakeBack{}, action.Crew{}, action.Caution{}, action.ClockEvent{},
		action.Seen{}, action.Screen{}, action.LotIn{}, action.LotOut{}, action.Restored{}, action.SignOff{}, action.EquipIn{}, action.EquipCheck{}, action.EquipWater{}, action.EquipOut{}, action.CaseIn{}, action.CaseOff{}, action.CaseDelivered{}, action.DayPlan{}, action.CaseStep{}} {
		if b.Kind() == k {
			return b
		}
	}
	t.Errorf("the kind %q is not in this test: add an empty body of it", k)
	return action.Seen{}
}

// hostile puts a random number into each numeric field that has a usual range.
func hostile(t *rapid.T, body action.Body) action.Body {
	v := reflect.New(reflect.TypeOf(body)).Elem()
	v.Set(reflect.ValueOf(body))
	var fill func(key string, v reflect.Value)
	fill = func(key string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Struct:
			for i := range v.NumField() {
				name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
				fill(key+"."+name, v.Field(i))
			}
		case reflect.Slice:
			for i := range v.Len() {
				fill(key, v.Index(i))
			}
		case reflect.Int, reflect.Float64:
			u, ok := house.UsualOf(key)
			if !ok || rapid.IntRange(0, 2).Draw(t, "leave") == 0 {
				return
			}
			x := rapid.SampledFrom([]float64{0, u.Low, u.High, u.Low - 1, u.High + 1, u.High * 1.1, u.High * 5, u.Low / 3, (u.Low + u.High) / 2, 1, 60, 207, 19000}).Draw(t, key)
			if v.Kind() == reflect.Int {
				v.SetInt(int64(math.Round(x)))
			} else {
				v.SetFloat(x)
			}
		}
	}
	fill(string(body.Kind()), v)
	return v.Interface().(action.Body)
}

// Whatever numbers go in, by whatever act or correction, in whatever house: nothing
// outside its usual range is recorded without a reason, and nothing above the rated load
// at all. What the settings themselves say was asked about there.
func TestNoNumberOutsideItsRangeWithoutAReason(outer *testing.T) {
	longrun.Checks(outer, 20, 100)
	asked := 0
	rapid.Check(outer, func(t *rapid.T) {
		p := newPaper(outer)
		h := house.Default()
		h.Press.MaxPSI = rapid.SampledFrom([]float64{0, 3000, 4000, 6000}).Draw(t, "rated")
		h.Units = house.Units{Pressure: rapid.SampledFrom([]units.PressureUnit{"psi", "bar", "MPa"}).Draw(t, "p"), Temperature: rapid.SampledFrom([]units.TempUnit{"C", "F"}).Draw(t, "t")}
		p.do(0, action.Settings{House: h}, "1")
		p.do(0, open(1))
		for range rapid.IntRange(5, 40).Draw(t, "steps") {
			p.ck.Run(time.Duration(rapid.SampledFrom([]int{1, 60, 900, 40000}).Draw(t, "passes")) * time.Second)
			now := p.now()
			var old []string
			for _, it := range p.b.Items {
				old = append(old, it.Action.ID)
			}
			body := benchtest.Draw(t, p.b, now, old)
			switch rapid.IntRange(0, 7).Draw(t, "pressed") {
			case 0:
				body = action.PressAt{Flask: 1}
			case 1:
				body = action.MetalToMetal{Flask: 1}
			}
			switch a := body.(type) {
			case action.Settings, action.ClockEvent:
				continue
			case action.BathLoad:
				if rapid.Bool().Draw(t, "own stages") {
					a.Stages = []house.Stage{{TempC: 74, HoldS: 32400}, {TempC: 100, HoldS: 3600, RampS: 1800}}
					a.Sections = []action.Section{{Flask: a.Flasks[0], ThinMM: 2, ThickMM: 5}}
					body = a
				}
			case action.Correct:
				if it, ok := p.b.Item(a.Of); ok {
					switch it.Body.(type) {
					case action.PressAt, action.MetalToMetal:
						a.Set = json.RawMessage(fmt.Sprintf(`{"pressure_psi":%g}`, rapid.SampledFrom([]float64{500, 3000, 3500, 5500, 19000}).Draw(t, "corrected")))
						body = a
					}
				}
			}
			body = hostile(t, body)
			rated := p.b.House.Press.MaxPSI // settings can be taken back
			r, err := p.tryAt(0, body, "")
			var ask *bench.NeedsReason
			if errors.As(err, &ask) {
				asked++
				if r, err = p.tryAt(0, body, "1"); errors.As(err, &ask) {
					t.Fatalf("a reason was given and is asked for: %v", err)
				}
			}
			if err != nil {
				continue
			}
			is := r.Body
			var was action.Body
			if c, ok := is.(action.Correct); ok {
				it, _ := p.b.Item(c.Of)
				is, was = it.Body, it.Action.Body
			}
			for _, l := range house.Leaves(string(is.Kind()), is) {
				v, ok := l.Number()
				if !ok {
					continue
				}
				if strings.HasSuffix(l.Key, "pressure_psi") && rated > 0 && v > rated {
					t.Fatalf("%g psi is in the book with a rated load of %g", v, rated)
				}
				if u, ok := house.UsualOf(l.Key); ok && was == nil && !u.Has(v) && r.Why == "" {
					t.Fatalf("%s of %g is in the book without a reason: %+v", l.Key, v, is)
				}
			}
		}
	})
	if asked == 0 {
		outer.Error("nothing was ever asked: the test cannot fail")
	}
}

// What a person is asked, in the units of the house.
func TestNumbersAreAskedAbout(t *testing.T) {
	for _, c := range []struct {
		body action.Body
		set  func(h *house.House)
		want string
	}{
		{action.PressAt{Flask: 1, PressurePSI: 19000}, nil, "19000 psi is above the house's 3000 psi and no rated load is set (press.max_psi): ask the makers of press, flask and clamp"},
		{action.PressAt{Flask: 1, PressurePSI: 3300}, nil, ""},
		{action.PressAt{Flask: 1, PressurePSI: 3301}, nil, "no rated load is set"},
		{action.PressAt{Flask: 1, PressurePSI: 207}, nil, "pressure 207 psi is outside the usual 1000 psi to 5000 psi (207 bar would be 3002 psi)"},
		{action.PressAt{Flask: 1, PressurePSI: 4500}, func(h *house.House) { h.Press.MaxPSI = 4000 }, "4500 psi is above the rated load of 4000 psi"},
		{action.PressAt{Flask: 1, PressurePSI: 4000}, func(h *house.House) { h.Press.MaxPSI = 4000 }, ""},
		{action.PressAt{Flask: 1, Gauge: "290 bar"}, func(h *house.House) { h.Press.MaxPSI, h.Units.Pressure = 4000, "bar" }, "290 bar is above the rated load of 276 bar"},
		{action.MetalToMetal{Flask: 1, PressurePSI: 4500}, func(h *house.House) { h.Press.FinalPSI = 4200 }, "final closure while the flask is at"},
		{action.MetalToMetal{Flask: 1, PressurePSI: 4700}, func(h *house.House) { h.Press.FinalPSI = 4200 }, "4700 psi is above the house's 4200 psi and no rated load is set"},
		{action.MixMake{Flasks: []int{1}, PowderG: 300, LiquidG: 2}, nil, "powder to liquid by mass 150 is outside the usual 1.5 to 3.5"},
		{action.BathLoad{Flasks: []int{1}, Programme: "quick", Stages: []house.Stage{{TempC: 74, HoldS: 600}}}, nil, "the whole programme 10 min is outside the usual 1 h to 24 h"},
		{action.BathLoad{Flasks: []int{1}, Programme: "own", Stages: []house.Stage{{TempC: 105, HoldS: 32400}}}, func(h *house.House) { h.Units.Temperature = "F" }, "temperature of a hold 221 °F is outside the usual 140 °F to 214 °F"},
		{action.BathReading{Bath: 1, TempC: 120}, nil, "bath temperature 120 °C is outside the usual"},
		{action.Clamp{Flask: 1, BackedOffTurn: 4}, nil, "clamp backed off 4 turns is outside the usual 0 turns to 1 turns"},
		{action.Remount{Flask: 1, PinMM: 4}, nil, "pin opening 4 mm is outside the usual 0 mm to 3 mm"},
		{action.FlaskOpen{Place: 2, Case: "Mrs Smith", Base: "upper", Size: "small"}, nil, `"Mrs Smith" does not look like a case number`},
		{action.FlaskOpen{Place: 2, Case: "4420", Base: "upper", Size: "small"}, nil, ""},
	} {
		p := upTo(t, bench.Holding)
		h := p.b.House
		if c.set != nil {
			c.set(&h)
			p.do(0, action.Settings{House: h})
		}
		_, err := p.tryAt(0, c.body, "")
		switch {
		case c.want == "" && err != nil && strings.Trim(strings.Join(codesAsked(err), ""), " ") != "out-of-order":
			t.Errorf("%+v is asked about: %v", c.body, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%+v: %v, want %q", c.body, err, c.want)
		}
	}
}

// A gauge is shown as it was read off, whatever unit the house reads later.
func TestGaugeIsShownAsItWasRead(t *testing.T) {
	p := upTo(t, bench.InPress)
	h := p.b.House
	h.Units.Pressure = "bar"
	h.Press.PressurePSI = units.Bar.ToPSI(207)
	p.do(0, action.Settings{House: h})
	p.do(5, action.PressAt{Flask: 1})
	if tr := p.b.Flasks[1].Trial(); tr.Gauge != "207 bar" {
		t.Errorf("read as %q", tr.Gauge)
	}
	h.Units.Pressure = "psi"
	p.do(5, action.Settings{House: h})
	if tr := p.b.Flasks[1].Trial(); tr.Gauge != "207 bar" || math.Abs(tr.PSI-3002.3) > 0.1 {
		t.Errorf("in a house of psi it is %q, %g psi", tr.Gauge, tr.PSI)
	}
	id := p.b.Flasks[1].Trial().AtID
	p.do(5, action.Correct{Of: id, Set: json.RawMessage(`{"pressure_psi":2900}`)})
	if tr := p.b.Flasks[1].Trial(); tr.Gauge != "2900 psi" || tr.PSI != 2900 {
		t.Errorf("corrected to %q, %g psi", tr.Gauge, tr.PSI)
	}
	for _, bad := range []string{`{"flask":1,"gauge":"207"}`, `{"flask":1,"gauge":"207 bar","pressure_psi":207}`, `{"flask":1,"gauge":"much"}`, `{"flask":1,"gauge":"0 bar"}`} {
		if _, err := action.DecodeBody("press-at", []byte(bad)); err == nil {
			t.Errorf("%s was taken", bad)
		}
	}
}

// The record of settings says what is another than before, whatever it was told.
func TestSettingsRecordSaysWhatChanged(t *testing.T) {
	p := upTo(t, bench.Opened)
	h := p.b.House
	h.Press.HoldS = 90
	p.do(0, action.Settings{House: h, Changed: []string{"nothing"}})
	got := p.b.Items[len(p.b.Items)-1].Body.(action.Settings).Changed
	if len(got) != 1 || got[0] != "hold at pressure: 1 min → 1 min 30 s" {
		t.Errorf("%q", got)
	}
}

// The pin is told from the house's limit on.
func TestPinAboveTheHouseLimitIsTold(t *testing.T) {
	for _, c := range []struct {
		pin, limit float64
		high       bool
	}{{1, 0, false}, {1.1, 0, true}, {1.1, 2, false}, {0.4, 0.3, true}} {
		p := upTo(t, bench.Open)
		h := p.b.House
		h.Remount.PinLimitMM = c.limit
		p.do(0, action.Settings{House: h})
		p.do(60, action.Remount{Flask: 1, PinMM: c.pin})
		f := p.b.Flasks[1]
		told := false
		for _, o := range f.Oddities {
			told = told || o.What == "pin-high"
		}
		if p.b.PinHigh(f) != c.high || told != c.high {
			t.Errorf("%+v: high %v, told %v", c, p.b.PinHigh(f), told)
		}
	}
}

// codesAsked are the codes that a reason is asked for.
func codesAsked(err error) (codes []string) {
	var ask *bench.NeedsReason
	if errors.As(err, &ask) {
		for _, o := range ask.Odd {
			codes = append(codes, o.Code)
		}
	}
	return codes
}
