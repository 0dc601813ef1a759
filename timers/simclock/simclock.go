// Package simclock holds clocks that are not the machine's: one that tests move
// by hand and one that runs faster than life, for the demo.
package simclock

import (
	"sync"
	"time"

	"flaskside/timers"
)

// Hand is a clock moved by hand. It is safe for use by several goroutines.
type Hand struct {
	mu sync.Mutex
	r  timers.Reading
}

// At gives a hand clock that stands at an instant, one hour after a boot.
func At(t time.Time, bootID string) *Hand {
	return &Hand{r: timers.Reading{Wall: t.Round(0), Boot: time.Hour, Mono: time.Hour, BootID: bootID}}
}

// Read gives the reading as it stands.
func (h *Hand) Read() timers.Reading {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.r
}

func (h *Hand) change(f func(r *timers.Reading)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	f(&h.r)
}

// Run lets time pass on all clocks.
func (h *Hand) Run(d time.Duration) {
	h.change(func(r *timers.Reading) { r.Wall, r.Boot, r.Mono = r.Wall.Add(d), r.Boot+d, r.Mono+d })
}

// Sleep lets time pass as in a machine that sleeps: the monotonic clock stands.
func (h *Hand) Sleep(d time.Duration) {
	h.change(func(r *timers.Reading) { r.Wall, r.Boot = r.Wall.Add(d), r.Boot+d })
}

// Step moves the wall clock alone, as a person or a time server does.
func (h *Hand) Step(d time.Duration) {
	h.change(func(r *timers.Reading) { r.Wall = r.Wall.Add(d) })
}

// Freeze lets the world go on while the machine stands still, as a halted virtual
// machine does: after it only the wall clock is right.
func (h *Hand) Freeze(d time.Duration) { h.Step(d) }

// Reboot is a restart after which off has gone by, at most 20 s of it since the new
// boot: the boot clocks begin anew under another identity.
func (h *Hand) Reboot(off time.Duration, bootID string) {
	h.change(func(r *timers.Reading) {
		up := min(off, 20*time.Second)
		*r = timers.Reading{Wall: r.Wall.Add(off), Boot: up, Mono: up, BootID: bootID}
	})
}

// In moves the clock to another zone.
func (h *Hand) In(loc *time.Location) {
	h.change(func(r *timers.Reading) { r.Wall = r.Wall.In(loc) })
}

// Fast is a clock that runs speed times as fast as another from the moment it is
// made. It claims a boot identity of its own, so that its windows can never be
// mistaken for real ones.
type Fast struct {
	under timers.Clock

	mu    sync.Mutex
	from  timers.Reading
	wall  time.Time
	up    time.Duration
	speed float64
}

// NewFast starts a fast clock at the instant start.
func NewFast(under timers.Clock, start time.Time, speed float64) *Fast {
	return &Fast{under: under, from: under.Read(), wall: start.Round(0), up: up, speed: speed}
}

// up is how long the hastened machine claims to run: longer than any shift that is
// played on it from before its start.
const up = 72 * time.Hour

// Read gives the hastened time.
func (f *Fast) Read() timers.Reading {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.read(f.under.Read())
}

func (f *Fast) read(r timers.Reading) timers.Reading {
	d := time.Duration(float64(r.Mono-f.from.Mono) * f.speed)
	return timers.Reading{Wall: f.wall.Add(d), Boot: f.up + d, Mono: f.up + d, BootID: "hastened"}
}

// Run changes how fast it runs from now on; the time goes on without a jump.
func (f *Fast) Run(speed float64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	r := f.under.Read()
	now := f.read(r)
	f.from, f.wall, f.up, f.speed = r, now.Wall, now.Boot, speed
}
