package house

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/units"
)

// Every number of the settings has one usual range, in the table, with where it comes
// from; the defaults lie inside.
func TestEverySettingHasAUsualRange(t *testing.T) {
	h := Default()
	h.Programmes[0].Stages[0].RampS = 60
	for _, l := range Leaves("", h) {
		v, is := l.Number()
		if !is || Counted(l.Key) {
			continue
		}
		u, ok := UsualOf(l.Key)
		if !ok {
			t.Errorf("%s has no usual range", l.Key)
			continue
		}
		if !u.Has(v) {
			t.Errorf("the default %s: %s", l.Key, u.Outside(v, h.Units))
		}
	}
	seen := map[string]bool{}
	for _, u := range usual {
		if seen[u.Key] || u.Words == "" || u.Source == "" || u.Low >= u.High {
			t.Errorf("%+v", u)
		}
		seen[u.Key] = true
	}
}

// A number may be written with its unit; what it means does not hang on the units of
// the house.
func TestSettingsTakeTextsWithUnits(t *testing.T) {
	file := `units = { pressure = 'bar', temperature = 'F' }
cooling = { bench_s = "30 min" }
[press]
pressure_psi = "207 bar"
max_psi = '30 MPa'
hold_s = "1 min 30 s" # a minute and a half
[[baths]]
name = "bath 1"
band_k = "3.6 F"
[[programmes]]
name = "night"
max_s = "12 h"
stages = [{ temp_c = "165 F", hold_s = "9 h" }, { temp_c = "100 C", ramp_s = "30 min", hold_s = "1h30" }]
[[resins]]
name = "ours"
ref_temp_c = "73.4 °F"
work_until_min = "40 min"
`
	for _, in := range []Units{{"psi", "C"}, {"MPa", "F"}} {
		base := Default()
		base.Units = in
		h, err := ReadTOML(strings.NewReader(file), base)
		if err != nil {
			t.Fatal(err)
		}
		p, _ := h.Programme("night")
		r, _ := h.Resin("ours")
		want := []Stage{{TempC: (165 - 32) / 1.8, HoldS: 32400}, {TempC: 100, RampS: 1800, HoldS: 5400}}
		if h.Press.PressurePSI != units.Bar.ToPSI(207) || h.Press.MaxPSI != units.MPa.ToPSI(30) || h.Press.HoldS != 90 || h.Cooling.BenchS != 1800 ||
			h.Baths[0].BandK != 2 || h.Baths[0].Litres != 10 || p.MaxS != 43200 || !reflect.DeepEqual(p.Stages, want) || r.WorkUntilMin != 40 || units.FormatTemp(r.RefTempC, units.Celsius) != "23 °C" {
			t.Errorf("read as %+v", h)
		}
		if len(h.Programmes) != 5 {
			t.Errorf("one programme given leaves %d", len(h.Programmes))
		}
		out := export(t, h)
		for _, text := range []string{"'207 bar'", "'300 bar'", "'1 min 30 s'", "'165 F'", "'212 F'", "'9 h'", "'1 h 30 min'", "'73.4 F'", "'3.6 F'"} {
			if !strings.Contains(out, text) {
				t.Errorf("the export of a house in bar and °F does not say %s:\n%s", text, out)
			}
		}
	}
}

// Nothing is lost from a list but by [remove]: whatever entries a file names or changes,
// every entry of the house that it does not remove stands after it, unchanged where the
// file does not name it.
func TestMergeLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := randomHouse(t)
		var file strings.Builder
		gone := map[string]bool{}
		var goneNames []string
		named := map[string]bool{}
		for i, p := range h.Programmes {
			if i > 0 && rapid.Bool().Draw(t, "remove") {
				gone[p.Name] = true
				goneNames = append(goneNames, fmt.Sprintf("%q", p.Name))
			} else if rapid.Bool().Draw(t, "name it") {
				named[p.Name] = true
				fmt.Fprintf(&file, "[[programmes]]\nname = %q\nmax_s = 0\n", p.Name)
			}
		}
		fmt.Fprintf(&file, "[[programmes]]\nname = 'one more'\nstages = [{ temp_c = 74, hold_s = 32400 }]\n")
		if len(goneNames) > 0 {
			fmt.Fprintf(&file, "[remove]\nprogrammes = [%s]\n", strings.Join(goneNames, ", "))
		}
		got, err := ReadTOML(strings.NewReader(file.String()), h)
		if err != nil {
			t.Fatalf("%v\n%s", err, file.String())
		}
		for _, p := range h.Programmes {
			is, there := got.Programme(p.Name)
			switch {
			case there == gone[p.Name]:
				t.Fatalf("programme %q: removed %v, there %v", p.Name, gone[p.Name], there)
			case there && named[p.Name]:
				if p.MaxS = 0; !reflect.DeepEqual(is, p) {
					t.Fatalf("of %q only max_s was given; it is %+v", p.Name, is)
				}
			case there && !reflect.DeepEqual(is, p):
				t.Fatalf("%q was not named, and is %+v instead of %+v", p.Name, is, p)
			}
		}
		if _, there := got.Programme("one more"); !there || !reflect.DeepEqual(got.Baths, h.Baths) || !reflect.DeepEqual(got.Resins, h.Resins) {
			t.Fatalf("%+v", got)
		}
	})
}

func TestMergeRefuses(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{"[remove]\nprogrammes = ['night']\n", `settings: remove.programmes: there is no "night"; there are "long, 9 h", "long and boil"`},
		{"[remove]\nbaths = ['bath 1']\n", "settings: give 1 to 9 baths, not 0"},
		{"[[baths]]\nlitres = 5\n", "settings: an entry of baths has no name"},
		{"[[baths]]\nname = 'b'\nlitres = 5\n[[baths]]\nname = 'b'\n", `settings: two baths are called "b"`},
		{"[[programmes]]\nname = 'long, 9 h'\n[remove]\nprogrammes = ['long, 9 h']\n", `settings: programmes: "long, 9 h" is given and removed in one file`},
		{"[remove]\ncolours = ['x']\n", `settings: line 2: unknown setting "remove.colours"`},
	} {
		if _, err := ReadTOML(strings.NewReader(c.file), Default()); err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// What changed is told old → new, each thing once, and nothing else.
func TestChangesTellOldAndNew(t *testing.T) {
	was := Default()
	is, err := ReadTOML(strings.NewReader(`lab = 'Nordlicht'
crew = ['KT']
[press]
pressure_psi = 3500
[[programmes]]
name = 'long, 9 h'
max_s = '11 h'
[[programmes]]
name = 'night'
stages = [{ temp_c = 74, hold_s = '8 h' }]
[remove]
programmes = ['quick and boil']
`), was)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"lab: not set → Nordlicht", `initials "KT" added`, "pressure at trial closures: 3000 psi → 3500 psi",
		`programme "long, 9 h", longest stay in the bath: 12 h → 11 h`, `programme "night" added: 74C 8h`, `programme "quick and boil" removed`,
	}
	if got := ChangeWords(Changes(was, is)); !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	// People are told by their initials, wherever they stand in the list.
	was.People = []Person{{By: "KT", Role: leads}, {By: "MB", Role: "work"}, {By: "LL", Role: "see"}}
	is = was
	is.People = []Person{{By: "LL", Role: "work"}, {By: "KT", Role: leads}, {By: "SE", Role: "see"}}
	want = []string{`person "LL", people.role: see → work`, `person "SE" added: see`, `person "MB" removed`}
	if got := ChangeWords(Changes(was, is)); !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	was = Default()
	rapid.Check(t, func(t *rapid.T) {
		h := randomHouse(t)
		if got := Changes(h, h); len(got) > 0 {
			t.Fatalf("nothing changed, told: %+v", got)
		}
		if got := ChangeWords(Changes(was, h)); len(got) == 0 {
			t.Fatal("all changed, nothing told")
		}
	})
}

// Nothing above the rated load can be a house pressure.
func TestHousePressureUnderTheRatedLoad(t *testing.T) {
	for _, c := range []struct {
		p    pressWork
		want string
	}{
		{pressWork{PressurePSI: 3000}, ""},
		{pressWork{PressurePSI: 3000, MaxPSI: 3000, FinalPSI: 3000}, ""},
		{pressWork{PressurePSI: 3000, MaxPSI: 2999}, "press.pressure_psi is 3000 psi, above the rated load press.max_psi 2999 psi"},
		{pressWork{PressurePSI: 2000, FinalPSI: 3100, MaxPSI: 3000}, "press.final_psi is 3100 psi, above the rated load"},
	} {
		h := Default()
		h.Press.PressurePSI, h.Press.FinalPSI, h.Press.MaxPSI = c.p.PressurePSI, c.p.FinalPSI, c.p.MaxPSI
		if err := h.Valid(); (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.p, err, c.want)
		}
	}
}

func TestCaseNumbers(t *testing.T) {
	for _, c := range []struct {
		pattern, text string
		ok            bool
	}{
		{"", "4417", true}, {"", "K-0012/26", true}, {"", "123456789012", true}, {"", "1234567890123", false},
		{"", "Mrs Smith", false}, {"", "Smith", false}, {"", "Smith 4", false}, {"", "Schäfer2", true},
		{`K-\d{4}`, "K-0012", true}, {`K-\d{4}`, "K-00123", false}, {`K-\d{4}`, "4417", false}, {"a|b", "xb", false}, {".*", "Mrs Smith", true},
	} {
		h := Default()
		h.Cases = c.pattern
		if got := h.CaseOdd(c.text); (got == "") != c.ok {
			t.Errorf("%q by %q: %q", c.text, c.pattern, got)
		}
	}
	h := Default()
	h.Cases = "(4"
	if err := h.Valid(); err == nil || !strings.Contains(err.Error(), "case_numbers is not a regular expression") {
		t.Error(err)
	}
}

// A bare number is read in the house's unit; where it only makes sense in another, that
// one is named.
func TestOtherUnit(t *testing.T) {
	psi, _ := UsualOf("press-at.pressure_psi")
	temp, _ := UsualOf("bath-load.stages.temp_c")
	for _, c := range []struct {
		u    Usual
		v    float64
		in   Units
		want string
	}{
		{psi, 207, Units{"psi", "C"}, "207 bar"}, {psi, 20.7, Units{"psi", "C"}, "20.7 MPa"}, {psi, 3000, Units{"psi", "C"}, ""},
		{psi, units.Bar.ToPSI(3000), Units{"bar", "C"}, "3000 psi"}, {psi, 7000, Units{"psi", "C"}, ""},
		{temp, 165, Units{"psi", "C"}, "165 °F"}, {temp, units.Fahrenheit.ToC(74), Units{"psi", "F"}, "74 °C"}, {temp, 74, Units{"psi", "F"}, ""},
	} {
		if got, _ := c.u.Other(c.v, c.in); got != c.want {
			t.Errorf("%s %g in %v: %q, want %q", c.u.Key, c.v, c.in, got, c.want)
		}
	}
	want := "pressure 207 psi is outside the usual 1000 psi to 5000 psi (207 bar would be 3002 psi)"
	if got := psi.Outside(207, Units{"psi", "C"}); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
