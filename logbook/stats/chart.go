package stats

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// The constants of a chart of single values, whose moving range is that of two: 3/d2
// and 1 + 3 d3/d2, with d2 and d3 the mean and the standard deviation of the range of
// two normal values. Usual table values.
const (
	E2 = 2.660
	D4 = 3.267
)

// FewPoints: limits from fewer points than these are called provisional (common
// practice, no source).
const FewPoints = 20

// Chart is a chart of single values in order with the chart of their moving ranges.
type Chart struct {
	N         int     `json:"n"`
	Center    float64 `json:"center"`
	MeanRange float64 `json:"mean_range"` // between one value and the next
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	RangeHigh float64 `json:"range_high"`
	Outside   []int   `json:"outside"`       // indices of values beyond the limits
	Jumps     []int   `json:"range_outside"` // indices of values farther from the one before than the limit
	Limits    bool    `json:"limits"`        // false: a single value has none
}

// Individuals gives the centre and the limits of values in order: mean ± E2 times the
// mean moving range, and D4 times that for the ranges. The limits describe the values
// they are made from. Errors: no values, or one that is no number.
func Individuals(x []float64) (Chart, error) {
	if err := usable(x); err != nil {
		return Chart{}, err
	}
	c := Chart{N: len(x), Center: stat.Mean(x, nil), Outside: []int{}, Jumps: []int{}}
	if len(x) < 2 {
		c.Low, c.High = c.Center, c.Center
		return c, nil
	}
	ranges := make([]float64, len(x)-1)
	for i := range ranges {
		ranges[i] = math.Abs(x[i+1] - x[i])
	}
	c.Limits = true
	c.MeanRange = stat.Mean(ranges, nil)
	c.Low, c.High, c.RangeHigh = c.Center-E2*c.MeanRange, c.Center+E2*c.MeanRange, D4*c.MeanRange
	slack := 1e-12 * math.Abs(c.Center) // equal values are not outside for a rounding of their mean
	for i, v := range x {
		if v < c.Low-slack || v > c.High+slack {
			c.Outside = append(c.Outside, i)
		}
		if i > 0 && ranges[i-1] > c.RangeHigh {
			c.Jumps = append(c.Jumps, i)
		}
	}
	return c, nil
}
