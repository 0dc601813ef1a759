package cure

import (
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
		d, err := parseDuration(s)
		if err != nil {
			oneLine(t, err)
			return
		}
		if d < 0 || d > maxDuration || d%time.Second != 0 {
			t.Fatalf("%q gave %s", s, d)
		}
		if back, err := parseDuration(formatDuration(d)); err != nil || back != d {
			t.Fatalf("%q gave %s, read back as %s, %v", s, d, back, err)
		}
	})
}
