package sysclock

import (
	"fmt"
	"time"

	"golang.org/x/sys/windows"
)

// bootID makes an identity from the moment of the boot, to ten seconds: the
// system offers none. A wall clock moved between two starts of the program gives
// another identity, and the times are then marked estimated.
func bootID() string {
	return fmt.Sprintf("boot-%d", time.Now().Add(-windows.DurationSinceBoot()).Unix()/10)
}

// sinceBoot reads GetTickCount64, which counts sleep.
func sinceBoot() (time.Duration, error) { return windows.DurationSinceBoot(), nil }

func source() string { return "GetTickCount64" }
