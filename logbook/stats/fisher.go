package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/combin"
)

// maxTable is the largest sum of a two by two table.
const maxTable = 10_000_000

// Exact is what Fisher's exact test says of a table
//
//	a b
//	c d
//
// with its margins held: how probable tables are that lie as far out as this one, if
// rows and columns had nothing to do with each other.
type Exact struct {
	Two     float64 `json:"p"`       // two-sided: all tables no more probable than this one
	Greater float64 `json:"greater"` // a as large as this or larger
	Less    float64 `json:"less"`    // a as small as this or smaller
	// Least is the smallest two-sided value that any table with these margins has: where
	// it is not small, the numbers can tell nothing, whatever had come out.
	Least float64 `json:"least_p"`
}

// alike is by how much the probabilities of two tables may differ and count as the
// same, against rounding; R's fisher.test takes the same.
const alike = 1 + 1e-7

// Fisher is the exact test of R. A. Fisher, The Design of Experiments (1935), chapter
// II; two-sided by the usual sum of the small probabilities. Errors: a count below 0,
// or more than [maxTable] in all. A table with an empty margin has the value 1.
func Fisher(a, b, c, d int) (Exact, error) {
	for _, n := range []int{a, b, c, d} {
		if n < 0 || n > maxTable {
			return Exact{}, fmt.Errorf("a table holds counts of 0 to %d, not %d", maxTable, n)
		}
	}
	row, col, n := a+b, a+c, a+b+c+d
	if n > maxTable {
		return Exact{}, fmt.Errorf("a table of more than %d is too large", maxTable)
	}
	lo, hi := max(0, row+col-n), min(row, col)
	choose := func(n, k int) float64 { return combin.LogGeneralizedBinomial(float64(n), float64(k)) }
	all := choose(n, row)
	p := make([]float64, hi-lo+1)
	sum := 0.0
	for i := range p {
		p[i] = math.Exp(choose(col, lo+i) + choose(n-col, row-lo-i) - all)
		sum += p[i]
	}
	var e Exact
	here := p[a-lo]
	for i, q := range p {
		if q <= here*alike {
			e.Two += q / sum
		}
		if lo+i >= a {
			e.Greater += q / sum
		}
		if lo+i <= a {
			e.Less += q / sum
		}
	}
	first, last := p[0], p[len(p)-1]
	e.Least = min(first, last) / sum
	if len(p) > 1 && max(first, last) <= min(first, last)*alike {
		e.Least *= 2 // both ends are as improbable
	}
	e.Two, e.Greater, e.Less = min(1, e.Two), min(1, e.Greater), min(1, e.Less)
	e.Least = min(e.Least, e.Two)
	return e, nil
}
