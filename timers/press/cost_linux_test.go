package press

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// processorTime of this process so far, which what else runs on the machine hardly changes.
func processorTime() time.Duration {
	var u unix.Rusage
	_ = unix.Getrusage(unix.RUSAGE_SELF, &u) // of itself it never fails
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// freshBenches are benches on which nothing was done yet: one to three mixes with 12 to 45 minutes left, sizes as they
// come.
func freshBenches(flasks, n int) [][]Job {
	rng := rand.New(rand.NewPCG(11, uint64(flasks)))
	sizes := house()
	out := make([][]Job, n)
	for k := range out {
		mixes := 1 + rng.IntN(3)
		due := make([]time.Duration, mixes)
		for i := range due {
			due[i] = time.Duration(12*60+rng.IntN(33*60)) * time.Second
		}
		for i := range flasks {
			u, z := rng.Float64(), 0
			for u -= sizes[z].Share; u > 0 && z < len(sizes)-1; u -= sizes[z].Share {
				z++
			}
			out[k] = append(out[k], Job{ID: fmt.Sprint(i), Due: due[i%mixes], More: sizes[z].Totals})
		}
	}
	return out
}

// BenchmarkAdvise is one answer for a fresh bench, by the number of flasks: processor time at the median of sixty benches
// and for the one that takes most.
func BenchmarkAdvise(b *testing.B) {
	for flasks := 2; flasks <= 9; flasks++ {
		b.Run(fmt.Sprint(flasks), func(b *testing.B) {
			benches := freshBenches(flasks, 60)
			took := make([]time.Duration, 0, len(benches))
			for b.Loop() {
				took = took[:0]
				for _, jobs := range benches {
					at := processorTime()
					if _, err := Advise(jobs, houseDurations(), houseBench(), AdviceOptions{}); err != nil {
						b.Fatal(err)
					}
					took = append(took, processorTime()-at)
				}
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "ms-median")
			b.ReportMetric(float64(took[len(took)-1].Microseconds())/1000, "ms-most")
		})
	}
}
