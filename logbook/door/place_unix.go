//go:build unix

package door

import "syscall"

const (
	connRefused = syscall.ECONNREFUSED
	modesMean   = true // the modes of files say who may do what
)

// beforeBind makes the socket private from its first moment where the system takes
// the mode of the file from the socket, as Linux does; elsewhere it has no effect
// and the mode is set right after.
func beforeBind(_, _ string, c syscall.RawConn) error {
	return c.Control(func(fd uintptr) { _ = syscall.Fchmod(int(fd), 0o600) })
}
