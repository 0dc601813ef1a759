package sysclock

import (
	"time"

	"golang.org/x/sys/unix"
)

const (
	timeError = 5    // TIME_ERROR: the clock is not synchronised, adjtimex(2)
	staUnsync = 0x40 // STA_UNSYNC
)

func wallKeeping() Keeping {
	var t unix.Timex // with modes 0 nothing is set, and no right is needed
	state, err := unix.Adjtimex(&t)
	if err != nil {
		return Keeping{}
	}
	k := Keeping{Known: true, Synced: state != timeError && t.Status&staUnsync == 0}
	if k.Synced {
		k.Within = time.Duration(t.Maxerror) * time.Microsecond
	}
	return k
}
