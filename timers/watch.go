package timers

import (
	"fmt"
	"time"
)

// ClockEvent is something that happened to the clocks between two looks.
type ClockEvent struct {
	What   ClockWhat     `json:"what"`
	By     time.Duration `json:"by"`   // how long, or how far (negative: back)
	From   time.Time     `json:"from"` // the look before
	To     time.Time     `json:"to"`   // the look now
	Detail string        `json:"detail,omitempty"`
}

// ClockWhat names a kind of clock event.
type ClockWhat string

// The kinds of clock event.
const (
	Slept    ClockWhat = "slept"
	Stepped  ClockWhat = "clock moved"
	Stalled  ClockWhat = "stood still"
	Zone     ClockWhat = "zone changed"
	Rebooted ClockWhat = "restarted"
)

// Tolerances of Compare. The kernel steers the wall and monotonic clocks together
// by small amounts, so two seconds in one tick can only be a step; a program that
// ticks each second and comes five seconds late did not run.
const (
	stepTolerance = 2 * time.Second
	stallAfter    = 5 * time.Second
)

// Compare says what happened to the clocks between two looks that were meant to
// lie tick apart. After a restart of the machine only that is said, for the
// clocks of two boots cannot be compared.
func Compare(before, now Reading, tick time.Duration) []ClockEvent {
	ev := func(w ClockWhat, by time.Duration, detail string) ClockEvent {
		return ClockEvent{What: w, By: by, From: before.Wall, To: now.Wall, Detail: detail}
	}
	if before.BootID != now.BootID {
		return []ClockEvent{ev(Rebooted, now.Wall.Sub(before.Wall), "")}
	}
	var out []ClockEvent
	dWall, dBoot, dMono := now.Wall.Sub(before.Wall), now.Boot-before.Boot, now.Mono-before.Mono
	if now.BootID == "" {
		dBoot = dMono // no boot clock: sleep cannot be told from a moved wall clock
	}
	if d := dBoot - dMono; d > stepTolerance {
		out = append(out, ev(Slept, d, ""))
	}
	if d := dWall - dBoot; d > stepTolerance || d < -stepTolerance {
		out = append(out, ev(Stepped, d, ""))
	}
	if dMono > tick+stallAfter && dBoot-dMono <= stepTolerance {
		out = append(out, ev(Stalled, dMono, ""))
	}
	if z0, o0 := before.Wall.Zone(); true {
		if z1, o1 := now.Wall.Zone(); o1 != o0 || before.Wall.Location().String() != now.Wall.Location().String() {
			out = append(out, ev(Zone, time.Duration(o1-o0)*time.Second,
				fmt.Sprintf("%s (UTC%s) to %s (UTC%s)", z0, before.Wall.Format("-07:00"), z1, now.Wall.Format("-07:00"))))
		}
	}
	return out
}
