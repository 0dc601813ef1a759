package people

import (
	"errors"
	"net"
	"strings"
	"testing"

	"flaskside/logbook/asked"
)

// An address that leaves it to the system who can reach it is put wrongly; of one that is taken it
// is said from where it can be reached, and nothing but the loopback is called this computer.
func TestAddresses(t *testing.T) {
	for at, want := range map[string]string{"127.0.0.1:0": "only from this computer", "[::1]:8020": "only from this computer",
		"0.0.0.0:8020": "EVERY NETWORK", "[::]:8020": "EVERY NETWORK", "192.0.2.7:8020": "THE NETWORK of that address"} {
		if err := TypedAddress("--board", at, 8020); err != nil {
			t.Errorf("%s: %v", at, err)
		}
		tcp, err := net.ResolveTCPAddr("tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		if from, beyond := Reach(tcp); !strings.Contains(from, want) || beyond != !tcp.IP.IsLoopback() {
			t.Errorf("%s is reached %q, beyond %v", at, from, beyond)
		}
	}
	if from, beyond := Reach(&net.UnixAddr{Name: "x"}); !beyond || !strings.Contains(from, "NETWORK") {
		t.Errorf("what is not known is told as %q", from)
	}
	for _, at := range []string{"8020", ":8020", "127.0.0.1:", "127.0.0.1", "::1:8020", " "} {
		var wrong asked.Wrong
		if err := TypedAddress("--board", at, 8020); !errors.As(err, &wrong) || !strings.Contains(err.Error(), "127.0.0.1:8020") {
			t.Errorf("%q: %v", at, err)
		}
	}
}
