package stats

import (
	"math"
	"math/big"
	"slices"
	"strings"
	"testing"
)

// Every table of up to fourteen, in whole numbers: what counts as equally improbable is told
// by them and not by rounding.
func TestFisherTiesInWholeNumbers(t *testing.T) {
	choose := func(n, k int) *big.Int { return new(big.Int).Binomial(int64(n), int64(k)) }
	for n := 1; n <= 14; n++ {
		for row := 0; row <= n; row++ {
			for col := 0; col <= n; col++ {
				for a := max(0, row+col-n); a <= min(row, col); a++ {
					ways := func(i int) *big.Int { return new(big.Int).Mul(choose(col, i), choose(n-col, row-i)) }
					here, two := ways(a), new(big.Int)
					for i := max(0, row+col-n); i <= min(row, col); i++ {
						if w := ways(i); w.Cmp(here) <= 0 {
							two.Add(two, w)
						}
					}
					want, _ := new(big.Rat).SetFrac(two, choose(n, row)).Float64()
					e, err := Fisher(a, row-a, col-a, n-row-col+a)
					if err != nil || math.Abs(e.Two-want) > 1e-9 {
						t.Fatalf("%d of %d, %d of %d: two-sided %.12f, want %.12f (%v)", a, row, col, n, e.Two, want, err)
					}
				}
			}
		}
	}
}

// A value a tenth of a moving range past the limit is outside, one a tenth within is not.
func TestLimitOfAChartIsSharp(t *testing.T) {
	x := make([]float64, 40)
	for i := range x {
		x[i] = float64(i % 2)
	}
	for _, c := range []struct {
		at   float64 // from the centre, in mean moving ranges
		want []int
	}{{E2 + 0.1, []int{39}}, {E2 - 0.1, []int{}}, {-E2 - 0.1, []int{39}}, {-E2 + 0.1, []int{}}} {
		// The last value moves centre and range itself: walk to where it stands as asked.
		for range 200 {
			got, err := Individuals(x)
			if err != nil {
				t.Fatal(err)
			}
			x[39] += 0.5 * (got.Center + c.at*got.MeanRange - x[39])
		}
		got, err := Individuals(x)
		if err != nil || !slices.Equal(got.Outside, c.want) {
			t.Errorf("%.2f moving ranges from the centre: outside %v, want %v (%v)", (x[39]-got.Center)/got.MeanRange, got.Outside, c.want, err)
		}
	}
}

// The largest value that is taken is taken, with either sign; the next is refused, and named.
func TestValuesAreTakenUpToTheLargest(t *testing.T) {
	if err := usable([]float64{largest, -largest}); err != nil {
		t.Error(err)
	}
	for _, v := range []float64{math.Nextafter(largest, math.Inf(1)), -2 * largest, math.NaN(), math.Inf(1)} {
		if err := usable([]float64{1, 2, v}); err == nil || !strings.Contains(err.Error(), "value 3 is") {
			t.Errorf("%g: %v", v, err)
		}
	}
}

// Equal values lie on the limits of their chart and not outside, of any size; of others the
// limit itself is inside.
func TestOnTheLimitIsInside(t *testing.T) {
	for _, v := range []float64{0, 0.1, 1e-9, 123456.789, -1e9 / 3} {
		x := make([]float64, 7)
		for i := range x {
			x[i] = v
		}
		c, err := Individuals(x)
		if err != nil || len(c.Outside) != 0 || len(c.Jumps) != 0 {
			t.Errorf("seven times %g: %+v, %v", v, c, err)
		}
	}
}

// The largest table is taken, one more is refused: a single count by itself, the sum as the table's.
func TestTablesAreTakenUpToTheLargest(t *testing.T) {
	if _, err := Fisher(maxTable, 0, 0, 0); err != nil {
		t.Error(err)
	}
	if _, err := Fisher(maxTable+1, 0, 0, 0); err == nil || !strings.Contains(err.Error(), "not 10000001") {
		t.Errorf("one count too large: %v", err)
	}
	if _, err := Fisher(maxTable, 1, 0, 0); err == nil || !strings.Contains(err.Error(), "a table of more than") {
		t.Errorf("too large a sum: %v", err)
	}
}

// The least value that margins allow, in whole numbers: both ends where they are as improbable, also of two tables.
func TestLeastOfMarginsInWholeNumbers(t *testing.T) {
	choose := func(n, k int) *big.Int { return new(big.Int).Binomial(int64(n), int64(k)) }
	for n := 1; n <= 60; n++ {
		for row := 0; row <= n; row += 1 + n/14 {
			for col := 0; col <= n; col += 1 + n/14 {
				ways := func(i int) *big.Int { return new(big.Int).Mul(choose(col, i), choose(n-col, row-i)) }
				lo, hi := max(0, row+col-n), min(row, col)
				first, last := ways(lo), ways(hi)
				least := new(big.Int).Set(first)
				switch c := first.Cmp(last); {
				case hi > lo && c == 0:
					least.Add(first, last)
				case c > 0:
					least = last
				}
				want, _ := new(big.Rat).SetFrac(least, choose(n, row)).Float64()
				e, err := Fisher(lo, row-lo, col-lo, n-row-col+lo)
				if err != nil || math.Abs(e.Least/want-1) > 1e-9 {
					t.Fatalf("%d of %d, %d of %d: least %.12g, want %.12g (%v)", lo, row, col, n, e.Least, want, err)
				}
			}
		}
	}
}

// Rounding is borne by a millionth of a millionth of the centre and no more.
func TestBeyondALimitByLittleIsOutside(t *testing.T) {
	x := make([]float64, 40)
	for i := range x {
		x[i] = 1e6 + float64(i%2)
	}
	x[39] += 2.5 // its limit moves with it, and stays half a unit behind
	got, err := Individuals(x)
	if over := x[39] - got.High; err != nil || over <= 0 || over >= 1 || !slices.Equal(got.Outside, []int{39}) {
		t.Errorf("%g past the limit of %+v, %v", over, got, err)
	}
}
