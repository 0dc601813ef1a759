package units

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Factors as printed in NIST SP 811 (2008), appendix B.8, seven digits, each
// as pascals in one unit.
func TestPressureFactorsNISTSP811(t *testing.T) {
	for _, c := range []struct {
		typed string
		pa    float64
	}{
		{"1 psi", 6.894757e3},
		{"1 bar", 1.0e5},
		{"1 MPa", 1.0e6},
		{"1 kPa", 1.0e3},
		{"1 kgf/cm2", 9.80665e4},
	} {
		psi, err := ParsePressure(c.typed, PSI)
		if err != nil {
			t.Fatal(err)
		}
		if pa := psi * pascalPerPSI; math.Abs(pa/c.pa-1) > 1e-7 {
			t.Errorf("%s = %.6f Pa, published %.6f", c.typed, pa, c.pa)
		}
	}
	// 1 bar = 14.5038 psi: table A.1, conversion factors, of a thermodynamics
	// textbook.
	if got := PSI.FromPSI(Bar.ToPSI(1)); math.Abs(got-14.5038) > 5e-5 {
		t.Errorf("1 bar = %.6f psi, published 14.5038", got)
	}
	// 9.8 MPa is the line pressure printed for 100 kg/cm2 in teaching slides.
	psi, _ := ParsePressure("100 kg/cm2", PSI)
	if got := FormatPressure(psi, MPa); got != "9.81 MPa" {
		t.Errorf("100 kg/cm2 = %s", got)
	}
}

// Fixed points of the two scales (NIST SP 811, B.8: exact), and the curing bath
// of 74 °C that the trade calls 165 °F (common practice, no source).
func TestTemperatureFixedPoints(t *testing.T) {
	for _, c := range []struct{ c, f float64 }{{0, 32}, {100, 212}, {-40, -40}, {37, 98.6}} {
		if got := Fahrenheit.FromC(c.c); math.Abs(got-c.f) > 1e-12 {
			t.Errorf("%v °C = %v °F, want %v", c.c, got, c.f)
		}
		if got := Fahrenheit.ToC(c.f); math.Abs(got-c.c) > 1e-12 {
			t.Errorf("%v °F = %v °C, want %v", c.f, got, c.c)
		}
	}
	if got := FormatTemp(74, Fahrenheit); got != "165 °F" {
		t.Errorf("74 °C shown as %s", got)
	}
	if got := FormatTempSpan(2, Fahrenheit); got != "3.6 °F" {
		t.Errorf("a span of 2 °C shown as %s", got)
	}
	if got := FormatTempSpan(2, Celsius); got != "2 °C" {
		t.Errorf("a span of 2 °C shown as %s", got)
	}
}

func TestFormat(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{FormatPressure(3000, PSI), "3000 psi"},
		{FormatPressure(3000, Bar), "207 bar"},
		{FormatPressure(3000, MPa), "20.7 MPa"},
		{FormatPressure(1000, Bar), "68.9 bar"},
		{FormatPressure(Bar.ToPSI(99.96), Bar), "100 bar"},
		{FormatPressure(0, Bar), "0 bar"},
		{FormatPressure(3000, "stone"), "3000 psi"},
		{FormatPressure(math.NaN(), Bar), "? bar"},
		{FormatPressure(math.Inf(1), PSI), "? psi"},
		{FormatTemp(74, Celsius), "74 °C"},
		{FormatTemp(73.52, Celsius), "73.5 °C"},
		{FormatTemp(-0.01, Celsius), "0 °C"},
		{FormatTemp(math.Inf(-1), Fahrenheit), "? °F"},
		{FormatMass(22.456), "22.5 g"},
		{FormatVolume(10), "10 mL"},
		{FormatLength(0.754), "0.75 mm"},
		{FormatDuration(0), "0 s"},
		{FormatDuration(45 * time.Second), "45 s"},
		{FormatDuration(150 * time.Second), "2 min 30 s"},
		{FormatDuration(599600 * time.Millisecond), "10 min"},
		{FormatDuration(35*time.Minute + 29*time.Second), "35 min"},
		{FormatDuration(90 * time.Minute), "1 h 30 min"},
		{FormatDuration(9 * time.Hour), "9 h"},
		{FormatDuration(-90 * time.Second), "-1 min 30 s"},
		{FormatDuration(-1), "0 s"},
		{FormatDuration(math.MinInt64), "-2562047 h 47 min"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestParse(t *testing.T) {
	pressure := func(def PressureUnit) func(string) (float64, error) {
		return func(s string) (float64, error) { return ParsePressure(s, def) }
	}
	temp := func(def TempUnit) func(string) (float64, error) {
		return func(s string) (float64, error) { return ParseTemp(s, def) }
	}
	const psiPerBar = pascalPerBar / pascalPerPSI
	for _, c := range []struct {
		name  string
		parse func(string) (float64, error)
		typed string
		want  float64
	}{
		{"psi", pressure(PSI), "3000", 3000},
		{"psi", pressure(PSI), "207 bar", 207 * psiPerBar},
		{"bar", pressure(Bar), "207", 207 * psiPerBar},
		{"bar", pressure(Bar), "3000PSI", 3000},
		{"MPa", pressure(MPa), "20,7", 207 * psiPerBar},
		{"MPa", pressure(MPa), "20.7 N/mm²", 207 * psiPerBar},
		{"psi", pressure(PSI), "20700 kPa", 207 * psiPerBar},
		{"C", temp(Celsius), "74", 74},
		{"C", temp(Celsius), "165F", 665.0 / 9},
		{"C", temp(Celsius), "165 °F", 665.0 / 9},
		{"F", temp(Fahrenheit), "165", 665.0 / 9},
		{"F", temp(Fahrenheit), "74 C", 74},
		{"C", temp(Celsius), "\u221218 °C", -18},
		{"C", temp(Celsius), "73,5\u00a0°C", 73.5},
		{"g", ParseMass, "22.5", 22.5},
		{"g", ParseMass, "0,500 kg", 500},
		{"g", ParseMass, "850mg", 0.85},
		{"mL", ParseVolume, "30 cc", 30},
		{"mL", ParseVolume, ".5", 0.5},
		{"mm", ParseLength, "0.75", 0.75},
		{"mm", ParseLength, "1 in", 25.4},
	} {
		got, err := c.parse(c.typed)
		if err != nil || math.Abs(got-c.want) > 1e-9*(1+math.Abs(c.want)) {
			t.Errorf("%s %q = %v, %v; want %v", c.name, c.typed, got, err, c.want)
		}
	}
	for _, c := range []struct {
		parse       func(string) (float64, error)
		typed, says string
	}{
		{pressure(PSI), "", "nothing typed"},
		{pressure(PSI), "high", "no number"},
		{pressure(PSI), "-1", "outside 0 to 20000 psi"},
		{pressure(MPa), "3000", "outside 0 to 20000 psi"},
		{pressure(PSI), "3,000", "may mean 3000 or 3.000"},
		{pressure(PSI), "3 000", `unit "000" is not known; use one of psi, bar, mpa`},
		{pressure(PSI), "30 stone", `unit "stone" is not known`},
		{pressure(PSI), "1.2.3", "more than one decimal sign"},
		{pressure(PSI), "1e3", `unit "e3" is not known`},
		{pressure(PSI), "NaN", "no number"},
		{pressure(PSI), "0x10", `unit "x10" is not known`},
		{pressure(PSI), "\xff3", "UTF-8"},
		{pressure(PSI), strings.Repeat("9", 1<<20), "bytes typed"},
		{pressure("stone"), "30", `unit "stone" is not known`},
		{temp(Celsius), "165", "outside -40 to 150 °C"},
		{temp(Celsius), "347 K", `unit "K" is not known`},
		{ParseMass, "12-", `unit "-" is not known`},
		{ParseMass, "-22", "outside 0 to 10000 g"},
		{ParseMass, strings.Repeat("9", 60), "outside"},
		{ParseMass, "+-2", "no number"},
		{ParseLength, "2 m", `unit "m" is not known`},
	} {
		if got, err := c.parse(c.typed); err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.20q = %v, error %v; want one that says %q", c.typed, got, err, c.says)
		}
	}
}

func TestParseDuration(t *testing.T) {
	for _, c := range []struct {
		typed string
		def   time.Duration
		want  time.Duration
	}{
		{"90", time.Minute, 90 * time.Minute},
		{"9", time.Hour, 9 * time.Hour},
		{"60", time.Second, time.Minute},
		{"45", 0, 45 * time.Minute},
		{"90 min", time.Hour, 90 * time.Minute},
		{"1h30", time.Minute, 90 * time.Minute},
		{"1 h 30 min", time.Second, 90 * time.Minute},
		{"1.5 h", time.Minute, 90 * time.Minute},
		{"1,5h", time.Minute, 90 * time.Minute},
		{"1:30", time.Minute, 90 * time.Minute},
		{"1:30", time.Second, 90 * time.Second},
		{"1:02:03", time.Second, time.Hour + 2*time.Minute + 3*time.Second},
		{"2min30", time.Minute, 150 * time.Second},
		{"2'30\"", time.Minute, 150 * time.Second},
		{"1h 2m 3s", time.Minute, time.Hour + 2*time.Minute + 3*time.Second},
		{"2 d", time.Minute, 48 * time.Hour},
		{"1d 6", time.Minute, 30 * time.Hour},
		{"0", time.Minute, 0},
		{"0.4 s", time.Minute, 0},
		{"336 h", time.Minute, 336 * time.Hour},
	} {
		got, err := ParseDuration(c.typed, c.def)
		if err != nil || got != c.want {
			t.Errorf("%q (unit %v) = %v, %v; want %v", c.typed, c.def, got, err, c.want)
		}
	}
	for _, c := range []struct{ typed, says string }{
		{"", "nothing typed"},
		{"-5", "no sign"},
		{"0h-1", "no sign"},
		{"soon", "no number"},
		{"1h90", "does not fit"},
		{"1h61min", "does not fit"},
		{"5 s 1 h", "large to small"},
		{"1h1h", "large to small"},
		{"1.5h30", "only the last part"},
		{"3s4", "no meaning"},
		{"1:60", "00 to 59"},
		{"1:5", "00 to 59"},
		{"1:2:3:4", "colons"},
		{"1:b", "whole number"},
		{":", "whole number"},
		{"1 fortnight", "is not known"},
		{"337 h", "longer than 14 days"},
		{"99999999999999999999 s", "longer than 14 days"},
		{strings.Repeat("1h", 100), "bytes typed"},
	} {
		if got, err := ParseDuration(c.typed, time.Minute); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%.20q = %v, error %v; want one that says %q", c.typed, got, err, c.says)
		}
	}
}

func TestUnitNamesInSettings(t *testing.T) {
	var s struct {
		P PressureUnit
		T TempUnit
	}
	if err := json.Unmarshal([]byte(`{"P":"mpa","T":"°f"}`), &s); err != nil || s.P != MPa || s.T != Fahrenheit {
		t.Errorf("got %+v, %v", s, err)
	}
	for _, bad := range []string{`{"P":"kPa"}`, `{"P":""}`, `{"T":"K"}`} {
		if err := json.Unmarshal([]byte(bad), &s); err == nil {
			t.Errorf("%s was taken", bad)
		}
	}
	if s.P != MPa || s.T != Fahrenheit {
		t.Errorf("a refused name changed the setting: %+v", s)
	}
}

// What is shown can be typed again, and means the same to within half of the
// last digit shown.
func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0, 19900).Draw(t, "psi")
		u := rapid.SampledFrom([]PressureUnit{PSI, Bar, MPa}).Draw(t, "unit")
		half := 0.5   // psi are shown whole
		if u != PSI { // three significant digits, at most two decimals
			half = max(0.005*p, u.ToPSI(0.005))
		}
		back, err := ParsePressure(FormatPressure(p, u), PSI)
		if err != nil || math.Abs(back-p) > half+1e-9 {
			t.Errorf("%v psi shown as %q read as %v, %v", p, FormatPressure(p, u), back, err)
		}
		if again := u.ToPSI(u.FromPSI(p)); math.Abs(again-p) > 1e-12*(1+p) {
			t.Errorf("%v psi to %s and back: %v", p, u, again)
		}

		c := rapid.Float64Range(-39, 149).Draw(t, "tempC")
		tu := rapid.SampledFrom([]TempUnit{Celsius, Fahrenheit}).Draw(t, "temp unit")
		backC, err := ParseTemp(FormatTemp(c, tu), Celsius)
		if lim := map[TempUnit]float64{Celsius: 0.05, Fahrenheit: 0.5 / 1.8}[tu]; err != nil || math.Abs(backC-c) > lim+1e-9 {
			t.Errorf("%v °C shown as %q read as %v, %v", c, FormatTemp(c, tu), backC, err)
		}
		if again := tu.ToC(tu.FromC(c)); math.Abs(again-c) > 1e-12*(1+math.Abs(c)) {
			t.Errorf("%v °C to %s and back: %v", c, tu, again)
		}

		d := time.Duration(rapid.Int64Range(0, int64(maxDuration)).Draw(t, "duration"))
		backD, err := ParseDuration(FormatDuration(d), time.Hour)
		lim := 30 * time.Second
		if d < 10*time.Minute-time.Second {
			lim = time.Second / 2
		}
		if err != nil || (backD-d).Abs() > lim {
			t.Errorf("%v shown as %q read as %v, %v", d, FormatDuration(d), backD, err)
		}
		if FormatDuration(backD) != FormatDuration(d) {
			t.Errorf("%v shown as %q, read again as %q", d, FormatDuration(d), FormatDuration(backD))
		}
	})
}

// seeds for every parser: what people type, and what a scanner, a cat or a
// program may.
var seeds = []string{
	"207 bar", "3000", "74", "165F", "1h30", "90 min", "1:30", "3,000", "20,7 MPa", "-18 °C", "−18", "1e309", "NaN", "inf",
	"0x1p-2", "1_000", "", " ", ".", "-", "1.2.3", "9 h", "2min30s", "1d", "1::2", "\xff", "100 kgf/cm²", "½", "٣", "1\x00h", "0h-1",
}

// FuzzQuantities: whatever is typed, the value is finite, in range and shown
// without NaN, or there is one line of error.
func FuzzQuantities(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for name, r := range map[string]struct {
			parse    func() (float64, error)
			min, max float64
		}{
			"psi":  {func() (float64, error) { return ParsePressure(s, PSI) }, 0, maxPressurePSI},
			"MPa":  {func() (float64, error) { return ParsePressure(s, MPa) }, 0, maxPressurePSI},
			"C":    {func() (float64, error) { return ParseTemp(s, Celsius) }, minTempC, maxTempC},
			"F":    {func() (float64, error) { return ParseTemp(s, Fahrenheit) }, minTempC, maxTempC},
			"mass": {func() (float64, error) { return ParseMass(s) }, 0, maxMassG},
			"vol":  {func() (float64, error) { return ParseVolume(s) }, 0, maxVolumeML},
			"len":  {func() (float64, error) { return ParseLength(s) }, 0, maxLengthMM},
		} {
			v, err := r.parse()
			if err != nil {
				if v != 0 || strings.ContainsAny(err.Error(), "\n\x00") {
					t.Errorf("%s %q: %v with error %q", name, s, v, err)
				}
				continue
			}
			if !(v >= r.min && v <= r.max) {
				t.Errorf("%s %q read as %v", name, s, v)
			}
		}
	})
}

// FuzzParseDuration: whole seconds within bounds that survive being shown, or
// one line of error.
func FuzzParseDuration(f *testing.F) {
	for _, s := range seeds {
		f.Add(s, int64(time.Minute))
		f.Add(s, int64(time.Second))
	}
	f.Fuzz(func(t *testing.T, s string, def int64) {
		d, err := ParseDuration(s, time.Duration(def))
		if err != nil {
			if d != 0 || strings.ContainsAny(err.Error(), "\n\x00") {
				t.Errorf("%q: %v with error %q", s, d, err)
			}
			return
		}
		if d < 0 || d > maxDuration || d%time.Second != 0 {
			t.Errorf("%q read as %v", s, d)
		}
		if _, err := ParseDuration(FormatDuration(d), time.Minute); err != nil {
			t.Errorf("%q read as %v, shown as %q: %v", s, d, FormatDuration(d), err)
		}
	})
}

// A text of °C read in °F: 74 °C is 165 °F, a range at both ends, a difference by 9/5.
func TestTextIn(t *testing.T) {
	for _, c := range []struct{ c, f string }{
		{"core peak 73 to 79 °C, about 76 °C", "core peak 163 to 174 °F, about 169 °F"},
		{"125 to > 130 °C, about 128.5 °C", "257 to > 266 °F, about 263 °F"},
		{"caution: core may pass 100.8 °C", "caution: core may pass 213 °F"},
		{"core within 2 K of the bath", "core within 3.6 °F of the bath"},
		{"the room is 10 K from the 23 °C the resin's", "the room is 18 °F from the 73 °F the resin's"},
		{"no temperature, 5 KT, 3 mm", "no temperature, 5 KT, 3 mm"},
	} {
		if got := TextIn(c.c, Fahrenheit); got != c.f {
			t.Errorf("%q, want %q", got, c.f)
		}
		if got := TextIn(c.c, Celsius); got != c.c {
			t.Errorf("%q changed to %q", c.c, got)
		}
	}
}

// TestFormatWholeIsNeverMore: what is left is told as no more than it is.
func TestFormatWholeIsNeverMore(t *testing.T) {
	for in, want := range map[time.Duration]string{
		12*time.Minute + 59*time.Second: "12 min", 10*time.Minute - 1: "9 min 59 s", 1900 * time.Millisecond: "1 s",
		-(12*time.Minute + 59*time.Second): "-12 min", 0: "0 s", 2*time.Hour + 90*time.Second: "2 h 1 min",
	} {
		if got := FormatWhole(in); got != want {
			t.Errorf("%v is told as %q, want %q", in, got, want)
		}
	}
}
