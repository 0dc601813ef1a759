package people

import (
	"net"

	"flaskside/logbook/asked"
)

// TypedAddress refuses an address of a flag that leaves it to the system who can reach it; port is
// named as an example. "" is none.
func TypedAddress(flag, at string, port int) error {
	if at == "" {
		return nil
	}
	host, given, err := net.SplitHostPort(at)
	if err != nil || host == "" || given == "" {
		return asked.Wrongly("%[1]s takes an address and a port, as in 127.0.0.1:%[2]d for this computer alone, not %[3]q; 0.0.0.0:%[2]d is for every network it is in", flag, port, at)
	}
	return nil
}

// Reach says from where people can come to an address, and whether it is more than this computer.
func Reach(at net.Addr) (from string, beyond bool) {
	tcp, ok := at.(*net.TCPAddr)
	switch {
	case ok && tcp.IP.IsLoopback():
		return "only from this computer", false
	case ok && tcp.IP.IsUnspecified():
		return "FROM EVERY NETWORK THIS COMPUTER IS IN", true
	}
	return "FROM THE NETWORK of that address", true
}
