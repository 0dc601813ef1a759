package logbook

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

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

// BenchmarkLongInputInParts records one long input in parts: flasks that come and go, and notes that all live on one
// flask. The aim is that the processor time for a record does not grow with how many there are.
func BenchmarkLongInputInParts(b *testing.B) {
	for _, one := range []bool{false, true} {
		for _, n := range []int{50_000, 200_000} {
			b.Run(fmt.Sprintf("%s/%d", map[bool]string{false: "come and go", true: "on one flask"}[one], n), func(b *testing.B) {
				var cost time.Duration
				for b.Loop() {
					ck := simclock.At(start.Add(time.Duration(n)*time.Second), "boot-1")
					book, err := Open(filepath.Join(inMemory(b), "bench.db"), ck)
					if err != nil {
						b.Fatal(err)
					}
					began := costOf(b)
					told, err := book.AppendLong(func(yield func(action.Action, error) bool) {
						for i := range n {
							body, flask := action.Body(nil), 1+i/40
							if one {
								flask = 1
							}
							switch {
							case i == 0 || i%40 == 0 && !one:
								body = action.FlaskOpen{Place: 1, Case: fmt.Sprint(i), Base: "upper", Size: "medium"}
							case i%40 == 39 && !one:
								body = action.Outcome{Flask: flask, Outcome: "remake"}
							default:
								body = action.Note{Flask: flask, Text: "nothing out of the ordinary"}
							}
							if !yield(action.Action{ID: fmt.Sprint("n", i), At: start.Add(time.Duration(i) * time.Second), By: "KT", Why: "5", Body: body}, nil) {
								return
							}
						}
					})
					cost += costOf(b) - began
					if err != nil || told.Recorded != n {
						b.Fatal(told.Recorded, err)
					}
					_ = book.Close() // thrown away
				}
				b.ReportMetric(float64(cost.Nanoseconds())/float64(b.N)/float64(n)/1e3, "cpu-µs/record")
			})
		}
	}
}
