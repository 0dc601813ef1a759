package timers_test

import (
	"fmt"
	"testing"
	"time"

	"flaskside/timers"
	"flaskside/timers/simclock"
)

// TestFlood: eleven alarms in ten minutes are a flood, ten are not; it is over when
// fewer than five rose in the last ten minutes (EEMUA 191, ISA-18.2, IEC 62682; from
// memory). In a flood only the most urgent ring.
func TestFlood(t *testing.T) {
	ck := simclock.At(at, "boot-1")
	var signals []timers.Signal
	var answers []timers.Answer
	var f timers.Flood
	rise := func(p timers.Priority) {
		signals = append(signals, timers.Signal{Key: fmt.Sprint("a", len(signals)), Priority: p, Rose: stamp(ck)})
	}
	look := func(wantN int, want bool) {
		t.Helper()
		if n, on := f.Look(timers.Survey(signals, answers, now(ck)), now(ck)); n != wantN || on != want {
			t.Errorf("%d in ten minutes, flood %v; want %d, %v", n, on, wantN, want)
		}
	}
	look(0, false)
	for range 10 {
		rise(timers.Low)
		ck.Run(30 * time.Second)
	}
	look(10, false)
	rise(timers.High)
	look(11, true)
	b := timers.Bell{Flood: true}
	all := timers.Survey(signals, answers, now(ck))
	if a := b.Ring(all, time.Hour); a == nil || a.Key != "a10" {
		t.Errorf("rang for %+v, want the most urgent alone", a)
	}
	if a := b.Ring(all, time.Hour+5*time.Second); a != nil {
		t.Errorf("rang for %s in a flood", a.Key)
	}
	// Answered and gone they still rose; snoozed they do not count.
	answers = append(answers, timers.Answer{Key: "a10", At: stamp(ck)}, timers.Answer{Key: "a9", At: stamp(ck), Shelf: time.Hour})
	signals = signals[5:]
	look(10, true)
	ck.Run(7 * time.Minute) // at 12:00 those of 2:00 and before are out
	look(5, true)
	ck.Run(30 * time.Second)
	look(4, false)
}

// TestFloodForgets: a flood's end is told by the clock, also where no program looked.
func TestFloodForgets(t *testing.T) {
	ck := simclock.At(at, "boot-1")
	var f timers.Flood
	var al []timers.Alarm
	for i := range 12 {
		al = append(al, timers.Alarm{Signal: timers.Signal{Key: fmt.Sprint(i), Rose: stamp(ck)}, State: timers.Unacknowledged})
	}
	if n, on := f.Look(al, now(ck)); n != 12 || !on {
		t.Errorf("%d, %v", n, on)
	}
	ck.Sleep(timers.FloodSpan)
	if n, on := f.Look(nil, now(ck)); n != 0 || on {
		t.Errorf("ten minutes later: %d, %v", n, on)
	}
}
