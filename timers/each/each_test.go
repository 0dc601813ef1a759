package each_test

import (
	"slices"
	"strconv"
	"testing"

	"flaskside/timers/each"
)

func TestEach(t *testing.T) {
	even := func(n int) bool { return n%2 == 0 }
	for _, c := range []struct {
		all      []int
		texts    []string
		that     []int
		first    int
		anything bool
	}{
		{nil, nil, nil, 0, false},
		{[]int{1, 3}, []string{"1", "3"}, nil, 0, false},
		{[]int{1, 4, 3, 2}, []string{"1", "4", "3", "2"}, []int{4, 2}, 4, true},
	} {
		if got := each.Of(c.all, strconv.Itoa); !slices.Equal(got, c.texts) || (got == nil) != (len(c.all) == 0) {
			t.Errorf("Of(%v) = %#v, want %#v", c.all, got, c.texts)
		}
		if got := each.That(c.all, even); !slices.Equal(got, c.that) || (got == nil) != (c.that == nil) {
			t.Errorf("That(%v) = %#v, want %#v", c.all, got, c.that)
		}
		if got := each.Count(c.all, even); got != len(c.that) {
			t.Errorf("Count(%v) = %d, want %d", c.all, got, len(c.that))
		}
		if got, ok := each.First(c.all, even); got != c.first || ok != c.anything {
			t.Errorf("First(%v) = %d, %v, want %d, %v", c.all, got, ok, c.first, c.anything)
		}
	}
}

func TestFalseFirst(t *testing.T) {
	all := []bool{true, false, true, false}
	slices.SortFunc(all, each.FalseFirst)
	if !slices.Equal(all, []bool{false, false, true, true}) || each.FalseFirst(true, true) != 0 || each.FalseFirst(false, false) != 0 {
		t.Errorf("in order: %v", all)
	}
}
