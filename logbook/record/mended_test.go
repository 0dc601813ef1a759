package record

import (
	"strings"
	"testing"
)

// A hash that is too long is refused, not a panic: one spoilt digit count in a book
// must not end the program.
func TestLongHash(t *testing.T) {
	var h Hash
	if err := h.UnmarshalText([]byte(strings.Repeat("0", 66))); err == nil {
		t.Error("66 digits were taken for a hash")
	}
	if _, err := Decode([]byte(strings.Replace(goldenOne, goldenGenesis, goldenGenesis+"00", 1))); err == nil {
		t.Error("a record with a long hash was taken")
	}
}
