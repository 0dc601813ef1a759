package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Confidence of every interval.
const Confidence = 0.95

// Share is a count out of a number, with its interval.
type Share struct {
	Count int     `json:"count"`
	N     int     `json:"n"`
	Value float64 `json:"value"` // 0 to 1; 0 of none
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Wilson gives a share with its score interval, which keeps between 0 and 1 and to
// its confidence with small numbers too: E. B. Wilson, Journal of the American
// Statistical Association 22 (1927) 209. Of nothing the interval is all from 0 to 1.
// Errors: a count below 0 or above n.
func Wilson(count, n int) (Share, error) {
	if n < 0 || count < 0 || count > n {
		return Share{}, fmt.Errorf("%d of %d is not a share: give 0 to n of n", count, n)
	}
	if n == 0 {
		return Share{High: 1}, nil
	}
	z := distuv.UnitNormal.Quantile(1 - (1-Confidence)/2)
	m, p := float64(n), float64(count)/float64(n)
	mid := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	s := Share{count, n, p, (mid - half) / (1 + z*z/m), (mid + half) / (1 + z*z/m)}
	// What is exact on paper is not to the last bit.
	s.Low, s.High = min(max(s.Low, 0), p), max(min(s.High, 1), p)
	if count == 0 {
		s.Low = 0
	}
	if count == n {
		s.High = 1
	}
	return s, nil
}

// Interval of a figure.
type Interval struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Newcombe gives the difference of two shares, the first less the second, with the
// interval made of their score intervals: method 10 of R. G. Newcombe, Statistics in
// Medicine 17 (1998) 873.
func Newcombe(a, b Share) Interval {
	d := a.Value - b.Value
	return Interval{d,
		max(-1, d-math.Hypot(a.Value-a.Low, b.High-b.Value)),
		min(1, d+math.Hypot(a.High-a.Value, b.Value-b.Low))}
}
