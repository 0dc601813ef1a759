package lot

import (
	"cmp"
	"strings"
	"unicode"
)

// Likeness says how surely two codes name one lot.
type Likeness string

// From none to all. Alike is for a person to judge: the texts agree but for case,
// blanks and signs, or one holds the other.
const (
	Different Likeness = ""
	Alike     Likeness = "alike"
	Same      Likeness = "same"
)

// shortest is how many letters and digits a text needs to be looked for inside
// another (house default).
const shortest = 4

// Compare tells how surely two codes name one lot. A product known of both must be
// the same; one that only the one tells decides nothing.
func Compare(a, b Lot) Likeness {
	if a.GTIN != "" && b.GTIN != "" && a.GTIN != b.GTIN {
		return Different
	}
	if a.LIC != "" && b.LIC != "" && (a.LIC != b.LIC || a.Product != b.Product) {
		return Different
	}
	x, y := a.Name(), b.Name()
	if x == "" || y == "" {
		return Different
	}
	if x == y {
		return Same
	}
	x, y = squeeze(x), squeeze(y)
	switch {
	case x == "" || y == "":
		return Different
	case x == y, len(x) >= shortest && strings.Contains(y, x), len(y) >= shortest && strings.Contains(x, y):
		return Alike
	}
	return Different
}

// May tells, sooner than by reading it, whether a text may name a lot: where it says no, the text
// is [Different]. What a code names stands in it, letter by letter.
func (l Lot) May(text string) bool {
	x, y := squeeze(l.Name()), squeeze(text)
	if x == "" || strings.Contains(y, x) {
		return true
	}
	for i := 0; i+shortest <= len(x); i++ { // a part of it, then
		if strings.Contains(y, x[i:i+shortest]) {
			return true
		}
	}
	return false
}

// Name is what a lot is looked up by: its lot, else its serial.
func (l Lot) Name() string {
	return cmp.Or(l.Lot, l.Serial)
}

// squeeze leaves letters and digits, capitals alone.
func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, s)
}
