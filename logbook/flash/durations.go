package flash

import (
	"math"
	"slices"

	"flaskside/timers/each"
)

// Typical is a robust summary of how long one kind of work takes.
type Typical struct {
	Count   int     `json:"count"`    // durations behind it
	LeftOut int     `json:"left_out"` // durations that cannot be: not above 0, or longer than a day
	MedianS float64 `json:"median_s"` // seconds, 0 where there are none
	SpreadS float64 `json:"spread_s"` // 1.4826 × median distance from the median: the sd, were they normal
}

// longestS is the longest piece of press or bench work that is believed, seconds.
const longestS = 24 * 3600

// TypicalOf summarises durations in seconds. Half of them may be wild before the median
// moves far (1.4826 = 1/Φ⁻¹(3/4)).
func TypicalOf(seconds []float64) Typical {
	var t Typical
	xs := each.That(seconds, func(x float64) bool { return x > 0 && x <= longestS })
	t.Count, t.LeftOut = len(xs), len(seconds)-len(xs)
	if t.Count == 0 {
		return t
	}
	t.MedianS = median(xs)
	for i, x := range xs {
		xs[i] = math.Abs(x - t.MedianS)
	}
	t.SpreadS = 1.4826 * median(xs)
	return t
}

// median sorts xs, which is not empty.
func median(xs []float64) float64 {
	slices.Sort(xs)
	return (xs[(len(xs)-1)/2] + xs[len(xs)/2]) / 2
}
