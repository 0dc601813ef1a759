// Package address is where a bench can be reached from other computers: an address and a port, as a person types them.
package address

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"strconv"
	"syscall"

	"flaskside/logbook/asked"
)

// Typed refuses what is no whole address behind a flag.
func Typed(flag, at string, port int) error {
	if err := check(at, port); err != nil {
		return asked.Wrongly("%s %w", flag, err)
	}
	return nil
}

// Reach says from where people can come to an address, and whether it is more than this computer.
func Reach(at net.Addr) (from string, beyond bool) {
	tcp, ok := at.(*net.TCPAddr)
	switch {
	case ok && tcp.IP.IsLoopback():
		return "only from this computer", false
	case ok && tcp.IP.IsUnspecified() && tcp.IP.To4() != nil:
		return "FROM EVERY NETWORK THIS COMPUTER IS IN, by IPv4", true
	case ok && tcp.IP.IsUnspecified():
		return "FROM EVERY NETWORK THIS COMPUTER IS IN, by IPv6 and IPv4", true
	}
	return "FROM THE NETWORK of that address", true
}

// check refuses what is no whole address: one that leaves it to the system who can reach it, or a port that is none.
// port stands in the example. Port 0, any that is free, is for tests.
func check(at string, port int) error {
	host, given, err := net.SplitHostPort(at)
	if err != nil || host == "" || given == "" {
		return fmt.Errorf("takes an address and a port, as in 127.0.0.1:%[1]d for this computer alone, not %[2]q; 0.0.0.0:%[1]d is for every IPv4 network it is in", port, at)
	}
	if n, err := strconv.Atoi(given); err != nil || n < 0 || n > 65535 {
		return fmt.Errorf("takes a port from 1 to 65535, as in %s, not %q", net.JoinHostPort(host, strconv.Itoa(port)), given)
	}
	return nil
}

// Listen listens at an address with the settings of c. Its error says what is wrong with the address.
func Listen(ctx context.Context, c net.ListenConfig, at string) (net.Listener, error) {
	host, port, _ := net.SplitHostPort(at)
	network := "tcp"
	if ip, err := netip.ParseAddr(host); err == nil && ip.Unmap().Is4() {
		network = "tcp4" // else 0.0.0.0 is every IPv6 network, too, past a firewall that was set for IPv4
	}
	ln, err := c.Listen(ctx, network, at)
	if err == nil {
		return ln, nil
	}
	var unknown *net.DNSError
	switch {
	case errors.As(err, &unknown):
		return nil, fmt.Errorf("no computer is known by the name %q: give the address of this one, as in 127.0.0.1:%s", host, port)
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("port %s of %s is taken by another program: give another port", port, host)
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return nil, fmt.Errorf("%s is not an address of this computer", host)
	case errors.Is(err, syscall.EACCES):
		return nil, fmt.Errorf("port %s is kept for the system: give one above 1023", port)
	}
	return nil, fmt.Errorf("nobody can be let in at %s: %w", at, err)
}
