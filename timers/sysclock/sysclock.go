// Package sysclock reads the clocks of this machine. It is, with cmd, the only
// place where the time is asked for.
package sysclock

import (
	"sync"
	"time"

	"flaskside/timers"
)

// New gives the clock of this machine.
func New() timers.Clock { return &clock{id: bootID(), began: time.Now()} }

type clock struct {
	id    string
	began time.Time // carries Go's monotonic reading
	zone  zones
}

// Read looks at all clocks. Where the system offers no clock that counts sleep,
// the boot identity is empty and the wall clock decides everything.
func (c *clock) Read() timers.Reading {
	zone := c.zone.named(zoneName())
	now := time.Now()
	r := timers.Reading{Wall: now.Round(0).In(zone), Mono: now.Sub(c.began), BootID: c.id}
	if c.id == "" {
		return r
	}
	// Read together: where another program came in between the two, they are read again.
	for range readTries {
		boot, err := sinceBoot()
		if err != nil {
			r.BootID = ""
			return r
		}
		r.Boot = boot
		then := time.Now()
		if then.Sub(now) < readWithin {
			break
		}
		now = then
		r.Wall, r.Mono = now.Round(0).In(zone), now.Sub(c.began)
	}
	return r
}

// readWithin is how far apart the clocks of one reading are read, but on a machine so busy
// that even the last of some tries was interrupted.
const (
	readWithin = 20 * time.Microsecond
	readTries  = 5
)

// zones keeps the zone in force, so that its rules are read once and not at each
// look. The zero value is ready for use.
type zones struct {
	mu   sync.Mutex
	name string
	loc  *time.Location
}

// named gives the zone of a name; that of the start of the program where the name
// is empty or unknown.
func (z *zones) named(name string) *time.Location {
	z.mu.Lock()
	defer z.mu.Unlock()
	if z.loc == nil || name != z.name {
		z.name, z.loc = name, time.Local
		if loc, err := time.LoadLocation(name); err == nil && name != "" {
			z.loc = loc
		}
	}
	return z.loc
}
