//go:build unix

package logbook

import (
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// costOf is the processor time that this process has taken; on a busy machine it tells more than what
// went by.
func costOf(b *testing.B) time.Duration {
	b.Helper()
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
