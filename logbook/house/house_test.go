package house

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"pgregory.net/rapid"

	"flaskside/logbook/flash"
	"flaskside/logbook/route"
	"flaskside/logbook/units"
	"flaskside/timers/dough"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

func export(t interface{ Fatal(...any) }, h House) string {
	var buf bytes.Buffer
	if err := h.WriteTOML(&buf); err != nil {
		t.Fatal(err)
	}
	return buf.String()
}

// sameLists makes an empty list and none the same.
func sameLists(h House) House {
	if len(h.Crew) == 0 {
		h.Crew = nil
	}
	if len(h.People) == 0 {
		h.People = nil
	}
	return h
}

func TestDefault(t *testing.T) {
	h := Default()
	if err := h.Valid(); err != nil {
		t.Error(err)
	}
	// Common practice, no source: separator dried 10 min at least, 3000 psi, hold 1 to 2
	// min, 2 trial closures at least, a quarter turn back, 30 min on the bench, then 15
	// min in tap water; 74 °C for 8 to 12 h; dough worked within 45 min at about 23 °C.
	p := h.Press
	if h.Separator.DryMinS != 600 || p.PressurePSI != 3000 || p.HoldS < 60 || p.HoldS > 120 || p.MinTrials != 2 || p.BackOffTurn != 0.25 || h.Cooling.BenchS != 1800 || h.Cooling.WaterS != 900 {
		t.Errorf("defaults have left common practice: %+v", h)
	}
	long := h.Programmes[0]
	if long.Stages[0].TempC != 74 || LengthS(long.Stages) < 8*3600 || LengthS(long.Stages) > 12*3600 {
		t.Errorf("the long cure is %+v", long)
	}
	r := h.Resins[0]
	if r.WorkUntilMin != 45 || r.RefTempC != 23 || h.RoomC() != 23 {
		t.Errorf("the resin is %+v", r)
	}
}

// What is exported reads back exactly as it was, in every unit system; on top of other
// settings it is that and the entries of theirs that it does not name.
func TestExportReadsBack(t *testing.T) {
	other := Default()
	other.Lab, other.Crew, other.Units = "old", []string{"AA", "BB", "CC"}, Units{"bar", "F"}
	other.Baths = []Bath{{Name: "one", Litres: 5, HeaterW: 500}, {Name: "two", Litres: 6, HeaterW: 600}}
	rapid.Check(t, func(t *rapid.T) {
		h := randomHouse(t)
		if err := h.Valid(); err != nil {
			t.Fatalf("the settings made up are not valid: %v", err)
		}
		text := export(t, h)
		for _, base := range []House{h, {}} {
			got, err := ReadTOML(strings.NewReader(text), base)
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			if !reflect.DeepEqual(sameLists(got), sameLists(h)) {
				t.Fatalf("read back\n%+v, want\n%+v\n%s", got, h, text)
			}
		}
		got, err := ReadTOML(strings.NewReader(text), other)
		if err != nil && strings.Contains(err.Error(), "give 1 to") {
			return // more entries together than fit
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range other.Baths {
			mine := func(x Bath) bool { return x.Name == b.Name }
			if !slices.ContainsFunc(h.Baths, mine) && !slices.Contains(got.Baths, b) {
				t.Fatalf("bath %q was lost: %+v", b.Name, got.Baths)
			}
		}
		for _, c := range other.Crew {
			if !slices.Contains(got.Crew, c) {
				t.Fatalf("initials %q were lost: %q", c, got.Crew)
			}
		}
		if again := export(t, h); again != text {
			t.Fatalf("exported twice, two texts:\n%s\n%s", text, again)
		}
	})
}

// randomHouse makes up settings within the limits.
func randomHouse(t *rapid.T) House {
	h := Default()
	name := rapid.StringOfN(rapid.RuneFrom([]rune(`abÄé 0'"\#[]=,;°名`)), 1, 8, -1).Filter(func(s string) bool { return strings.TrimSpace(s) != "" })
	sec := func(lo, hi int) int { return rapid.IntRange(lo, hi).Draw(t, "s") }
	num := func(lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, "v") }
	h.Lab = rapid.StringOfN(rapid.RuneFrom([]rune(`abÄé 0'"\#名`)), 0, 20, -1).Draw(t, "lab")
	h.Cases = rapid.SampledFrom([]string{"", `K-\d{4}`, "[a'b]+"}).Draw(t, "cases")
	h.Remount.PinLimitMM = num(0, 20)
	h.Crew = rapid.SliceOfNDistinct(name, 0, 4, rapid.ID).Draw(t, "crew")
	for i, by := range rapid.SliceOfNDistinct(name, 0, 3, func(by string) string { return strings.ToLower(strings.TrimSpace(by)) }).Draw(t, "people") {
		p := Person{By: by, Role: leads}
		if i > 0 {
			p.Role, p.Away = rapid.SampledFrom(roles).Draw(t, "role"), rapid.Bool().Draw(t, "away")
		}
		h.People = append(h.People, p)
	}
	h.Units = Units{rapid.SampledFrom([]units.PressureUnit{"psi", "bar", "MPa"}).Draw(t, "p"), rapid.SampledFrom([]units.TempUnit{"C", "F"}).Draw(t, "t")}
	h.Separator.DryMinS = sec(0, 3600)
	if h.Separator.DryMaxS = h.Separator.DryMinS + sec(0, 600); rapid.Bool().Draw(t, "no limit") {
		h.Separator.DryMaxS = 0
	}
	h.Press = pressWork{Presses: sec(1, 9), Hands: sec(1, 9), PressurePSI: num(1, 15000), FinalPSI: num(0, 15000), MaxPSI: rapid.SampledFrom([]float64{0, 15000, 18000.5}).Draw(t, "rated"), HoldS: sec(1, 600), MinTrials: sec(1, 20), Grade: rapid.SampledFrom([]string{"none", "slight"}).Draw(t, "grade"), BackOffTurn: num(0, 4)}
	h.Work = Work{sec(0, 3600), sec(0, 3600), sec(0, 3600), sec(0, 3600), sec(0, 3600)}
	h.BenchSet = benchSet{MinS: sec(0, 3600), MaxS: sec(3600, 7200)}
	h.Cooling = cooling{sec(0, 7200), sec(0, 7200)}
	h.Alarms = alarms{sec(5, 600), sec(5, 600), sec(5, 600), sec(10, 86400), sec(0, 3600)}
	h.Flash.GradeSD, h.Flash.Prior.Large.FirstG = num(0.1, 2), num(0.001, 1000)
	h.Baths = rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) Bath {
		return Bath{name.Draw(t, "bath"), rapid.Float64Range(1, 1000).Draw(t, "l"), rapid.Float64Range(0, 50000).Draw(t, "w"),
			rapid.Float64Range(0.2, 50).Draw(t, "k"), rapid.IntRange(90, 86400).Draw(t, "s")}
	}), 1, 9, func(b Bath) string { return b.Name }).Draw(t, "baths")
	h.Programmes = nil
	for i := range rapid.IntRange(1, 4).Draw(t, "programmes") {
		p := Programme{Name: fmt.Sprint(i, name.Draw(t, "programme"))}
		for range rapid.IntRange(1, 3).Draw(t, "stages") {
			p.Stages = append(p.Stages, Stage{TempC: num(20, 105), RampS: sec(0, 3600), HoldS: sec(1, 36000)})
		}
		if rapid.Bool().Draw(t, "max") {
			p.MaxS = LengthS(p.Stages) + sec(0, 3600)
		}
		h.Programmes = append(h.Programmes, p)
	}
	h.Resins = nil
	for i := range rapid.IntRange(1, 3).Draw(t, "resins") {
		r := dough.HouseDefault()
		r.Name, r.Ratio, r.DoughFromMin, r.MarksBehind, r.Q10Fitted = fmt.Sprint(i, name.Draw(t, "resin")), num(2, 3), num(1, 40), sec(0, 9), rapid.Bool().Draw(t, "fitted")
		h.Resins = append(h.Resins, r)
	}
	return h
}

// A file may name only what it changes; a list in it merges by name, and what it does not
// name stays.
func TestPartOfTheSettings(t *testing.T) {
	base := Default()
	base.Lab, base.Crew = "Nordlicht", []string{"KT", "AB"}
	got, err := ReadTOML(strings.NewReader("crew = ['XY']\n[press]\nhold_s = 90\n[[baths]]\nname = 'big'\nlitres = 40\nheater_w = 3000\n"), base)
	if err != nil {
		t.Fatal(err)
	}
	want := base
	want.Crew, want.Press.HoldS, want.Baths = []string{"KT", "AB", "XY"}, 90, append(slices.Clone(base.Baths), Bath{Name: "big", Litres: 40, HeaterW: 3000})
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	if len(base.Crew) != 2 || len(base.Baths) != 1 || base.Baths[0].Name != "bath 1" {
		t.Errorf("reading changed the settings it began from: %+v", base)
	}
	if got, err = ReadTOML(strings.NewReader("crew = []\n"), base); err != nil || len(got.Crew) != 2 {
		t.Errorf("an empty list leaves %v, %v", got.Crew, err)
	}
	for _, empty := range []string{"", "\n# nothing\n", "[press]\n"} {
		if got, err = ReadTOML(strings.NewReader(empty), base); err != nil || !reflect.DeepEqual(got, base) {
			t.Errorf("%q changes the settings to %+v, %v", empty, got, err)
		}
	}
}

// What is not TOML of these settings is refused with its line.
func TestRefusedWithTheLine(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"an unknown setting", "lab = 'x'\n\ncolour = 'red'\n", `settings: line 3: unknown setting "colour"`},
		{"an unknown setting in a part", "[press]\nhold_s = 60\nhold_m = 1\n", `settings: line 3: unknown setting "press.hold_m"`},
		{"an unknown part", "[oven]\ntemp = 3\n", `settings: line 2: unknown setting "oven.temp"`},
		{"an unknown setting in a list", "[[baths]]\nname = 'b'\nlitres = 10\nwatts = 5\n", `settings: line 4: unknown setting "baths.watts"`},
		{"a text for a number", "[press]\nhold_s = 'long'\n", "settings: line 2: "},
		{"a fraction for a whole number", "[press]\npresses = 1\nhold_s = 60.5\n", "settings: line 3: "},
		{"a number for a text", "lab = 5\n", "settings: line 1: "},
		{"a list for one", "lab = ['x']\n", "settings: line 1: "},
		{"one for a list", "crew = 'KT'\n", "settings: line 1: "},
		{"a text without a unit", "[press]\nhold_s = '90'\n", `settings: line 2: press.hold_s: "90" has no unit: write one, as in "30 min"`},
		{"a unit of another kind", "[press]\n\npressure_psi = '74 C'\n", `settings: line 3: press.pressure_psi: pressure "74 C": unit "C" is not known`},
		{"a table for a list", "[baths]\nname = 'b'\n", "settings: "},
		{"a number too large", "[press]\nhold_s = 99999999999999999999\n", "settings: line 2: "},
		{"said twice", "lab = 'x'\nlab = 'y'\n", "settings: line 2: "},
		{"a part said twice", "[press]\nhold_s = 60\n[press]\nhold_s = 61\n", "settings: line 3: "},
		{"no value", "lab =\n", "settings: line 1: "},
		{"an open string", "lab = 'x\n", "settings: line 1: "},
		{"initials of two by capitals", "[[people]]\nby = 'LL'\nrole = 'lead'\n[[people]]\nby = 'll '\nrole = 'work'\n", `settings: people "LL" and "ll " differ by capitals or blanks alone: `},
		{"no TOML at all", "{\"lab\": 1}\n", "settings: line 1: "},
	} {
		_, err := ReadTOML(strings.NewReader(c.text), Default())
		if err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
			continue
		}
		oneLine(t, c.name, err)
	}
	for _, c := range []struct{ name, text, want string }{
		{"not UTF-8", "lab = '\xff'\n", "settings: the file is not UTF-8 text"},
		{"too large", "# " + strings.Repeat("x", maxFile), "settings: the file is larger than 49152 bytes"},
	} {
		if _, err := ReadTOML(strings.NewReader(c.text), Default()); err == nil || err.Error() != c.want {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func oneLine(t testing.TB, name string, err error) {
	t.Helper()
	for _, r := range err.Error() {
		if unicode.IsControl(r) {
			t.Errorf("%s: the line %q holds %U", name, err, r)
		}
	}
	if len(err.Error()) > 1000 {
		t.Errorf("%s: the line has %d bytes", name, len(err.Error()))
	}
}

// A value that cannot be is refused by the name of its setting, with what may be.
func TestRefusedValues(t *testing.T) {
	for _, c := range []struct {
		change func(h *House)
		want   string
	}{
		{func(h *House) { h.Lab = strings.Repeat("x", 61) }, "lab has at most 60 plain characters"},
		{func(h *House) { h.Lab = "a\x1b[31m" }, "lab has at most 60 plain characters"},
		{func(h *House) { h.Lab = "\xff" }, "lab has at most 60 plain characters"},
		{func(h *House) { h.Crew = make([]string, 41) }, "crew has at most 40 entries"},
		{func(h *House) { h.People = []Person{{By: "KT", Role: "boss"}} }, `"KT" has the role "boss": it must be see, work or lead`},
		{func(h *House) { h.People = []Person{{By: "KT", Role: "work"}} }, `people needs somebody at the bench with the role lead`},
		{func(h *House) { h.People = []Person{{By: "KT", Role: "lead", Away: true}} }, `people needs somebody at the bench with the role lead`},
		{func(h *House) { h.People = []Person{{By: "KT", Role: "lead"}, {By: "KT", Role: "see"}} }, `two people are called "KT"`},
		{func(h *House) { h.Crew = []string{"KT", " "} }, `crew must be 1 to 8 plain characters, not " "`},
		{func(h *House) { h.Crew = []string{"ABCDEFGHI"} }, `crew must be 1 to 8 plain characters`},
		{func(h *House) { h.Units.Pressure = "kg" }, `units.pressure must be psi, bar or MPa, not "kg"`},
		{func(h *House) { h.Units.Temperature = "K" }, `units.temperature must be C or F, not "K"`},
		{func(h *House) { h.Separator.DryMinS = -1 }, "separator.dry_min_s must be 0 to"},
		{func(h *House) { h.Separator.DryMaxS = 599 }, "separator.dry_max_s is before dry_min_s"},
		{func(h *House) { h.Press.Presses = 0 }, "press.presses must be 1 to 9, not 0"},
		{func(h *House) { h.Press.Hands = 10 }, "press.hands must be 1 to 9, not 10"},
		{func(h *House) { h.Press.PressurePSI = 20001 }, "press.pressure_psi must be 1 to 20000, not 20001"},
		{func(h *House) { h.Press.PressurePSI = math.NaN() }, "press.pressure_psi must be 1 to 20000, not NaN"},
		{func(h *House) { h.Press.PressurePSI = math.Inf(1) }, "press.pressure_psi must be 1 to 20000, not +Inf"},
		{func(h *House) { h.Press.HoldS = 0 }, "press.hold_s must be 1 to"},
		{func(h *House) { h.Press.MinTrials = 21 }, "press.min_trials must be 1 to 20, not 21"},
		{func(h *House) { h.Press.Grade = "heavy" }, `press.grade must be none or slight, not "heavy"`},
		{func(h *House) { h.Press.BackOffTurn = -0.1 }, "press.back_off_turn must be 0 to 4, not -0.1"},
		{func(h *House) { h.Work.TrimS = 3601 }, "work.trim_s must be 0 to 3600, not 3601"},
		{func(h *House) { h.BenchSet.MaxS = 1799 }, "bench_set.max_s is before min_s"},
		{func(h *House) { h.BenchSet.MinS = -1 }, "bench_set.min_s must be 0 to"},
		{func(h *House) { h.Cooling.WaterS = -1 }, "cooling.water_s must be 0 to"},
		{func(h *House) { h.Alarms.HighS = 4 }, "alarms.high_s must be 5 to"},
		{func(h *House) { h.Alarms.ShelveS = 86401 }, "alarms.shelve_s must be 10 to 86400, not 86401"},
		{func(h *House) { h.Flash = flash.TrendSettings{} }, "flash: "},
		{func(h *House) { h.Baths = nil }, "give 1 to 9 baths, not 0"},
		{func(h *House) { h.Baths = make([]Bath, 10) }, "give 1 to 9 baths, not 10"},
		{func(h *House) { h.Baths[0].Name = "" }, `baths.name must be 1 to 40 plain characters, not ""`},
		{func(h *House) { h.Baths[0].Litres = 0.5 }, "baths.litres must be 1 to 1000, not 0.5"},
		{func(h *House) { h.Baths[0].HeaterW = -1 }, "baths.heater_w must be 0 to 50000, not -1"},
		{func(h *House) { h.Baths[0].BandK = 0.1 }, "baths.band_k must be 0.2 to 50 kelvin, or 0 for 2, not 0.1"},
		{func(h *House) { h.Baths[0].BandK = 60 }, "baths.band_k must be 0 to 50, not 60"},
		{func(h *House) { h.Baths[0].SilentS = 30 }, "baths.silent_s must be 90 seconds to a day, or 0 for 300, not 30"},
		{func(h *House) { h.Programmes[0].Name = strings.Repeat("r", 4000) }, "programmes.name must be 1 to 60 plain characters, not \"rrr"},
		{func(h *House) { h.Press.Grade = strings.Repeat("r", 4000) }, "press.grade must be none or slight"},
		{func(h *House) { h.Backup.At = strings.Repeat("r", 4000) }, "backup.at must be an hour"},
		{func(h *House) { h.Plan.Night = strings.Repeat("r", 4000) }, "plan.night_programme is"},
		{func(h *House) { h.Routes = []route.Route{{Name: strings.Repeat("r", 4000)}} }, `route "rrrr`},
		{func(h *House) { h.Programmes = nil }, "give 1 to 40 programmes, not 0"},
		{func(h *House) { h.Programmes[1].Name = h.Programmes[0].Name }, `two programmes are called "long, 9 h"`},
		{func(h *House) { h.Programmes[0].Stages = nil }, `programme "long, 9 h": a programme has 1 to 20 stages, not 0`},
		{func(h *House) { h.Programmes[0].Stages[0].TempC = 106 }, "stage 1: temp_c must be 20 to 105 °C, not 106"},
		{func(h *House) { h.Programmes[0].Stages[0].HoldS = 7*24*3600 + 1 }, "stage 1: ramp_s and hold_s must be 0 to a week"},
		{func(h *House) { h.Programmes[0].Stages[0].HoldS = 0 }, "a programme cannot be empty: give hold_s"},
		{func(h *House) { h.Programmes[0].MaxS = 60 }, `programme "long, 9 h": max_s is shorter than its stages`},
		{func(h *House) { h.Resins = nil }, "give 1 to 40 resins, not 0"},
		{func(h *House) { h.Resins = append(h.Resins, h.Resins[0]) }, "two resins are called"},
		{func(h *House) { h.Resins[0].Q10 = 0 }, "q10 is 0, must be 1 to 5"},
	} {
		h := Default()
		c.change(&h)
		err := h.Valid()
		if err == nil || !strings.HasPrefix(err.Error(), "settings: ") || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
			continue
		}
		oneLine(t, c.want, err)
	}
}

// A value out of range in a file is refused like one typed, and nothing is taken.
func TestRefusedValueInAFile(t *testing.T) {
	_, err := ReadTOML(strings.NewReader("[press]\nhold_s = 60\npressure_psi = -5\n"), Default())
	if err == nil || !strings.Contains(err.Error(), "press.pressure_psi must be 1 to 20000, not -5") {
		t.Errorf("%v", err)
	}
	for _, v := range []string{"nan", "inf", "-inf"} {
		if _, err := ReadTOML(strings.NewReader("[press]\npressure_psi = "+v+"\n"), Default()); err == nil {
			t.Errorf("a pressure of %s is taken", v)
		}
	}
}

func TestLookups(t *testing.T) {
	h := Default()
	if p, ok := h.Programme("long and boil"); !ok || LengthS(p.Stages) != 8*3600+1800+3600 {
		t.Errorf("programme %+v, %v", p, ok)
	}
	if _, ok := h.Programme("none such"); ok {
		t.Error("a programme that is not there was found")
	}
	if r, ok := h.Resin(h.ResinNames()[0]); !ok || r != h.Resins[0] {
		t.Errorf("resin %+v, %v", r, ok)
	}
	if _, ok := h.Resin("none such"); ok {
		t.Error("a resin that is not there was found")
	}
	if got := len(h.ProgrammeNames()); got != len(h.Programmes) {
		t.Errorf("%d names of programmes", got)
	}
}

// Every setting of the export stands under a comment or a part that has one, or
// needs none, and the words of the export never promise.
func TestExportIsForPeople(t *testing.T) {
	text := export(t, Default())
	for _, want := range []string{"common practice, no source", "house defaults", "the resin maker's cycle comes first"} {
		if !strings.Contains(text, want) {
			t.Errorf("the export does not say %q", want)
		}
	}
	if m := regexp.MustCompile(`(?i)\b(safe|passed|no porosity)\b`).FindString(text); m != "" {
		t.Errorf("the export says %q", m)
	}
}

// Whatever is read is written as what reads the same; whatever is not is refused in
// one line.
func FuzzReadTOML(f *testing.F) {
	var buf bytes.Buffer
	if err := Default().WriteTOML(&buf); err != nil {
		f.Fatal(err)
	}
	f.Add(buf.Bytes())
	for _, s := range []string{"", "lab = 'x'", "crew = ['KT']\n[press]\nhold_s = 90", "colour = 1", "[[baths]]\nname='b'\nlitres=10\nheater_w=1", "lab = \"\\u001b\"", "[press]\npressure_psi = nan",
		"\"a\\u001bb\" = 1", "a.b.c.d = 1", "lab = '''\n'''", "[[programmes]]\nname='p'\n[[programmes.stages]]\ntemp_c=74\nhold_s=60", "LAB = 'x'", "lab = 1979-05-27", "[press", "x = {a = {b = {c = 1}}}"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		base := Default()
		h, err := ReadTOML(bytes.NewReader(in), base)
		if !reflect.DeepEqual(base, Default()) {
			t.Fatal("reading changed the settings it began from")
		}
		if err != nil {
			oneLine(t, string(in), err)
			return
		}
		text := export(t, h)
		got, err := ReadTOML(strings.NewReader(text), base)
		if err != nil || !reflect.DeepEqual(sameLists(got), sameLists(h)) {
			t.Fatalf("read back %+v, want %+v (%v)\n%s", got, h, err, text)
		}
	})
}

// The hour of the backup, on the wall's clock: once a day, also across a change of the
// clocks, and not for an hour that had gone by before the bench was opened.
func TestBackupDue(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	at := func(s string) time.Time {
		v, err := time.ParseInLocation("2006-01-02 15:04:05", s, berlin)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, c := range []struct {
		b          Backup
		since, now string
		want       bool
	}{
		{Backup{Keep: 7, At: "18:30"}, "2026-11-25 08:00:00", "2026-11-25 18:29:59", false},
		{Backup{Keep: 7, At: "18:30"}, "2026-11-25 08:00:00", "2026-11-25 18:30:00", true},
		{Backup{Keep: 7, At: "18:30"}, "2026-11-25 18:30:10", "2026-11-25 23:59:00", false},
		{Backup{Keep: 7, At: "18:30"}, "2026-11-25 18:30:10", "2026-11-26 18:30:00", true},
		{Backup{Keep: 7, At: "18:30"}, "2026-11-25 18:00:00", "2026-11-26 03:00:00", true}, // slept over it
		{Backup{Keep: 7, At: "02:30"}, "2026-10-25 01:00:00", "2026-10-25 04:00:00", true}, // the hour that comes twice
		{Backup{Keep: 7, At: "02:30"}, "2026-03-29 01:00:00", "2026-03-29 04:00:00", true}, // the hour that is left out
		{Backup{Keep: 7, At: "02:30"}, "2026-03-29 04:00:10", "2026-03-29 23:00:00", false},
		{Backup{Keep: 0, At: "18:30"}, "2026-11-25 08:00:00", "2026-11-25 19:00:00", false},
		{Backup{Keep: 7}, "2026-11-25 08:00:00", "2026-11-26 19:00:00", false},
		{Backup{Keep: 7, At: "teatime"}, "2026-11-25 08:00:00", "2026-11-26 19:00:00", false},
	} {
		if got := c.b.Due(at(c.since), at(c.now)); got != c.want {
			t.Errorf("%+v from %s, at %s: due %v", c.b, c.since, c.now, got)
		}
	}
	h := Default()
	for text, ok := range map[string]bool{"": true, "18:30": true, "7:05": true, "24:00": false, "half past six": false} {
		h.Backup.At = text
		if err := h.Valid(); (err == nil) != ok {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Where the baths stand: one of two, in range, read back as written; neither is no place.
func TestPlace(t *testing.T) {
	h := Default()
	if h.Place.Air() != 0 {
		t.Errorf("no place given, air of %g hPa", float64(h.Place.Air()))
	}
	for text, says := range map[string]string{
		"[place]\naltitude_m = 1600\nair_hpa = 835\n": "not both",
		"[place]\naltitude_m = 60000\n":               "line 2",
		"[place]\nair_hpa = 101325\n":                 "480 to 1090 hPa",
		"[place]\naltitude_m = nan\n":                 "altitude",
	} {
		if _, err := ReadTOML(strings.NewReader(text), Default()); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", text, err)
		}
	}
	h, err := ReadTOML(strings.NewReader("[place]\naltitude_m = 1600\n"), Default())
	if err != nil || h.Place.Air() < 835 || h.Place.Air() > 836 {
		t.Errorf("1,600 m: %g hPa, %v", float64(h.Place.Air()), err)
	}
}
