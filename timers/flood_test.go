package timers_test

import (
	"fmt"
	"testing"
	"time"

	"flaskside/timers"
)

// TestFlood: eleven alarms in ten minutes are a flood, ten are not (EEMUA 191, from
// memory), and in a flood only the most urgent ring.
func TestFlood(t *testing.T) {
	var as []timers.Alarm
	for i := range 10 {
		as = append(as, timers.Alarm{Signal: timers.Signal{Key: fmt.Sprint(i), Priority: timers.Low}, State: timers.Unacknowledged, Since: timers.Passed{For: time.Minute}})
	}
	if n, flood := timers.Flood(as); n != 10 || flood {
		t.Errorf("ten in ten minutes: %d, %v", n, flood)
	}
	as = append(as, timers.Alarm{Signal: timers.Signal{Key: "old"}, State: timers.Acknowledged, Since: timers.Passed{For: 11 * time.Minute}})
	if _, flood := timers.Flood(as); flood {
		t.Error("an alarm of eleven minutes ago made a flood")
	}
	as = append(as, timers.Alarm{Signal: timers.Signal{Key: "dough", Priority: timers.High}, State: timers.Unacknowledged, Since: timers.Passed{For: time.Second}})
	if _, flood := timers.Flood(as); !flood {
		t.Error("eleven in ten minutes are no flood")
	}
	b := timers.Bell{}
	if a := b.Ring(as, time.Hour); a == nil || a.Key != "dough" {
		t.Errorf("rang for %+v, want the most urgent alone", a)
	}
	if a := b.Ring(as, time.Hour+5*time.Second); a != nil {
		t.Errorf("rang for %s in a flood", a.Key)
	}
}
