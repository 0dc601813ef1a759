package sysclock

import (
	"time"

	"golang.org/x/sys/unix"
)

// bootID reads the identity of this boot.
func bootID() string {
	id, err := unix.Sysctl("kern.bootsessionuuid")
	if err != nil {
		return ""
	}
	return id
}

// sinceBoot reads CLOCK_MONOTONIC, which on this system goes on during sleep:
// clock_gettime(3).
func sinceBoot() (time.Duration, error) {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		return 0, err
	}
	return time.Duration(ts.Nano()), nil
}

func source() string { return "CLOCK_MONOTONIC" }
