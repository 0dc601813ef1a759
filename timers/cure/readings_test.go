package cure

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var evening = time.Date(2026, 11, 24, 22, 0, 0, 0, time.FixedZone("CET", 3600))

func reading(min, c float64) Reading {
	return Reading{evening.Add(time.Duration(min * float64(time.Minute))), c}
}

func TestParseReading(t *testing.T) {
	r, err := ParseReading("2026-11-24T22:04:00+01:00 74.1")
	if err != nil || !r.At.Equal(evening.Add(4*time.Minute)) || r.TempC != 74.1 {
		t.Errorf("%v, %v", r, err)
	}
	for line, says := range map[string]string{
		"":                                   "RFC 3339",
		"74.1":                               "RFC 3339",
		"22:04 74.1":                         "RFC 3339",
		"2026-11-24 22:04:00 74.1":           "RFC 3339",
		"2026-11-24T22:04:00+01:00 hot":      "not a temperature",
		"2026-11-24T22:04:00+01:00 NaN":      "not a temperature",
		"2026-11-24T22:04:00+01:00 +Inf":     "not a temperature",
		"2026-11-24T22:04:00+01:00 0x4a":     "not a temperature",
		"2026-11-24T22:04:00+01:00 -0.1":     "0 to 130",
		"2026-11-24T22:04:00+01:00 130.1":    "0 to 130",
		"2026-11-24T22:04:00+01:00 1e9":      "0 to 130",
		"2026-11-24T22:04:00+01:00 74.1 K":   "RFC 3339",
		"2026-13-24T22:04:00+01:00 74.1":     "RFC 3339",
		"2026-11-24T22:04:00+01:00 74.1\n\n": "",
	} {
		_, err := ParseReading(line)
		if says == "" {
			if err != nil {
				t.Errorf("%q: %v", line, err)
			}
		} else if err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: error %v, want one line with %q", line, err, says)
		}
	}
}

func TestParseTempC(t *testing.T) {
	for text, want := range map[string]float64{"74": 74, " 74.25 ": 74.25, "74,2": 74.2, "74.2 °C": 74.2, "74C": 74, "0": 0, "130": 130} {
		if c, err := ParseTempC(text); err != nil || c != want {
			t.Errorf("%q: %g, %v, want %g", text, c, err, want)
		}
	}
	for _, text := range []string{"", "C", "-1", "131", "7 4", "1.000,5", "nan", "inf", "74F"} {
		if c, err := ParseTempC(text); err == nil {
			t.Errorf("%q was taken as %g", text, c)
		}
	}
}

// The kernel's interfaces: w1_therm (Documentation/w1/slaves/w1_therm.rst) and hwmon (Documentation/hwmon/
// sysfs-interface.rst), both in thousandths of a °C.
func TestKernelSensors(t *testing.T) {
	const good = "a1 04 4b 46 7f ff 0f 10 d8 : crc=d8 YES\na1 04 4b 46 7f ff 0f 10 d8 t=74062\n"
	if c, err := ParseW1Slave(good); err != nil || c != 74.062 {
		t.Errorf("%g, %v, want 74.062", c, err)
	}
	// 85 °C is a temperature like any other unless byte 6 says nothing was measured.
	if c, err := ParseW1Slave("50 05 4b 46 7f ff 10 10 1c : crc=1c YES\n50 05 4b 46 7f ff 10 10 1c t=85000\n"); err != nil || c != 85 {
		t.Errorf("a measured 85 °C: %g, %v", c, err)
	}
	for text, says := range map[string]string{
		strings.Replace(good, "YES", "NO", 1):      "checksum",
		strings.Replace(good, "74062", "-1062", 1): "0 to 130",
		strings.Replace(good, "74062", "", 1):      "thousandths",
		strings.Replace(good, "74062", "7406x", 1): "thousandths",
		strings.Replace(good, "t=", "", 1):         "no t=",
		"":                                         "two lines",
		"74062\n":                                  "two lines",
		strings.Repeat(good, 20):                   "two lines",
		"50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n":  "powered up",
		"ff 07 4b 46 7f ff 0c 10 1c : crc=1c YES\nff 07 4b 46 7f ff 0c 10 1c t=127937\n": "power",
	} {
		if _, err := ParseW1Slave(text); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: error %v, want one line with %q", text, err, says)
		}
	}
	if c, err := ParseThousandths("74125\n"); err != nil || c != 74.125 {
		t.Errorf("%g, %v", c, err)
	}
	for _, text := range []string{"", "74.125", "-1", "130001", "99999999999999999999", "NaN"} {
		if c, err := ParseThousandths(text); err == nil {
			t.Errorf("%q was taken as %g", text, c)
		}
	}
}

func TestReadReadings(t *testing.T) {
	text := `# bath 1
2026-11-24T22:00:00+01:00 74.0

2026-11-24T22:01:00+01:00 999
2026-11-24T22:02:00+01:00 74.2
2026-11-24T21:59:00+01:00 74.2
rubbish ` + strings.Repeat("x", 5000) + `
2026-11-24T22:02:00+01:00 74.3
2026-11-24T21:03:00Z 74.1`
	taken, told, refused, err := ReadReadings(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if len(taken) != 4 || taken[3].TempC != 74.1 || !taken[3].At.Equal(evening.Add(3*time.Minute)) {
		t.Errorf("taken: %v", taken)
	}
	if refused != 3 || len(told) != 3 {
		t.Fatalf("refused %d: %v", refused, told)
	}
	for i, want := range []string{"line 4: reading 999 °C cannot be", "line 6: reading of 2026-11-24T21:59:00+01:00 is from before", "line 7: line \"rubbish"} {
		if !strings.HasPrefix(told[i].String(), want) {
			t.Errorf("told %q, want %q", told[i], want)
		}
	}
}

// endless gives line for ever.
type endless struct {
	line string
	at   int
}

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = e.line[e.at]
		e.at = (e.at + 1) % len(e.line)
	}
	return len(p), nil
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("the cable is out") }

// A billion readings, a line without end and a file that fails are one error each, in bounded time and memory.
func TestReadReadingsBounded(t *testing.T) {
	for what, r := range map[string]io.Reader{
		"good lines for ever": &endless{line: "2026-11-24T22:00:00+01:00 74\n"},
		"bad lines for ever":  &endless{line: "x\n"},
		"empty for ever":      &endless{line: "\n"},
		"no end of line":      &endless{line: "7"},
		"failing":             failing{},
	} {
		taken, _, _, err := ReadReadings(r)
		if err == nil || taken != nil || !strings.HasPrefix(err.Error(), "readings: ") {
			t.Errorf("%s: %d taken, error %v", what, len(taken), err)
		}
	}
	if _, err := Follow(Common()[0], 22, evening, make([]Reading, MaxReadings+1)); err == nil {
		t.Error("too many readings were taken")
	}
}

func TestFollow(t *testing.T) {
	prog, err := ParseProgramme("74C 2h, ramp 30min, 100C 1h")
	if err != nil {
		t.Fatal(err)
	}
	at := func(bath []Knot, min float64) float64 { return BathAt(bath, min*60) }

	// No readings, or only another day's: the set point.
	for _, rs := range [][]Reading{nil, {reading(-10, 60)}, {reading(-60*24*30, 60)}} {
		bath, err := Follow(prog, 22, evening, rs)
		if err != nil || len(bath) != 4 || at(bath, 0) != 74 || at(bath, 210) != 100 {
			t.Errorf("%v: %v, %v", rs, bath, err)
		}
	}

	// Readings replace the set point up to the last one, the set point holds after, joined over a minute.
	bath, err := Follow(prog, 22, evening, []Reading{reading(-1, 72), reading(1, 70), reading(10, 74.05), reading(20, 74), reading(60, 71)})
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct{ min, want, tol float64 }{
		{0, 71, 1e-9}, {1, 70, 1e-9}, {10, 74.05, ThinK}, {20, 74, ThinK}, {40, 72.5, ThinK}, {60, 71, 1e-9},
		{61, 74, 1e-9}, {120, 74, 1e-9}, {135, 87, 1e-9}, {150, 100, 1e-9}, {210, 100, 1e-9},
	} {
		near(t, fmt.Sprintf("bath at %g min", row.min), at(bath, row.min), row.want, row.tol)
	}

	// Late first reading: the set point until a minute before.
	bath, err = Follow(prog, 22, evening, []Reading{reading(30, 60), reading(40, 74)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "before the first reading", at(bath, 29), 74, 1e-9)
	near(t, "at the first reading", at(bath, 30), 60, 1e-9)

	// A cold start begins where the bath was.
	coldStart, _ := ParseProgramme("ramp 1h, 100C 30min")
	bath, err = Follow(coldStart, 18, evening, nil)
	if err != nil || at(bath, 0) != 18 || at(bath, 30) != 59 {
		t.Errorf("cold start: %v, %v", bath, err)
	}

	// Readings past the end, and right before it, leave a curve that reaches the end.
	for _, last := range []float64{205, 209.5, 210, 230} {
		bath, err = Follow(prog, 22, evening, []Reading{reading(0, 74), reading(last, 99)})
		if err != nil {
			t.Fatal(err)
		}
		if err := CheckBath(bath); err != nil {
			t.Error(err)
		}
		if end := bath[len(bath)-1].TimeS; end != math.Max(210, last)*60 {
			t.Errorf("last reading at %g min: the curve ends at %g", last, end/60)
		}
	}

	for what, rs := range map[string][]Reading{
		"runs back": {reading(5, 74), reading(4, 74)},
		"too hot":   {reading(5, 140)},
		"NaN":       {reading(5, 74), {evening.Add(time.Hour), math.NaN()}},
	} {
		if _, err := Follow(prog, 22, evening, rs); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
	// The same moment read twice: the later word.
	bath, err = Follow(prog, 22, evening, []Reading{reading(0, 74), reading(5, 90), reading(5, 74), reading(10, 74)})
	if err != nil || at(bath, 5) != 74 {
		t.Errorf("read twice: %v, %v", bath, err)
	}
}

// Whatever was read, the curve is a bath a run takes, no farther than ThinK from any reading.
func TestFollowProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prog := anyProgramme(t)
		var rs []Reading
		min := rapid.Float64Range(-100, 100).Draw(t, "first")
		for range rapid.IntRange(0, 60).Draw(t, "readings") {
			rs = append(rs, reading(min, rapid.Float64Range(0, 130).Draw(t, "c")))
			min += rapid.SampledFrom([]float64{0, 0.01, 1, 1, 1, 30}).Draw(t, "gap")
		}
		bath, err := Follow(prog, 20, evening, rs)
		if err != nil {
			t.Fatal(err)
		}
		if err := CheckBath(bath); err != nil {
			t.Fatal(err)
		}
		if bath[0].TimeS != 0 || bath[len(bath)-1].TimeS < prog.Total().Seconds() {
			t.Fatalf("curve from %g to %g s", bath[0].TimeS, bath[len(bath)-1].TimeS)
		}
		for i, r := range rs {
			s := r.At.Sub(evening).Seconds()
			if s < 0 || i+1 < len(rs) && rs[i+1].At.Equal(r.At) {
				continue
			}
			if d := math.Abs(BathAt(bath, s) - r.TempC); d > ThinK+1e-9 {
				t.Fatalf("curve is %g K off the reading at %g s", d, s)
			}
		}
	})
}

func TestThin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var bath []Knot
		s, c := 0.0, 74.0
		for range rapid.IntRange(1, 200).Draw(t, "points") {
			bath = append(bath, Knot{s, c})
			s += rapid.Float64Range(1, 100).Draw(t, "gap")
			c += rapid.Float64Range(-0.2, 0.2).Draw(t, "step")
		}
		thin := Thin(bath, 0.1)
		if thin[0] != bath[0] || thin[len(thin)-1] != bath[len(bath)-1] || len(thin) > len(bath) {
			t.Fatal("the ends moved")
		}
		for _, k := range bath {
			if math.Abs(BathAt(thin, k.TimeS)-k.TempC) > 0.1+1e-9 {
				t.Fatalf("%g K off at %g s", BathAt(thin, k.TimeS)-k.TempC, k.TimeS)
			}
		}
	})
	steady := make([]Knot, 841)
	for i := range steady {
		steady[i] = Knot{float64(i) * 60, 74 + 0.04*float64(i%2)}
	}
	if n := len(Thin(steady, 0.1)); n != 2 {
		t.Errorf("%d points left of a steady bath, want 2", n)
	}
	if n := len(Thin(steady, 0)); n != 841 {
		t.Errorf("%d points left without a tolerance, want all", n)
	}
}

// Thinned readings give the same cure, in less time.
func TestThinnedRunAgrees(t *testing.T) {
	full := minuteReadings()
	thin := Thin(full, ThinK)
	a, b := run(t, Defaults(), full, 14), run(t, Defaults(), thin, 14)
	near(t, "residual from thinned readings", b.WMeanEnd, a.WMeanEnd, 0.01)
	near(t, "peak from thinned readings", b.Peak, a.Peak, 0.15)
}

func TestFrom(t *testing.T) {
	bath := []Knot{{0, 70}, {600, 80}, {1200, 80}}
	late := From(bath, 300)
	if len(late) != 3 || late[0] != (Knot{0, 75}) || late[1] != (Knot{300, 80}) || late[2] != (Knot{900, 80}) {
		t.Errorf("%v", late)
	}
	if got := From(bath, 5000); len(got) != 1 || got[0] != (Knot{0, 80}) {
		t.Errorf("after the end: %v", got)
	}
	if From(nil, 0) != nil {
		t.Error("a bath from nothing")
	}
}

func TestSilent(t *testing.T) {
	for _, row := range []struct {
		quiet  time.Duration
		silent bool
	}{{0, false}, {5 * time.Minute, false}, {5*time.Minute + 1, true}, {-time.Hour, false}} {
		quiet, silent := Silent(evening, evening.Add(row.quiet), DefaultSilent)
		if silent != row.silent || quiet != max(row.quiet, 0) {
			t.Errorf("after %s: %s, %v", row.quiet, quiet, silent)
		}
	}
}
