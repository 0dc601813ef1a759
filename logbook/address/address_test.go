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
		"0.0.0.0:8020": "EVERY NETWORK THIS COMPUTER IS IN, by IPv4", "[::]:8020": "EVERY NETWORK THIS COMPUTER IS IN, by IPv6 and IPv4", "192.0.2.7:8020": "THE NETWORK of that address"} {
		tcp, err := net.ResolveTCPAddr("tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		if from, beyond := Reach(tcp); !strings.HasSuffix(from, want) || beyond == tcp.IP.IsLoopback() {
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
	if err := Typed("--ssh", "", 2222); !errors.As(err, &wrong) {
		t.Errorf("no address at all: %v", err)
	}
}

// Nobody who opens the bench to IPv4 opens it to IPv6, whose networks another firewall keeps.
func TestAnIPv4AddressListensOnIPv4Alone(t *testing.T) {
	for _, at := range []string{"0.0.0.0:0", "[::ffff:0.0.0.0]:0", "127.0.0.1:0"} {
		ln, err := Listen(t.Context(), net.ListenConfig{}, at)
		if err != nil {
			t.Fatal(err)
		}
		_, port, _ := net.SplitHostPort(ln.Addr().String())
		if c, err := net.Dial("tcp6", net.JoinHostPort("::1", port)); err == nil {
			_ = c.Close()
			t.Errorf("%s lets in by IPv6, and is called %s", at, ln.Addr())
		}
		if c, err := net.Dial("tcp4", net.JoinHostPort("127.0.0.1", port)); err != nil {
			t.Errorf("%s: %v", at, err)
		} else {
			_ = c.Close()
		}
		_ = ln.Close()
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
