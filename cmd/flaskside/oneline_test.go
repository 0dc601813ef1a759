package main

import (
	"errors"
	"testing"
)

// TestOneLine keeps an error to one line without characters that move the cursor.
func TestOneLine(t *testing.T) {
	if got, want := oneLine(errors.New("a\nb\x1b[2J\x7fc")), "a; b[2Jc"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
