//go:build unix

package keeper

import (
	"os/exec"
	"syscall"
)

// ownGroup has a command run in a process group of its own; end ends all that is left of it.
func ownGroup(c *exec.Cmd) (end func()) {
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	return func() {
		if c.Process != nil {
			_ = syscall.Kill(-c.Process.Pid, syscall.SIGKILL) // nothing may be left
		}
	}
}
