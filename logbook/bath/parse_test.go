package bath

import (
	"slices"
	"strings"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/units"
	"flaskside/timers/cure"
)

func TestParseCurve(t *testing.T) {
	bath, err := parseCurve("0:74, 540:74", units.Celsius)
	if err != nil || !slices.Equal(bath, []cure.Knot{{TimeS: 0, TempC: 74}, {TimeS: 32400, TempC: 74}}) {
		t.Errorf("%v, %v", bath, err)
	}
	for text, says := range map[string]string{
		"":                           "empty",
		"0:74,":                      "minutes and temperature",
		"74":                         "minutes and temperature",
		"0:74:1":                     "minutes and temperature",
		"0:hot":                      "minutes and temperature",
		"-5:74":                      "from 0",
		"0:400":                      "0 to 130",
		"0:-1":                       "0 to 130",
		"0:NaN":                      "minutes and temperature",
		"0:0x10":                     "minutes and temperature",
		"0:1e999":                    "minutes and temperature",
		"60:74,30:74":                "not after",
		"0:74,0:80":                  "not after",
		"0:74,99999:74":              "days",
		strings.Repeat("0:74,", 2e4): "characters",
	} {
		if _, err := parseCurve(text, units.Celsius); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.20q: error %v, want one line with %q", text, err, says)
		}
	}
}

func FuzzParseCurve(f *testing.F) {
	for _, s := range []string{"0:74,540:74", "0:22, 30:100, 60:100", "0:74,", "1e3:1e1", "0:-0", "-0:5", "0:1e-320", "5:74,5:75"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		bath, err := parseCurve(s, units.Celsius)
		if err != nil {
			oneLine(t, err)
			return
		}
		if err := cure.CheckBath(bath); err != nil {
			t.Fatalf("%q: %v", s, err)
		}
		for _, k := range cure.Thin(bath, cure.ThinK) {
			if c := cure.BathAt(bath, k.TimeS); c != k.TempC {
				t.Fatalf("%q: %g °C at the point of %g °C", s, c, k.TempC)
			}
		}
	})
}

// oneLine fails on an error that is not one plain line.
func oneLine(t *testing.T, err error) {
	t.Helper()
	if s := err.Error(); s == "" || strings.ContainsAny(s, "\n\r") {
		t.Fatalf("error %q is not one line", s)
	}
}

// TestTheModelKnowsEverySize holds the sizes of a base against the flasks of the cure model.
func TestTheModelKnowsEverySize(t *testing.T) {
	for _, size := range action.Sizes {
		if _, err := cure.ForSection(3, string(size)); err != nil {
			t.Error(err)
		}
	}
}
