package cure

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"
)

// oneLine fails on an error that is not one plain line.
func oneLine(t *testing.T, err error) {
	t.Helper()
	if s := err.Error(); s == "" || strings.ContainsAny(s, "\n\r") {
		t.Fatalf("error %q is not one line", s)
	}
}

func FuzzParseProgramme(f *testing.F) {
	for _, s := range []string{"74C 9h", "night: 74C 8h, ramp 30min, 100C 1h", "73°C 90min + 100°C 30min", "ramp 1h + 100C .5h", "74C 1e9h", "::", "+,+", "74C 99999999999999999999h", "\xff: 74C 9h", "a\nb: 74C 9h"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParseProgramme(s)
		if err != nil {
			oneLine(t, err)
			return
		}
		if err := p.Validate(); err != nil {
			t.Fatalf("%q gave an invalid programme: %v", s, err)
		}
		back, err := ParseProgramme(p.String())
		if err != nil || back.Name != p.Name || !slices.Equal(back.Stages, p.Stages) {
			t.Fatalf("%q, written %q, read back as %v, %v", s, p, back, err)
		}
		if err := CheckBath(p.Knots(22)); err != nil {
			t.Fatalf("%q: %v", s, err)
		}
	})
}

func FuzzParseDuration(f *testing.F) {
	for _, s := range []string{"9h", "90 min", "1h30min", "45s", "1.5hours", "", "h", "1e9h", "-1h", "1h1h1h", "1..5h", "7 sec"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseDuration(s)
		if err != nil {
			oneLine(t, err)
			return
		}
		if d < 0 || d > MaxDuration || d%time.Second != 0 {
			t.Fatalf("%q gave %s", s, d)
		}
		if back, err := ParseDuration(FormatDuration(d)); err != nil || back != d {
			t.Fatalf("%q gave %s, read back as %s, %v", s, d, back, err)
		}
	})
}

func FuzzParseBath(f *testing.F) {
	for _, s := range []string{"0:74,540:74", "0:22, 30:100, 60:100", "0:74,", "1e3:1e1", "0:-0", "-0:5", "0:1e-320", "5:74,5:75"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		bath, err := ParseBath(s)
		if err != nil {
			oneLine(t, err)
			return
		}
		if err := CheckBath(bath); err != nil {
			t.Fatalf("%q: %v", s, err)
		}
		for _, k := range Thin(bath, ThinK) {
			if c := BathAt(bath, k.TimeS); c != k.TempC {
				t.Fatalf("%q: %g °C at the point of %g °C", s, c, k.TempC)
			}
		}
	})
}

func FuzzParseReading(f *testing.F) {
	for _, s := range []string{"2026-11-24T22:04:00+01:00 74.1", "2026-11-24T22:04:00Z 74,1", "2026-11-24T22:04:00Z NaN", "0000-01-01T00:00:00Z 0", "9999-12-31T23:59:60Z 130", "\x00 \x00", "2026-11-24t22:04:00z 1e1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := ParseReading(s)
		if err != nil {
			oneLine(t, err)
			return
		}
		if !(r.TempC >= MinBathC && r.TempC <= MaxBathC) {
			t.Fatalf("%q gave %g °C", s, r.TempC)
		}
		if _, err := Follow(Common()[0], 22, r.At, []Reading{r}); err != nil {
			t.Fatalf("%q: %v", s, err)
		}
	})
}

func FuzzParseTempC(f *testing.F) {
	for _, s := range []string{"74", "74.2 °C", "74,2", "0x10", "1_0", "-0", "+5", "5e", "C", "1e-400"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := ParseTempC(s)
		if err != nil {
			oneLine(t, err)
		} else if !(c >= MinBathC && c <= MaxBathC) {
			t.Fatalf("%q gave %g °C", s, c)
		}
	})
}

func FuzzSensorText(f *testing.F) {
	for _, s := range []string{"a1 04 4b 46 7f ff 0f 10 d8 : crc=d8 YES\na1 04 4b 46 7f ff 0f 10 d8 t=74062\n", "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n", "YES\nt=1", "74125\n", "-1", "YES\n", "\n\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, parse := range []func(string) (float64, error){ParseW1Slave, ParseThousandths} {
			c, err := parse(s)
			if err != nil {
				oneLine(t, err)
			} else if !(c >= MinBathC && c <= MaxBathC) {
				t.Fatalf("%q gave %g °C", s, c)
			}
		}
	})
}

func FuzzReadReadings(f *testing.F) {
	for _, s := range []string{"2026-11-24T22:00:00Z 74\n2026-11-24T22:01:00Z 74.1\n", "# note\n\nx\n", "2026-11-24T22:01:00Z 74\r\n2026-11-24T22:00:00Z 74", strings.Repeat("x", 1000)} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		taken, told, refused, err := ReadReadings(bytes.NewReader(b))
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
