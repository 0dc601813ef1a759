// Package stats is the little statistics of a small workshop: shares with their
// intervals, two by two tables, and charts of single values in order. It is pure.
//
// [Wilson] gives the interval of a share, [Newcombe] that of the difference of two,
// [Fisher] the exact probability of a table, [Describe] the middle and the spread of
// values, [Individuals] the limits of a chart. Nothing here decides anything: a
// figure comes with how little or how much stands behind it.
package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// largest is the largest magnitude of a value, so that sums and squares stay finite.
const largest = 1e12

// errNoValues: nothing was given.
var errNoValues = errors.New("there are no values")

func usable(x []float64) error {
	if len(x) == 0 {
		return errNoValues
	}
	for i, v := range x {
		if math.IsNaN(v) || math.Abs(v) > largest {
			return fmt.Errorf("value %d is %g: it must be a number of at most %g", i+1, v, largest)
		}
	}
	return nil
}

// Summary is the middle and the spread of values, in their unit.
type Summary struct {
	N      int     `json:"n"`
	Mean   float64 `json:"mean"`
	SD     float64 `json:"sd"` // of a sample, n - 1; 0 of a single value
	Median float64 `json:"median"`
	Q1     float64 `json:"q1"` // the quartiles
	Q3     float64 `json:"q3"`
	Min    float64 `json:"min"`
	Max    float64 `json:"max"`
}

// Describe summarises values in any order; they are left as they are. Errors: no
// values, or one that is no number.
func Describe(x []float64) (Summary, error) {
	if err := usable(x); err != nil {
		return Summary{}, err
	}
	s := slices.Sorted(slices.Values(x))
	out := Summary{N: len(s), Mean: s[0], Median: quantile(s, 0.5), Q1: quantile(s, 0.25), Q3: quantile(s, 0.75), Min: s[0], Max: s[len(s)-1]}
	if len(s) > 1 {
		out.Mean, out.SD = stat.MeanStdDev(s, nil)
	}
	return out, nil
}

// quantile of sorted values by linear interpolation between order statistics, type 7
// of Hyndman and Fan, The American Statistician 50 (1996) 361 (from memory): the one
// that R takes by itself.
func quantile(sorted []float64, p float64) float64 {
	h := p * float64(len(sorted)-1)
	i := int(h)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}
