package longrun

import "testing"

func TestTimes(t *testing.T) {
	for value, want := range map[string]int{"": 3, "0": 3, "1": 500, "yes": 500} {
		t.Setenv(Variable, value)
		if got := Times(3, 500); got != want {
			t.Errorf("%s=%q: %d times, want %d", Variable, value, got, want)
		}
	}
}
