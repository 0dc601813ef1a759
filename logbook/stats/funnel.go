package stats

import (
	"fmt"

	"gonum.org/v1/gonum/stat/distuv"
)

// Levels of the limits of a funnel plot: those of D. J. Spiegelhalter, Funnel plots for
// comparing institutional performance, Statistics in Medicine 24 (2005) 1185.
const (
	FunnelInner = 0.95
	FunnelOuter = 0.998
)

// Limits are the counts of n between which chance alone keeps a share that is the same
// everywhere, at the two levels of a funnel plot: exact binomial ones, so that a count outside
// has a one-sided probability of at most half of what is left out.
type Limits struct {
	N         int     `json:"n"`
	Share     float64 `json:"share"` // that is the same everywhere
	InnerLow  int     `json:"inner_low"`
	InnerHigh int     `json:"inner_high"`
	OuterLow  int     `json:"outer_low"`
	OuterHigh int     `json:"outer_high"`
}

// Funnel gives the limits for n of a share. Errors: n below 1, a share outside 0 to 1.
func Funnel(n int, share float64) (Limits, error) {
	if n < 1 || !(share >= 0 && share <= 1) {
		return Limits{}, fmt.Errorf("a share of %g of %d has no limits: give 0 to 1 of at least 1", share, n)
	}
	l := Limits{N: n, Share: share}
	l.InnerLow, l.InnerHigh = between(n, share, (1-FunnelInner)/2)
	l.OuterLow, l.OuterHigh = between(n, share, (1-FunnelOuter)/2)
	return l, nil
}

// between gives the counts whose tails, the count itself included, are more probable than tail.
func between(n int, p, tail float64) (low, high int) {
	switch p {
	case 0:
		return 0, 0
	case 1:
		return n, n
	}
	d := distuv.Binomial{N: float64(n), P: p}
	up := distuv.Binomial{N: float64(n), P: 1 - p} // the upper tail as a lower one, so that it keeps its digits
	for low = 0; low < n && d.CDF(float64(low)) <= tail; low++ {
	}
	for high = n; high > 0 && up.CDF(float64(n-high)) <= tail; high-- {
	}
	return low, high
}

// Beyond is the level that a count lies outside of: [FunnelOuter], [FunnelInner], or 0 for
// none.
func (l Limits) Beyond(count int) float64 {
	switch {
	case count < l.OuterLow || count > l.OuterHigh:
		return FunnelOuter
	case count < l.InnerLow || count > l.InnerHigh:
		return FunnelInner
	}
	return 0
}
