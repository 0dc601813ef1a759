// Package units converts, shows and reads the quantities of the bench.
//
// Whatever the technician sees and types, one unit is stored: pressure in psi,
// temperature in degrees Celsius, time in whole seconds, mass in grams, volume
// in millilitres, length in millimetres. Conversion factors are the exact ones
// of NIST Special Publication 811 (2008), appendix B.
//
// The Parse functions read what a person types: a number, with or without a
// unit, where the unit in use stands in for one left out. The decimal sign is a
// point or a comma; a comma that could as well part thousands ("3,000") is
// refused, for to guess wrong is to be wrong by a thousand. They never return
// NaN or an infinity and refuse what no bench could mean. The Format functions
// show as many digits as the instrument can carry, and "?" for a value that is
// not a finite number.
//
// The package is pure: no clock, disk or screen.
package units

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// maxTyped bounds, in bytes, what any Parse function looks at: far more than a
// person types into one field, far less than could cost time.
const maxTyped = 64

// scale is one unit a person may type for a quantity.
type scale struct {
	names  []string // lower case
	factor float64  // stored = (typed - offset) * factor
	offset float64
}

// quantity says how one kind of value is typed and what the bench can mean.
type quantity struct {
	name     string // "pressure"
	unit     string // stored unit, as shown in errors
	scales   []scale
	min, max float64 // in the stored unit
	example  string
}

// parse reads s as a number with an optional unit, def standing in for a
// missing one, and returns the value in the stored unit.
func (q quantity) parse(s, def string) (float64, error) {
	typed, err := clean(s)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", q.name, err)
	}
	if typed == "" {
		return 0, fmt.Errorf("%s: nothing typed; type for example %s", q.name, q.example)
	}
	num, unit := splitNumber(typed)
	v, err := number(num)
	if err != nil {
		return 0, fmt.Errorf("%s %q: %w; type for example %s", q.name, typed, err, q.example)
	}
	unit = strings.TrimSpace(unit)
	unit = cmp.Or(unit, def)
	sc, ok := q.scale(unit)
	if !ok {
		return 0, fmt.Errorf("%s %q: unit %q is not known; use one of %s", q.name, typed, unit, q.unitNames())
	}
	stored := (v - sc.offset) * sc.factor
	if stored < q.min || stored > q.max {
		return 0, fmt.Errorf("%s %q is %s %s, outside %s to %s %s: check the number and its unit",
			q.name, typed, trimmed(stored, 1), q.unit, trimmed(q.min, 1), trimmed(q.max, 1), q.unit)
	}
	return stored, nil
}

func (q quantity) scale(unit string) (scale, bool) {
	unit = strings.ToLower(unit)
	for _, sc := range q.scales {
		if slices.Contains(sc.names, unit) {
			return sc, true
		}
	}
	return scale{}, false
}

// unitNames lists the first name of every unit.
func (q quantity) unitNames() string {
	names := make([]string, len(q.scales))
	for i, sc := range q.scales {
		names[i] = sc.names[0]
	}
	return strings.Join(names, ", ")
}

// Bare tells whether what was typed is a number without a unit.
func Bare(s string) bool {
	s, err := clean(s)
	if err != nil {
		return false
	}
	num, unit := splitNumber(s)
	return num != "" && strings.TrimSpace(unit) == ""
}

// clean trims s, makes a typographic minus and a no-break space plain ones, and
// refuses what is too long or not text.
func clean(s string) (string, error) {
	if len(s) > maxTyped {
		return "", fmt.Errorf("%d bytes typed, at most %d are read", len(s), maxTyped)
	}
	if !utf8.ValidString(s) {
		return "", fmt.Errorf("not valid UTF-8 text")
	}
	s = strings.NewReplacer("\u2212", "-", "\u00a0", " ", "\u202f", " ").Replace(s)
	return strings.TrimSpace(s), nil
}

// splitNumber cuts s where the leading number ends.
func splitNumber(s string) (num, rest string) {
	end := len(s)
	for i := range len(s) {
		c := s[i]
		if (c < '0' || c > '9') && c != '.' && c != ',' && !(i == 0 && (c == '-' || c == '+')) {
			end = i
			break
		}
	}
	return s[:end], s[end:]
}

// number reads digits with at most one decimal sign. Exponents, hexadecimal,
// "inf" and "nan" are no numbers here: nobody types them at a bench on purpose.
func number(s string) (float64, error) {
	digits := strings.TrimLeft(s, "+-")
	if strings.Trim(digits, ".,") == "" {
		return 0, fmt.Errorf("no number found")
	}
	if strings.Count(s, ".")+strings.Count(s, ",") > 1 {
		return 0, fmt.Errorf("more than one decimal sign")
	}
	if whole, part, ok := strings.Cut(digits, ","); ok {
		if len(part) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole[0] != '0' {
			return 0, fmt.Errorf("%s may mean %s%s or %s.%s: leave the comma out, or use a point", s, whole, part, whole, part)
		}
		s = strings.Replace(s, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("not a number")
	}
	return v, nil
}

// trimmed shows v with at most the given decimals, without trailing zeros and
// without a negative zero; "?" for NaN and infinities.
func trimmed(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// Plain reads a number as programs write it, with a decimal point; spellings such as "inf", "0x10" or "1_000" are refused.
func Plain(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if text == "" || strings.Trim(text, "0123456789.+-eE") != "" {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	return v, nil
}
