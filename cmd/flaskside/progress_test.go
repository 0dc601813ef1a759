package main

import (
	"strings"
	"testing"
)

// How far a long input is stands on one line that is gone in the end.
func TestProgressOfALongInput(t *testing.T) {
	var out strings.Builder
	tell := progress(&out)
	for _, p := range [][2]int{{0, 0}, {1000, 0}, {12000, 0}, {4000, 12500}, {8000, 12500}, {12500, 12500}} {
		tell(p[0], p[1])
	}
	want := "\r1000 checked\r12000 checked\r4000 of 12500 recorded\r8000 of 12500 recorded\r" + strings.Repeat(" ", len("8000 of 12500 recorded")) + "\r"
	if out.String() != want {
		t.Errorf("%q, want %q", out.String(), want)
	}
	out.Reset()
	if tell := progress(&out); true {
		tell(0, 0)
		tell(40, 40)
	}
	if out.String() != "" {
		t.Errorf("of an input that is over at once: %q", out.String())
	}
}
