package main

import (
	"strings"
	"testing"
)

// How far a long input is stands on one line that is gone in the end; of a short one there
// is none.
func TestProgressOfALongInput(t *testing.T) {
	for of, want := range map[int]string{
		4999: "",
		5500: "\r0 of 5500 checked\r1000 of 5500 checked\r2000 of 5500 checked\r3000 of 5500 checked\r4000 of 5500 checked\r" + strings.Repeat(" ", len("5500 of 5500 checked")) + "\r",
	} {
		var out strings.Builder
		tell := progress(&out)
		for i := 0; i < of; i += 1000 {
			tell(i, of)
		}
		if out.String() != want {
			t.Errorf("of %d: %q, want %q", of, out.String(), want)
		}
	}
}
