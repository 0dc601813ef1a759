package logbook

import (
	"fmt"
	"path/filepath"
	"testing"

	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// BenchmarkManyAtOnce records one long input in one transaction; the aim is that the time
// for each does not grow with how many there are.
func BenchmarkManyAtOnce(b *testing.B) {
	for _, n := range []int{2_000, 8_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				ck := simclock.At(start, "boot-1")
				book, err := Open(filepath.Join(inMemory(b), "bench.db"), ck)
				if err != nil {
					b.Fatal(err)
				}
				as := []action.Action{{ID: "a", At: ck.Read().Wall, By: "KT", Body: action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"}}}
				for i := range n {
					as = append(as, action.Action{ID: fmt.Sprint("n", i), At: ck.Read().Wall, By: "KT", Body: action.Note{Flask: 1, Text: "x"}})
				}
				b.StartTimer()
				if _, err := book.AppendAll(as); err != nil {
					b.Fatal(err)
				}
				b.StopTimer()
				_ = book.Close()
				b.StartTimer()
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(n), "µs/record")
		})
	}
}
