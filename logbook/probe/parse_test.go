package probe

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"flaskside/timers/cure"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

var evening = time.Date(2026, 11, 24, 22, 0, 0, 0, time.FixedZone("CET", 3600))

func TestParseReading(t *testing.T) {
	r, err := parseReading("2026-11-24T22:04:00+01:00 74.1")
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
		_, err := parseReading(line)
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
		if c, err := parseTempC(text); err != nil || c != want {
			t.Errorf("%q: %g, %v, want %g", text, c, err, want)
		}
	}
	for _, text := range []string{"", "C", "-1", "131", "7 4", "1.000,5", "nan", "inf", "74F"} {
		if c, err := parseTempC(text); err == nil {
			t.Errorf("%q was taken as %g", text, c)
		}
	}
}

// The kernel's interfaces: w1_therm (Documentation/w1/slaves/w1_therm.rst) and hwmon (Documentation/hwmon/
// sysfs-interface.rst), both in thousandths of a °C.
func TestKernelSensors(t *testing.T) {
	const good = "a1 04 4b 46 7f ff 0f 10 d8 : crc=d8 YES\na1 04 4b 46 7f ff 0f 10 d8 t=74062\n"
	if c, err := parseW1Slave(good); err != nil || c != 74.062 {
		t.Errorf("%g, %v, want 74.062", c, err)
	}
	// 85 °C is a temperature like any other unless byte 6 says nothing was measured.
	if c, err := parseW1Slave("50 05 4b 46 7f ff 10 10 1c : crc=1c YES\n50 05 4b 46 7f ff 10 10 1c t=85000\n"); err != nil || c != 85 {
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
		if _, err := parseW1Slave(text); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: error %v, want one line with %q", text, err, says)
		}
	}
	if c, err := parseThousandths("74125\n"); err != nil || c != 74.125 {
		t.Errorf("%g, %v", c, err)
	}
	for _, text := range []string{"", "74.125", "-1", "130001", "99999999999999999999", "NaN"} {
		if c, err := parseThousandths(text); err == nil {
			t.Errorf("%q was taken as %g", text, c)
		}
	}
}

func TestReadLines(t *testing.T) {
	text := `# bath 1
2026-11-24T22:00:00+01:00 74.0

2026-11-24T22:01:00+01:00 999
2026-11-24T22:02:00+01:00 74.2
2026-11-24T21:59:00+01:00 74.2
rubbish ` + strings.Repeat("x", 5000) + `
2026-11-24T22:02:00+01:00 74.3
2026-11-24T21:03:00Z 74.1`
	taken, told, refused, err := readLines(strings.NewReader(text))
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
func TestReadLinesBounded(t *testing.T) {
	for what, r := range map[string]io.Reader{
		"good lines for ever": &endless{line: "2026-11-24T22:00:00+01:00 74\n"},
		"bad lines for ever":  &endless{line: "x\n"},
		"empty for ever":      &endless{line: "\n"},
		"no end of line":      &endless{line: "7"},
		"failing":             failing{},
	} {
		taken, _, _, err := readLines(r)
		if err == nil || taken != nil || !strings.HasPrefix(err.Error(), "readings: ") {
			t.Errorf("%s: %d taken, error %v", what, len(taken), err)
		}
	}
}

// oneLine fails on an error that is not one plain line.
func oneLine(t *testing.T, err error) {
	t.Helper()
	if s := err.Error(); s == "" || strings.ContainsAny(s, "\n\r") {
		t.Fatalf("error %q is not one line", s)
	}
}

func FuzzParseReading(f *testing.F) {
	for _, s := range []string{"2026-11-24T22:04:00+01:00 74.1", "2026-11-24T22:04:00Z 74,1", "2026-11-24T22:04:00Z NaN", "0000-01-01T00:00:00Z 0", "9999-12-31T23:59:60Z 130", "\x00 \x00", "2026-11-24t22:04:00z 1e1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := parseReading(s)
		if err != nil {
			oneLine(t, err)
			return
		}
		if !(r.TempC >= cure.MinBathC && r.TempC <= cure.MaxBathC) {
			t.Fatalf("%q gave %g °C", s, r.TempC)
		}
		if _, err := cure.Follow(cure.Programme{Stages: []cure.Stage{{TempC: 74, Hold: 9 * time.Hour}}}, 22, r.At, []cure.BathReading{r}); err != nil {
			t.Fatalf("%q: %v", s, err)
		}
	})
}

func FuzzParseTempC(f *testing.F) {
	for _, s := range []string{"74", "74.2 °C", "74,2", "0x10", "1_0", "-0", "+5", "5e", "C", "1e-400"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := parseTempC(s)
		if err != nil {
			oneLine(t, err)
		} else if !(c >= cure.MinBathC && c <= cure.MaxBathC) {
			t.Fatalf("%q gave %g °C", s, c)
		}
	})
}

func FuzzSensorText(f *testing.F) {
	for _, s := range []string{"a1 04 4b 46 7f ff 0f 10 d8 : crc=d8 YES\na1 04 4b 46 7f ff 0f 10 d8 t=74062\n", "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n", "YES\nt=1", "74125\n", "-1", "YES\n", "\n\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, parse := range []func(string) (float64, error){parseW1Slave, parseThousandths} {
			c, err := parse(s)
			if err != nil {
				oneLine(t, err)
			} else if !(c >= cure.MinBathC && c <= cure.MaxBathC) {
				t.Fatalf("%q gave %g °C", s, c)
			}
		}
	})
}

func FuzzReadLines(f *testing.F) {
	for _, s := range []string{"2026-11-24T22:00:00Z 74\n2026-11-24T22:01:00Z 74.1\n", "# note\n\nx\n", "2026-11-24T22:01:00Z 74\r\n2026-11-24T22:00:00Z 74", strings.Repeat("x", 1000)} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		taken, told, refused, err := readLines(bytes.NewReader(b))
		if err != nil {
			oneLine(t, err)
			return
		}
		if len(told) > refused || len(told) > maxRefusals {
			t.Fatalf("%d told of %d refused", len(told), refused)
		}
		for _, r := range told {
			oneLine(t, r.Err)
		}
		for i := 1; i < len(taken); i++ {
			if err := taken[i].Follows(taken[i-1]); err != nil {
				t.Fatal(err)
			}
		}
	})
}
