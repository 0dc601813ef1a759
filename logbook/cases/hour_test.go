package cases

import (
	"testing"
	"time"
)

func TestWorkingHour(t *testing.T) {
	const opens, until = 8 * time.Hour, 18 * time.Hour
	for s, want := range map[string]string{
		"3": "15h0m0s", " 3 ": "15h0m0s", "1": "13h0m0s", "6": "18h0m0s",
		"7": "7h0m0s", // nobody is there at 19:00 either
		"8": "8h0m0s", "9": "9h0m0s", "0": "0s", "03": "3h0m0s", "0300": "3h0m0s", "3:00": "3h0m0s", "300": "3h0m0s", "11": "11h0m0s", "17": "17h0m0s", "x": "",
	} {
		got, err := WorkingHour(s, opens, until)
		if (err == nil) != (want != "") || err == nil && got.String() != want {
			t.Errorf("%q: %v, %v, want %s", s, got, err, want)
		}
	}
	if got, _ := WorkingHour("3", 2*time.Hour, until); got != 3*time.Hour {
		t.Errorf("a house that opens at two: %v", got)
	}
}
