package bench_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	ways "flaskside/logbook/route"
)

// What is taken in beyond what the settings have is asked about, and told what to do; what the
// settings have is not.
func TestMoreThanTheSettingsHave(t *testing.T) {
	p := newPaper(t)
	for _, c := range []struct {
		in   action.EquipIn
		want string
	}{
		{action.EquipIn{Item: "press", Name: "1"}, ""},
		{action.EquipIn{Item: "press", Name: "9"}, "press 9 is more than the settings have: one press. Say there first how many there are (press.presses)"},
		{action.EquipIn{Item: "bath", Name: "3"}, "bath 3 is more than the settings have: one bath. Say there first how many there are (baths)"},
		{action.EquipIn{Item: "gauge", Name: "G1", On: "press 2"}, "press 2 is more than"},
		{action.EquipIn{Item: "thermometer", Name: "T1", On: "bath 7"}, "bath 7 is more than"},
		{action.EquipIn{Item: "thermometer", Name: "T1", On: "bath 1"}, ""},
		{action.EquipIn{Item: "pot", Name: "A"}, ""},
		{action.EquipIn{Item: "pot", Name: "B"}, "pot B is more than the settings have: one pot. Say there first how many there are (pots)"},
		{action.EquipIn{Item: "pot", Name: "A", Litres: 4}, ""},
		{action.EquipIn{Item: "clamp", Name: "40"}, ""},
	} {
		_, err := p.tryAt(0, c.in, "")
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s %s on %q: %v, want %q", c.in.Item, c.in.Name, c.in.On, err, c.want)
		}
	}
	h := house.Default()
	h.Press.Presses, h.Pots = 6, 2
	p.do(0, action.Settings{House: h})
	p.do(0, action.EquipIn{Item: "press", Name: "6"})
	p.do(0, action.EquipIn{Item: "pot", Name: "B"})
}

// What the register says is out of use counts nowhere: not for the press that comes next, nor for
// the press order, nor for how many can be in a place at once.
func TestWhatIsOutOfUseCountsNowhere(t *testing.T) {
	p := newPaper(t)
	h := house.Default()
	h.Press.Presses, h.Pots = 2, 2
	p.do(0, action.Settings{House: h})
	if free, n := p.b.FreePress(), p.b.PressBench().Presses; free != 1 || n != 2 {
		t.Fatalf("with no register press %d of %d is free", free, n)
	}
	p.do(0, action.EquipIn{Item: "press", Name: "1"})
	p.do(0, action.EquipOut{Item: "press", Name: "1", Reason: "under repair"})
	if free, n := p.b.FreePress(), p.b.PressBench().Presses; free != 2 || n != 1 || !slices.Equal(p.b.Usable(action.Press), []int{2}) {
		t.Errorf("press 1 under repair: press %d of %d is free", free, n)
	}
	for _, c := range []struct {
		do   action.Body
		want int
	}{
		{action.EquipIn{Item: "pot", Name: "A"}, 2},                          // the other one is not in the register
		{action.EquipOut{Item: "pot", Name: "A", Reason: "broken"}, 1},       // which leaves the other one
		{action.EquipIn{Item: "pot", Name: "B"}, 1},                          // that one, then
		{action.EquipIn{Item: "pot", Name: "C"}, 2},                          // in the place of A
		{action.EquipOut{Item: "pot", Name: "B", Reason: "under repair"}, 1}, // and now C alone
		{action.EquipOut{Item: "pot", Name: "C", Reason: "under repair"}, 0},
	} {
		p.do(minute, c.do)
		if n, ok := p.b.Spots("pot"); !ok || n != c.want {
			t.Errorf("after %+v there are %d pots, want %d", c.do, n, c.want)
		}
	}
	p.in("5001", ways.Pot)
	p.step(0, "5001", "wet")
	_, err := p.tryAt(0, action.CaseStep{Case: "5001", Base: "upper", Step: "pot"}, "")
	if err == nil || !strings.Contains(err.Error(), "all 2 pots are out of use") {
		t.Errorf("into the pot where both are out of use: %v", err)
	}
}

// A load that goes into the bath in which a case boils out is asked about; with another bath free,
// where that may be, it is not.
func TestALoadWhereACaseBoilsOut(t *testing.T) {
	two := house.Default()
	two.Baths = append(slices.Clone(two.Baths), two.Baths[0])
	two.Baths[1].Name = "bath 2"
	for _, c := range []struct {
		name string
		h    house.House
		out  bool // bath 2 is out of use
		want []string
	}{{"one bath", house.Default(), false, []string{bench.PlaceCode}}, {"another is free", two, false, nil}, {"the other one is out of use", two, true, []string{bench.PlaceCode}}} {
		p := newPaper(t)
		p.do(0, action.Settings{House: c.h})
		if c.out {
			p.do(0, action.EquipIn{Item: "bath", Name: "2"})
			p.do(0, action.EquipOut{Item: "bath", Name: "2", Reason: "broken"})
		}
		p.in("4417", ways.Packed)
		for _, s := range []string{"layer-1", "layer-2", "cap"} {
			p.step(20*minute, "4417", s)
		}
		p.do(0, open(2))
		load := action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"}
		before := p.oddOf(load)
		p2 := *p
		p2.recs = slices.Clone(p.recs)
		p2.step(hour, "4417", "boil-out")
		got := slices.DeleteFunc(p2.oddOf(load), func(s string) bool { return slices.Contains(before, s) })
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// withLot is the packed route with the lot of the stone asked at the cap.
func withLot(t *testing.T) house.House {
	t.Helper()
	h, err := house.ReadTOML(strings.NewReader("[[routes]]\nname = 'packed'\n[[routes.steps]]\nname = 'cap'\n[[routes.steps.fields]]\nname = 'stone'\nof = 'stone lot'\nmay = true"), house.Default())
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// A lot that a step of a case names is held against the register as any other is; a reason given
// for one lot lets no other pass, and is not asked for twice.
func TestTheLotOfAStep(t *testing.T) {
	p := newPaper(t)
	p.do(0, action.Settings{House: withLot(t)})
	p.do(0, action.LotIn{Material: "stone", Lot: "G-1"})
	p.do(0, action.LotIn{Material: "stone", Lot: "G-2", Expiry: "2026-11-24"}, "8")
	p.do(0, action.LotIn{Material: "stone", Lot: "G-3"})
	p.do(0, action.LotOut{Material: "stone", Lot: "G-3", Reason: "recalled"})
	p.in("4417", ways.Packed)
	p.step(0, "4417", "layer-1")
	p.step(20*minute, "4417", "layer-2")
	p.ck.Run(20 * minute)
	cap := func(lot string) action.CaseStep {
		return action.CaseStep{Case: "4417", Base: "upper", Step: "cap", Values: []action.StepValue{{Name: "stone", Text: lot}}}
	}
	for lot, want := range map[string]string{"G-1": "", "G-2": "lot-expired", "G-3": "lot-withdrawn", "G-9": "lot-unknown"} {
		q := *p
		q.recs = slices.Clone(p.recs)
		if got := strings.Join(q.oddOf(cap(lot)), " "); got != want {
			t.Errorf("stone lot %s: asked %q, want %q", lot, got, want)
		}
	}
	p.do(0, cap("G-2"), "8")
	if got := action.LotsUsed(p.recs[len(p.recs)-1].Action.Body); len(got) != 1 || got[0] != (action.LotUse{Material: "stone", Lot: "G-2"}) {
		t.Errorf("the record names %v", got)
	}
	again := p.oddOf(cap("G-2"))
	if slices.Contains(again, "lot-expired") {
		t.Errorf("asked for the same lot once more: %v", again)
	}
	if got := p.oddOf(cap("G-9")); !slices.Contains(got, "lot-unknown") {
		t.Errorf("the reason for one lot let another pass: %v", got)
	}
	var ask *bench.NeedsReason
	if _, err := p.tryAt(0, cap("G-3"), ""); !errors.As(err, &ask) || !strings.Contains(err.Error(), "the stone lot G-3 was taken out of use on Wed 25 Nov 2026: recalled") {
		t.Errorf("the question says %v", err)
	}
}

// A base that is to be made anew is invested again; that it was disinfected when it came in stays
// done, and is not short in the closing list.
func TestARemakeIsInvestedAgain(t *testing.T) {
	h, err := house.ReadTOML(strings.NewReader("[[routes]]\nname = 'packed'\n[[routes.steps]]\nname = 'received'\noff = false"), house.Default())
	if err != nil {
		t.Fatal(err)
	}
	p := newPaper(t)
	p.do(0, action.Settings{House: h})
	p.in("4417", ways.Packed)
	for _, s := range []string{"received", "layer-1", "layer-2", "cap"} {
		p.step(20*minute, "4417", s)
	}
	p.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"}, "8")
	p.do(minute, action.Outcome{Flask: 1, Outcome: "remake", Defects: []string{"porosity"}}, "8")
	k, _ := p.b.CaseOnList("4417", "upper")
	if s, ok := p.b.NextOfCase(k); !ok || s.Name != "layer-1" {
		t.Errorf("after the remake the next step is %q", s.Name)
	}
	if got := p.b.MissingOf(k); slices.Contains(got, "received") || !slices.Contains(got, "layer-1") {
		t.Errorf("no record of %v", got)
	}
}

// A case that is typed when its flask has its outcome does not wait: on a route it stands behind
// the flask; where nothing is left to do it is asked about and stays off the list. Said to be a
// remake, it waits; delivered since, it is another piece of work.
func TestACaseTypedAfterItsOutcome(t *testing.T) {
	late := func(way, of string) action.CaseIn {
		return action.CaseIn{Case: "4401", Base: "upper", Size: "medium", Due: "2026-11-27T12:00:00+01:00", Route: way, RemakeOf: of}
	}
	p := upTo(t, bench.Finished)
	if got := p.oddOf(late("", "")); !slices.Equal(got, []string{bench.CaseMadeCode}) {
		t.Errorf("asked %v", got)
	}
	p.do(0, late("", ""), "8")
	if _, on := p.b.CaseOnList("4401", "upper"); on {
		t.Error("it is on the list")
	}

	p = upTo(t, bench.Finished)
	p.do(0, late(ways.Packed, ""))
	k, on := p.b.CaseOnList("4401", "upper")
	if s, _ := p.b.NextOfCase(k); !on || k.Waits() || p.b.WantsFlask(k) || s.Name != "finish" {
		t.Errorf("on its route it stands as %+v, next %q", k, s.Name)
	}

	p = upTo(t, bench.Finished)
	p.do(0, late("", "4401"))
	if k, on := p.b.CaseOnList("4401", "upper"); !on || !k.Waits() {
		t.Errorf("a remake stands as %+v", k)
	}

	p = upTo(t, bench.Finished)
	p.do(minute, action.CaseDelivered{Case: "4401", Base: "upper", Done: action.Closing, WetH: 24})
	p.do(hour, late("", ""))
	if k, on := p.b.CaseOnList("4401", "upper"); !on || !k.Waits() {
		t.Errorf("after the delivery it stands as %+v", k)
	}
}
