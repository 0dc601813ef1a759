package timers_test

import (
	"fmt"
	"time"

	"flaskside/timers"
)

// A window with a floor and a limit, ten minutes after it began: how long until the next
// of its ends, and which. The clock is passed in.
func ExampleNewWindow() {
	began := time.Date(2026, 11, 25, 14, 0, 0, 0, time.UTC)
	start := timers.Stamp{At: began}
	w := timers.NewWindow("timer/1", start, timers.Ends{FloorS: 15 * 60, LimitS: 45 * 60, Floor: timers.Low, Limit: timers.High})
	now := timers.Now{Reading: timers.Reading{Wall: began.Add(10 * time.Minute)}}
	s := w.Stand(now)
	fmt.Println(s.Phase, s.Left, s.Next.End)
	// Output: early 5m0s not before
}
