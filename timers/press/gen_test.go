package press

import (
	"strconv"
	"time"

	"pgregory.net/rapid"
)

// genSeconds draws evenly, which rapid's ranges do not.
func genSeconds(t *rapid.T, from, to int, name string) time.Duration {
	all := make([]time.Duration, to-from+1)
	for i := range all {
		all[i] = time.Duration(from+i) * time.Second
	}
	return rapid.SampledFrom(all).Draw(t, name)
}

// genJobs draws a bench of up to nine flasks, not always a likely one.
func genJobs(t *rapid.T) []Job {
	n := rapid.SampledFrom([]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}).Draw(t, "flasks") // evenly; a range leans to few
	jobs := make([]Job, n)
	for i := range jobs {
		jobs[i] = Job{
			ID:       strconv.Itoa(i),
			Progress: rapid.SampledFrom([]Progress{Waiting, Waiting, Waiting, Rising, Holding, Opening, Untrimmed, Trimming, Closing}).Draw(t, "stage"),
			Until:    genSeconds(t, -200, 200, "until"),
			From:     genSeconds(t, -100, 600, "from"),
			Due:      genSeconds(t, -300, 3000, "due"),
			Ready:    rapid.Bool().Draw(t, "ready"),
			More:     rapid.SliceOfN(rapid.Float64Range(0.001, 1), 1, 8).Draw(t, "more"),
		}
	}
	return jobs
}

func genBench(t *rapid.T) Capacity {
	return Capacity{rapid.IntRange(1, 3).Draw(t, "presses"), rapid.IntRange(1, 3).Draw(t, "hands")}
}
