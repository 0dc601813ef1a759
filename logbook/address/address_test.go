package address

import (
	"errors"
	"net"
	"runtime"
	"strings"
	"testing"

	"flaskside/logbook/asked"
)

func TestCheck(t *testing.T) {
	for at, want := range map[string]string{
		"127.0.0.1:2222":      "",
		"[::1]:2222":          "",
		"bench.example:65535": "",
		"":                    "takes an address and a port",
		"localhost":           "takes an address and a port",
		":2222":               "takes an address and a port",
		"127.0.0.1:":          "takes an address and a port",
		"127.0.0.1:22x":       `takes a port from 1 to 65535, as in 127.0.0.1:2222, not "22x"`,
		"127.0.0.1:80000":     "takes a port from 1 to 65535",
		"[::1]:-1":            "takes a port from 1 to 65535, as in [::1]:2222",
	} {
		if err := check(at, 2222); (err == nil) != (want == "") || err != nil && !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %q", at, err, want)
		}
	}
}

// Of an address it is said from where it can be reached, and nothing but the loopback is called
// this computer.
func TestReach(t *testing.T) {
	for at, want := range map[string]string{"127.0.0.1:0": "only from this computer", "[::1]:8020": "only from this computer",
		"0.0.0.0:8020": "EVERY NETWORK", "[::]:8020": "EVERY NETWORK", "192.0.2.7:8020": "THE NETWORK of that address"} {
		tcp, err := net.ResolveTCPAddr("tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		if from, beyond := Reach(tcp); !strings.Contains(from, want) || beyond == tcp.IP.IsLoopback() {
			t.Errorf("%s is reached %q, beyond %v", at, from, beyond)
		}
	}
	if from, beyond := Reach(&net.UnixAddr{Name: "x"}); !beyond || !strings.Contains(from, "NETWORK") {
		t.Errorf("what is not known is told as %q", from)
	}
}

// What is typed wrongly behind a flag is said of that flag, as a question put wrongly.
func TestTyped(t *testing.T) {
	var wrong asked.Wrong
	if err := Typed("--ssh", "2222", 2222); !errors.As(err, &wrong) || !strings.HasPrefix(err.Error(), "--ssh takes an address and a port") {
		t.Errorf("%v", err)
	}
	if err := Typed("--ssh", "", 2222); err != nil {
		t.Errorf("no address: %v", err)
	}
}

func TestListen(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the system words its errors otherwise")
	}
	first, err := Listen(t.Context(), net.ListenConfig{}, "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = first.Close() }()
	for at, want := range map[string]string{
		first.Addr().String(): "is taken by another program: give another port",
		"192.0.2.1:8020":      "192.0.2.1 is not an address of this computer", // kept for documents: RFC 5737
	} {
		if ln, err := Listen(t.Context(), net.ListenConfig{}, at); err == nil {
			t.Errorf("%s: listens at %s", at, ln.Addr())
		} else if !strings.HasSuffix(err.Error(), want) {
			t.Errorf("%s: %v, want %s", at, err, want)
		}
	}
}
