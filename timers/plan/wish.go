package plan

import (
	"errors"
	"fmt"
	"slices"
)

// Wish is what a person chose: it stays as it is, and the rest is planned around it.
type Wish struct {
	First    []int   // cases that are mixed for first, in this order
	Together [][]int // cases that share a mix, and share it with no other
}

// rank is the place of a case among those to be mixed for first; all others come behind them. A case that shares a mix
// with one of them comes with it.
func (w *Wish) rank(i int) int {
	best := len(w.First)
	of := []int{i}
	if g := w.with(i); g != nil {
		of = g
	}
	for _, j := range of {
		if k := slices.Index(w.First, j); k >= 0 {
			best = min(best, k)
		}
	}
	return best
}

// with are the cases that share a mix with one by a person's choice, nil for none.
func (w *Wish) with(i int) []int {
	for _, g := range w.Together {
		if slices.Contains(g, i) {
			return g
		}
	}
	return nil
}

// names tells whether a case is spoken of.
func (w *Wish) names(i int) bool { return slices.Contains(w.First, i) || w.with(i) != nil }

// check says what of a choice cannot be.
func (w *Wish) check(cases []Case) error {
	seen := map[int]bool{}
	in := func(i int) error {
		switch {
		case i < 0 || i >= len(cases):
			return fmt.Errorf("a choice names case %d of %d", i, len(cases))
		case cases[i].mixed():
			return fmt.Errorf("a choice names case %d, which has its dough already", i)
		}
		return nil
	}
	for _, i := range w.First {
		if err := in(i); err != nil {
			return err
		}
	}
	for _, g := range w.Together {
		if len(g) == 0 || len(g) > MaxMix {
			return fmt.Errorf("a mix chosen for %d cases: want 1 to %d", len(g), MaxMix)
		}
		for _, i := range g {
			if err := in(i); err != nil {
				return err
			}
			if seen[i] {
				return errors.New("a case is in two mixes chosen")
			}
			if seen[i] = true; cases[i].Resin != cases[g[0]].Resin {
				return errors.New("a mix chosen for two resins")
			}
		}
	}
	return nil
}
