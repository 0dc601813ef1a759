package flash

import "fmt"

// Grade of the flash seen at a trial closure. The zero Grade is no grade at all. The
// numbers are the keys of the bench.
type Grade uint8

// The grades, least flash first.
const (
	None Grade = iota + 1
	Slight
	Heavy
)

var gradeNames = [...]string{None: "none", Slight: "slight", Heavy: "heavy"}

// Valid says whether g is one of the three grades.
func (g Grade) Valid() bool { return g >= None && g <= Heavy }

// String is the grade in a word.
func (g Grade) String() string {
	if !g.Valid() {
		return "no grade"
	}
	return gradeNames[g]
}

// ParseGrade reads none, slight or heavy.
func ParseGrade(s string) (Grade, error) {
	for g := None; g <= Heavy; g++ {
		if gradeNames[g] == s {
			return g, nil
		}
	}
	return 0, fmt.Errorf("%.20q is not a grade of flash: it is none, slight or heavy", s)
}

// MarshalText writes the word; it fails for a Grade that is none of the three.
func (g Grade) MarshalText() ([]byte, error) {
	if !g.Valid() {
		return nil, fmt.Errorf("grade %d is not a grade of flash: it is none, slight or heavy", uint8(g))
	}
	return []byte(gradeNames[g]), nil
}

// UnmarshalText reads the word.
func (g *Grade) UnmarshalText(b []byte) error {
	v, err := ParseGrade(string(b))
	if err != nil {
		return err
	}
	*g = v
	return nil
}

// Size of a base.
type Size string

// The sizes of a base.
const (
	Small  Size = "small"
	Medium Size = "medium"
	Large  Size = "large"
)

// Sizes lists the sizes, smallest first.
func Sizes() []Size { return []Size{Small, Medium, Large} }

// ParseSize reads small, medium or large.
func ParseSize(s string) (Size, error) {
	switch z := Size(s); z {
	case Small, Medium, Large:
		return z, nil
	}
	return "", fmt.Errorf("%.20q is not a size of base: it is small, medium or large", s)
}
