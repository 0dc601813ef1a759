package sysclock

import (
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// bootID reads the kernel's random identity of this boot, proc(5).
func bootID() string {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// sinceBoot reads CLOCK_BOOTTIME, which counts sleep: clock_gettime(2).
func sinceBoot() (time.Duration, error) {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0, err
	}
	return time.Duration(ts.Nano()), nil
}

// source tells of the counter, too, which the kernel documents for users (sysfs,
// devices/system/clocksource).
func source() string {
	b, err := os.ReadFile("/sys/devices/system/clocksource/clocksource0/current_clocksource")
	if by := strings.TrimSpace(string(b)); err == nil && by != "" {
		return "CLOCK_BOOTTIME (" + by + ")"
	}
	return "CLOCK_BOOTTIME"
}
