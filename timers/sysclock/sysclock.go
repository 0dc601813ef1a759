// Package sysclock reads the clocks of this machine. It is, with cmd, the only
// place where the time is asked for.
package sysclock

import (
	"time"

	"flaskside/timers"
)

// New gives the clock of this machine.
func New() timers.Clock { return clock{id: bootID(), began: time.Now()} }

type clock struct {
	id    string
	began time.Time // carries Go's monotonic reading
}

// Read looks at all clocks. Where the system offers no clock that counts sleep,
// the boot identity is empty and the wall clock decides everything.
func (c clock) Read() timers.Reading {
	now := time.Now()
	r := timers.Reading{Wall: now.Round(0), Mono: now.Sub(c.began), BootID: c.id}
	if c.id != "" {
		boot, err := sinceBoot()
		if err != nil {
			r.BootID = ""
			return r
		}
		r.Boot = boot
	}
	return r
}
