package longrun

import (
	"flag"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func TestTimes(t *testing.T) {
	for value, want := range map[string]int{"": 3, "0": 3, "1": 500, "yes": 500} {
		t.Setenv(variable, value)
		if got := Times(3, 500); got != want {
			t.Errorf("%s=%q: %d times, want %d", variable, value, got, want)
		}
	}
}

// TestChecks: a test has the number that is meant for it, the next one the usual; what the
// command says stands.
func TestChecks(t *testing.T) {
	count := func(t *testing.T) (n int) {
		rapid.Check(t, func(*rapid.T) { n++ })
		return n
	}
	t.Setenv(variable, "")
	for _, c := range []struct{ told, usual, want string }{{"100", "7", "7"}, {"12", "7", "12"}} {
		f := flag.Lookup("rapid.checks")
		before := f.Value.String()
		if err := f.Value.Set(c.told); err != nil {
			t.Fatal(err)
		}
		t.Run(c.told, func(t *testing.T) {
			usual, _ := strconv.Atoi(c.usual)
			Checks(t, usual, 1000)
			if got := f.Value.String(); got != c.want {
				t.Errorf("told %s, meant %s: %s", c.told, c.usual, got)
			}
			if n := count(t); !testing.Short() && strconv.Itoa(n) != c.want {
				t.Errorf("%d times, want %s", n, c.want)
			}
		})
		if got := f.Value.String(); got != c.told {
			t.Errorf("after it %s, want %s", got, c.told)
		}
		if err := f.Value.Set(before); err != nil {
			t.Fatal(err)
		}
	}
}
