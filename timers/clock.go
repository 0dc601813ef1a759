// Package timers knows time and nothing else: a reading of all clocks at once,
// a window that lives in absolute time, the life of an alarm, and the signs
// that a clock was moved or the machine slept. It knows nothing of flasks,
// disks or screens. Every function is pure: the reading is passed in.
//
// Start with [Window] and [Survey].
//
// Why three clocks: the wall clock can be set by hand, by the network or by
// nobody for years; the monotonic clock of most systems stops while the machine
// sleeps; the boot clock counts sleep too but starts anew at each boot. A window
// is therefore kept as its start on the wall and on the boot clock together with
// the identity of the boot: in the same boot the boot clock decides, after
// another boot the wall clock does and the result is marked estimated.
package timers

import "time"

// Reading is one look at all clocks at once.
type Reading struct {
	Wall   time.Time     // wall clock, without a monotonic part; its location is the zone in force
	Boot   time.Duration // since boot, sleep included
	Mono   time.Duration // since some fixed point of this boot, sleep left out where the system does so
	BootID string        // identity of this boot; empty where the system offers none
}

// Clock gives a reading; the real one is in package sysclock, one for tests and
// for the demo in package simclock.
type Clock interface {
	Read() Reading
}

// Stamp says when something happened on both lasting clocks.
type Stamp struct {
	At     time.Time     `json:"at"`
	BootID string        `json:"boot,omitempty"`
	Boot   time.Duration `json:"boot_ns,omitempty"`
}

// Before tells whether a stamp is earlier than another, exact within one boot.
func (s Stamp) Before(o Stamp) bool {
	if s.BootID != "" && s.BootID == o.BootID {
		return s.Boot < o.Boot
	}
	return s.At.Before(o.At)
}

// Latest is the latest of some stamps.
func Latest(s Stamp, others ...Stamp) Stamp {
	for _, o := range others {
		if s.Before(o) {
			s = o
		}
	}
	return s
}

// StampAt places an instant of the wall clock on the boot clock of a reading. An
// instant from before this boot, or read without a boot clock, gets no boot part.
func StampAt(at time.Time, now Reading) Stamp {
	s := Stamp{At: at.Round(0)}
	if boot := now.Boot - now.Wall.Sub(at); now.BootID != "" && boot >= 0 {
		s.BootID, s.Boot = now.BootID, boot
	}
	return s
}

// Beat is the last sign of life a program left before it ended: the bound below
// which the time passed since cannot lie.
type Beat struct {
	Wall   time.Time     `json:"wall"`
	BootID string        `json:"boot,omitempty"`
	Boot   time.Duration `json:"boot_ns,omitempty"`
}

// Now is a reading together with the beat that came before it; all questions
// about time passed are asked of it.
type Now struct {
	Reading
	Beat Beat // zero where none is known
}

// Passed is the time gone by since a stamp.
type Passed struct {
	For       time.Duration
	Estimated bool // another boot lies between: the wall clock decided
	ClockBack bool // the wall clock says less than must have passed: the bound was used
}

// Since says how much time has passed since s. In the same boot it is exact
// whatever was done to the wall clock, sleep included. After another boot the
// wall clock decides, never below what the boot clocks prove.
func (n Now) Since(s Stamp) Passed {
	if s.BootID != "" && s.BootID == n.BootID {
		return Passed{For: n.Boot - s.Boot}
	}
	p := Passed{For: n.Wall.Sub(s.At), Estimated: n.BootID != ""}
	var bound time.Duration // nothing happens before it happened
	if s.BootID != "" && n.BootID != "" {
		bound = n.Boot // this boot began after s
		if n.Beat.BootID == s.BootID && n.Beat.Boot > s.Boot {
			bound += n.Beat.Boot - s.Boot
		}
	}
	if p.For < bound {
		p.For, p.ClockBack = bound, true
	}
	return p
}

// Elapsed is the length of time from one stamp to a later one, as [Now.Since] tells it
// at the later: exact in one boot; across boots the wall clock decides, never below what
// the later boot clock proves. A length is never worked out in another way.
func Elapsed(from, to Stamp) time.Duration {
	return Now{Reading: Reading{Wall: to.At, Boot: to.Boot, BootID: to.BootID}}.Since(from).For
}

// WallOf gives the instant, on the wall clock as it stands now, that lies d after
// s. It moves with a stepped clock, so that a person sees the hour at which it
// will truly happen.
func (n Now) WallOf(s Stamp, d time.Duration) time.Time {
	return n.Wall.Add(d - n.Since(s).For)
}
