package stats

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// TestFunnelTable holds the limits to the printed tables of the cumulative binomial
// distribution (n = 20: p = 0.10 gives 0.1216, 0.3917, 0.6769, 0.8670, 0.9568, 0.9887, 0.9976,
// 0.9996 for 0 to 7; p = 0.50 gives 0.0002, 0.0013, 0.0059, 0.0207, 0.0577 for 2 to 6).
func TestFunnelTable(t *testing.T) {
	// p = 0.10: P(X>=5) = 0.0432 and P(X>=6) = 0.0113; P(X>=7) = 0.0024, P(X>=8) = 0.0004.
	l, err := Funnel(20, 0.1)
	if want := (Limits{20, 0.1, 0, 5, 0, 7}); err != nil || l != want {
		t.Errorf("%+v, %v, want %+v", l, err, want)
	}
	// p = 0.50 is even about 10.
	l, err = Funnel(20, 0.5)
	if want := (Limits{20, 0.5, 6, 14, 3, 17}); err != nil || l != want {
		t.Errorf("%+v, %v, want %+v", l, err, want)
	}
	for _, c := range []struct {
		count int
		level float64
	}{{2, FunnelOuter}, {3, FunnelInner}, {5, FunnelInner}, {6, 0}, {14, 0}, {15, FunnelInner}, {18, FunnelOuter}} {
		if got := l.Beyond(c.count); got != c.level {
			t.Errorf("%d lies beyond %g, want %g", c.count, got, c.level)
		}
	}
	for _, c := range []struct {
		n int
		p float64
	}{{0, 0.5}, {-1, 0.5}, {5, -0.1}, {5, 1.1}, {5, math.NaN()}} {
		if _, err := Funnel(c.n, c.p); err == nil {
			t.Errorf("%g of %d has limits", c.p, c.n)
		}
	}
}

// TestFunnelExact: the limits are those of the exact tails in whole numbers, and the inner ones
// lie within the outer.
func TestFunnelExact(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 120).Draw(rt, "n")
		k := rapid.IntRange(0, 16).Draw(rt, "p")
		l, err := Funnel(n, float64(k)/16)
		if err != nil {
			rt.Fatal(err)
		}
		// C(n,i) k^i (16-k)^(n-i) out of 16^n.
		all := new(big.Int).Exp(big.NewInt(16), big.NewInt(int64(n)), nil)
		tail := func(from, to int) *big.Rat {
			sum := new(big.Int)
			for i := from; i <= to; i++ {
				x := new(big.Int).Binomial(int64(n), int64(i))
				x.Mul(x, new(big.Int).Exp(big.NewInt(int64(k)), big.NewInt(int64(i)), nil))
				x.Mul(x, new(big.Int).Exp(big.NewInt(int64(16-k)), big.NewInt(int64(n-i)), nil))
				sum.Add(sum, x)
			}
			return new(big.Rat).SetFrac(sum, all)
		}
		for _, c := range []struct {
			low, high int
			tail      *big.Rat
		}{{l.InnerLow, l.InnerHigh, big.NewRat(1, 40)}, {l.OuterLow, l.OuterHigh, big.NewRat(1, 1000)}} {
			if tail(0, c.low).Cmp(c.tail) <= 0 || c.low > 0 && tail(0, c.low-1).Cmp(c.tail) > 0 {
				rt.Fatalf("the lower limit %d of %d at %d/16 is not exact", c.low, n, k)
			}
			if tail(c.high, n).Cmp(c.tail) <= 0 || c.high < n && tail(c.high+1, n).Cmp(c.tail) > 0 {
				rt.Fatalf("the upper limit %d of %d at %d/16 is not exact", c.high, n, k)
			}
		}
		if l.OuterLow > l.InnerLow || l.OuterHigh < l.InnerHigh {
			rt.Fatal("the inner limits lie outside")
		}
	})
}
