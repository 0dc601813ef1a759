package keeper

import "os/exec"

// ownGroup: there are no process groups to end here; the command itself is.
func ownGroup(c *exec.Cmd) (end func()) {
	return func() {
		if c.Process != nil {
			_ = c.Process.Kill() // it may have ended
		}
	}
}
