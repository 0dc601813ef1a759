package flash

import (
	"math"
	"sync"
)

// lnRoot2Pi is ln √(2π).
const lnRoot2Pi = 0.918938533204672741780329736406

// normCDF is the standard normal distribution function.
func normCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// logNormCDF is its natural log, finite for any finite z. Far in the tail, where erfc
// would underflow, by the asymptotic series of the Mills ratio (Abramowitz and Stegun
// 26.2.12, from memory).
func logNormCDF(z float64) float64 {
	if z > -25 {
		return math.Log(normCDF(z))
	}
	q := 1 / (z * z)
	return -z*z/2 - math.Log(-z) - lnRoot2Pi + math.Log1p(q*(-1+q*(3+q*(-15+q*105))))
}

// logNormBetween is ln of the normal probability between lo and hi, lo < hi, without loss
// in either tail.
func logNormBetween(lo, hi float64) float64 {
	if lo > 0 {
		lo, hi = -hi, -lo
	}
	top := logNormCDF(hi)
	return top + math.Log1p(-math.Exp(logNormCDF(lo)-top))
}

// The table of the normal distribution function: cubic Hermite between points 1/64 apart,
// relative error below 1e-8 to z = −3 and 3e-6 at z = −12, eight times as fast as erfc.
// Past its ends the function is 0 or 1 to within 2e-33 and 2e-19.
const (
	tableLo  = -12
	tableHi  = 9
	tableInv = 64
)

// normTable holds a cubic for each step.
type normTable [(tableHi - tableLo) * tableInv]cubic

// cubic has its coefficients, lowest power first.
type cubic [4]float64

func (c *cubic) at(u float64) float64 { return c[0] + u*(c[1]+u*(c[2]+u*c[3])) }

// hermite fills a table of cubics, each from one point to the next with the values and slopes there.
func hermite(t []cubic, at func(i int) (value, slope float64)) {
	for i := range t {
		v0, s0 := at(i)
		v1, s1 := at(i + 1)
		d := v1 - v0
		t[i] = cubic{v0, s0, 3*d - 2*s0 - s1, s0 + s1 - 2*d}
	}
}

// sharedTable is a constant, worked out when first asked for.
var sharedTable = sync.OnceValue(func() *normTable {
	at := func(i int) (value, slope float64) {
		z := float64(i)/tableInv + tableLo
		return normCDF(z), math.Exp(-z*z/2-lnRoot2Pi) / tableInv
	}
	var t normTable
	hermite(t[:], at)
	return &t
})

// cdf is normCDF from the table.
func (t *normTable) cdf(z float64) float64 {
	at := (z - tableLo) * tableInv
	k := int(at)
	if uint(k) < uint(len(t)) {
		return t[k].at(at - float64(k))
	}
	if z > 0 {
		return 1
	}
	return 0
}

// between is the normal probability between lo and hi, lo < hi, taken in the lower tail,
// where it keeps its digits.
func (t *normTable) between(lo, hi float64) float64 {
	if lo > 0 {
		lo, hi = -hi, -lo
	}
	return math.Max(t.cdf(hi)-t.cdf(lo), 0)
}
