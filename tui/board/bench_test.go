package board

import (
	"testing"
	"time"

	"flaskside/timers/simclock"
)

// BenchmarkGlance is what a look at a busy bench costs, which is taken once a second while any
// board is there.
func BenchmarkGlance(b *testing.B) {
	clock := simclock.At(start, "boot-1")
	w := hang(b, clock, limits{pulse: time.Hour, look: time.Hour, stream: time.Hour, write: time.Minute, idle: time.Minute, head: time.Minute, streams: 20, conns: 50})
	busyBench(w, clock)
	w.board.glance()
	w.board.desk.wait()
	b.ReportAllocs()
	b.ResetTimer()
	for range b.N {
		clock.Run(time.Second)
		w.board.glance()
	}
}
