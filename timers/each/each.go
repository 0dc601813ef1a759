// Package each does the same with each of a list: what a loop of three lines says in one word.
package each

import "slices"

// Of gives f of each, nil of none.
func Of[T, U any](all []T, f func(T) U) []U {
	if len(all) == 0 {
		return nil
	}
	out := make([]U, len(all))
	for i, x := range all {
		out[i] = f(x)
	}
	return out
}

// That gives those of which it is so, nil where there is none.
func That[T any](all []T, is func(T) bool) []T {
	var out []T
	for _, x := range all {
		if is(x) {
			out = append(out, x)
		}
	}
	return out
}

// Count says of how many it is so.
func Count[T any](all []T, is func(T) bool) int {
	n := 0
	for _, x := range all {
		if is(x) {
			n++
		}
	}
	return n
}

// FalseFirst compares two of which it is so or not, as [cmp.Compare] does: those of which it is not stand first.
func FalseFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// First finds the first of which it is so.
func First[T any](all []T, is func(T) bool) (found T, ok bool) {
	if i := slices.IndexFunc(all, is); i >= 0 {
		return all[i], true
	}
	return found, false
}
