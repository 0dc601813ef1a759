package lot

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// hibcCode is a HIBC code taken apart as far as [join] and [Lot.Entry] need it.
type hibcCode struct {
	primary   string // + labeler, product and unit, without the check character
	secondary string // what stands behind the / of a combined code
	check     byte   // check character as read
	link      byte   // of a secondary code by itself, else 0
}

// hibcChars are the characters in order of their values, 0 to 42 (ANSI/HIBC 2.6,
// Appendix B; the same as those of Code 39, ISO/IEC 16388).
const hibcChars = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"

// checkChar gives the check character of a HIBC code, which begins with +: the sum
// of the values of all characters before it, modulus 43.
func checkChar(before string) (byte, error) {
	sum := 0
	for _, r := range before {
		v := strings.IndexRune(hibcChars, r)
		if v < 0 {
			return 0, fmt.Errorf("%q is in no HIBC code: only capitals, digits and - . $ / + %% are", r)
		}
		sum += v
	}
	return hibcChars[sum%43], nil
}

// checks tells whether the last character of a code is its check character.
func checks(s string) bool {
	if len(s) < 2 || s[0] != '+' {
		return false
	}
	c, err := checkChar(s[:len(s)-1])
	return err == nil && c == s[len(s)-1]
}

// shown gives a check character as it is printed: a space as an underscore.
func shown(c byte) string {
	if c == ' ' {
		return "_ (a space)"
	}
	return string(rune(c))
}

func parseHIBC(data string, year int) (Lot, error) {
	s := strings.TrimPrefix(data, "*")
	if strings.HasPrefix(data, "*") {
		s = strings.TrimSuffix(strings.TrimRight(s, " "), "*")
	}
	var warn []string
	if up := strings.ToUpper(s); up != s {
		s = up
		warn = append(warn, "HIBC uses capitals only and small letters came: is Caps Lock on while you scan?")
	}
	l, err := hibcOf(s, year)
	l.Warnings = append(warn, l.Warnings...)
	return l, err
}

// longestFirst bounds where the second of two codes run together may begin.
const longestFirst = 64

// hibcOf reads one code, or two run together.
func hibcOf(s string, year int) (Lot, error) {
	// A check character that is a space is printed as an underscore, and gets lost
	// at the end of a field.
	if u, ok := strings.CutSuffix(strings.TrimRight(s, " "), "_"); ok {
		s = u + " "
	}
	t := strings.TrimRight(s, " ")
	if _, err := checkChar(t); err != nil {
		return Lot{Scheme: HIBC}, err
	}
	spaced := t != s
	ends := []string{t, t + " "}
	if spaced {
		ends = []string{s, t + " ", t}
	}
	var first error
	for _, w := range ends {
		l, ok, err := oneOrTwo(w, year)
		if ok && err == nil {
			if w != t && !spaced {
				// One misread code in 43 comes through here.
				l.Warnings = append(l.Warnings, "the check character is a space, which got lost: hold what was read against the label")
			}
			if w == t && spaced {
				// The same chance, where the space was the check character of another code.
				l.Warnings = append(l.Warnings, "a space at the end was not counted: where the label ends in _ a sign got lost or was misread, hold what was read against it")
			}
			return l, nil
		}
		if ok && first == nil {
			first = err
		}
	}
	if first == nil {
		first = wrongCheck(t)
	}
	return Lot{Scheme: HIBC}, first
}

// oneOrTwo reads two codes run together, or one; ok tells whether the check
// characters of either hold. Two are tried first: that three characters (one is the
// link) agree by chance is rarer than that one does.
func oneOrTwo(s string, year int) (l Lot, ok bool, err error) {
	for i := 2; i < min(len(s), longestFirst); i++ {
		if s[i] != '+' || !checks(s[:i]) || !checks(s[i:]) {
			continue
		}
		if l, err = joinRun(s[:i], s[i:], year); err == nil {
			return l, true, nil
		}
		ok = true
	}
	if checks(s) {
		l, err = hibcWhole(s, year)
		return l, true, err
	}
	return l, ok, err
}

// wrongCheck words what is wrong with a code whose check character does not hold.
func wrongCheck(s string) error {
	if len(s) < 3 {
		return errors.New("a HIBC code has + and at least a labeler, a product, a unit and a check character: scan again")
	}
	want, err := checkChar(s[:len(s)-1])
	if err != nil {
		return err
	}
	added, err := checkChar(s)
	if err != nil {
		return err
	}
	hint := ""
	if slices.Contains([]string{"C1", "D2", "Q3", "E0", "J1"}, s[1:3]) {
		hint = "; a GS1 code begins so where the scanner types + for ]: set its keyboard layout to that of this machine"
	}
	return fmt.Errorf("the HIBC check character %s is wrong, %s would be right (or, if it was left off, %s comes behind): scan again%s", shown(s[len(s)-1]), shown(want), shown(added), hint)
}

func joinRun(first, second string, year int) (Lot, error) {
	a, err := hibcWhole(first, year)
	if err != nil {
		return a, err
	}
	b, err := hibcWhole(second, year)
	if err != nil {
		return b, err
	}
	return joinHIBC(a.hibc, b.hibc, year)
}

// joinHIBC makes the combined code of a primary and a secondary one.
func joinHIBC(a, b hibcCode, year int) (Lot, error) {
	if a.link != 0 {
		a, b = b, a
	}
	switch {
	case a.link != 0:
		return Lot{Scheme: HIBC}, errors.New("both codes are secondary: scan the one with the product, too")
	case b.link == 0:
		return Lot{Scheme: HIBC}, errors.New("both codes name a product: scan two codes of one label")
	case a.secondary != "":
		return Lot{Scheme: HIBC}, errors.New("the first code is complete: scan one jar at a time")
	case a.check != b.link:
		return Lot{Scheme: HIBC}, fmt.Errorf("the two codes do not belong together: the second is linked to a product code that ends in %s, the first ends in %s", shown(b.link), shown(a.check))
	}
	body := a.primary + "/" + b.secondary
	c, err := checkChar(body)
	if err != nil {
		return Lot{Scheme: HIBC}, err
	}
	return hibcWhole(body+string(rune(c)), year)
}

// hibcWhole reads a code whose check character holds.
func hibcWhole(s string, year int) (Lot, error) {
	l := Lot{Scheme: HIBC}
	body := s[1 : len(s)-1]
	l.hibc.check = s[len(s)-1]
	var parts string
	switch {
	case body == "":
		return l, errors.New("a HIBC code has more than + and a check character: scan again")
	case body[0] == '/':
		return l, errors.New("this is a HIBC code of a provider (+/), which names no product and no lot: scan the maker's label")
	case body[0] >= 'A' && body[0] <= 'Z':
		var more bool
		body, parts, more = strings.Cut(body, "/")
		if err := l.primary(body); err != nil {
			return l, err
		}
		l.hibc.primary = "+" + body
		if !more {
			return l, nil
		}
	default:
		l.hibc.link = body[len(body)-1]
		parts = body[:len(body)-1]
	}
	l.hibc.secondary = parts
	for _, part := range strings.Split(parts, "/") {
		if err := l.further(part, year); err != nil {
			return l, err
		}
	}
	return l, nil
}

// primary reads labeler, product and unit.
func (l *Lot) primary(s string) error {
	const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
	if n := len(s); n < 6 || n > 23 {
		return fmt.Errorf("the HIBC product code %s has %d characters: it is a labeler of 4, a product number of 1 to 18 and a unit of 1", quoted("+"+s), n)
	}
	if strings.Trim(s, letters) != "" {
		return fmt.Errorf("the HIBC product code +%s holds other signs than capitals and digits: scan again", s)
	}
	l.LIC, l.Product, l.Unit = s[:4], s[4:len(s)-1], s[len(s)-1:]
	if !allDigits(l.Unit) {
		return fmt.Errorf("the HIBC product code +%s ends in %s, where the unit of measure is a digit: scan again", s, l.Unit)
	}
	return nil
}

// further reads one part behind the product: the secondary code, or further data.
func (l *Lot) further(s string, year int) error {
	// A few labels keep the + of a secondary code that was by itself.
	if sec := strings.TrimPrefix(s, "+"); strings.HasPrefix(sec, "$") || allDigits(head(sec, 5)) && len(sec) >= 5 {
		return l.dated(sec, year)
	}
	switch {
	case strings.HasPrefix(s, "S"):
		return take(&l.Serial, "serial", s[1:])
	case strings.HasPrefix(s, "16D"):
		return l.when(&l.Made, "YYYYMMDD", s[3:], year)
	case strings.HasPrefix(s, "14D"):
		return l.when(&l.Expiry, "YYYYMMDD", s[3:], year)
	}
	id := s[:len(s)-len(strings.TrimLeft(s, "0123456789"))]
	if len(s) > len(id)+1 && s[len(id)] >= 'A' && s[len(id)] <= 'Z' {
		l.Others = append(l.Others, element{s[:len(id)+1], s[len(id)+1:]})
		return nil
	}
	return fmt.Errorf("HIBC: %s behind a / is neither a lot ($, $$ or a date in front) nor further data (S, Q, 14D, 16D): scan again", quoted(s))
}

// dated reads a secondary code: what its reference identifier announces, then the
// lot, or the serial (ANSI/HIBC 2.6, "Secondary data structure").
func (l *Lot) dated(s string, year int) error {
	into, what := &l.Lot, "lot"
	flags, double := strings.CutPrefix(s, "$$")
	if !double {
		rest, plain := strings.CutPrefix(s, "$")
		if !plain {
			if err := l.when(&l.Expiry, "YYJJJ", s[:5], year); err != nil {
				return err
			}
			rest = s[5:]
		} else if serial, ok := strings.CutPrefix(rest, "+"); ok {
			rest, into, what = serial, &l.Serial, "serial"
		}
		return take(into, what, rest)
	}
	if serial, ok := strings.CutPrefix(flags, "+"); ok {
		flags, into, what = serial, &l.Serial, "serial"
	}
	quantity := map[string]int{"8": 2, "9": 5}[head(flags, 1)]
	if quantity > 0 {
		if len(flags) < 1+quantity || !allDigits(flags[1:1+quantity]) {
			return fmt.Errorf("HIBC: behind $$%s stands a quantity of %d digits, not %s", flags[:1], quantity, quoted(flags[1:]))
		}
		l.Others = append(l.Others, element{"Q", flags[1 : 1+quantity]})
		flags = flags[1+quantity:]
	}
	pattern, ahead := "", 1
	switch head(flags, 1) {
	case "0", "1":
		pattern, ahead = "MMYY", 0 // the month is its own announcement
	case "2":
		pattern = "MMDDYY"
	case "3":
		pattern = "YYMMDD"
	case "4":
		pattern = "YYMMDDHH"
	case "5":
		pattern = "YYJJJ"
	case "6":
		pattern = "YYJJJHH"
	case "7":
	default:
		if quantity == 0 {
			return fmt.Errorf("HIBC: behind $$ stands a digit that announces the date, not %s", quoted(flags))
		}
		ahead = 0
	}
	end := ahead + len(pattern)
	if pattern != "" {
		err := l.when(&l.Expiry, pattern, head(flags[ahead:], len(pattern)), year)
		switch {
		case err == nil:
			if strings.HasSuffix(pattern, "HH") {
				l.Others = append(l.Others, element{"hour", flags[end-2 : end]})
			}
		case quantity > 0: // behind a quantity the date may be left out
			l.Warnings = append(l.Warnings, fmt.Sprintf("no date behind the quantity: all of %s is read as the %s", quoted(flags), what))
			end = 0
		default:
			return err
		}
	}
	return take(into, what, flags[end:])
}

// take takes a lot or a serial, which has up to 18 characters. It may be told
// twice, but not in two ways.
func take(into *string, what, s string) error {
	if s = strings.TrimSpace(s); s == "" {
		return nil
	}
	if len(s) > 18 {
		return fmt.Errorf("a HIBC %s has at most 18 characters, %s has %d: scan again", what, quoted(s), len(s))
	}
	if *into != "" && *into != s {
		return fmt.Errorf("HIBC: the %s is given twice, %s and %s: see the label", what, quoted(*into), quoted(s))
	}
	*into = s
	return nil
}

func (l *Lot) when(into *Date, pattern, s string, year int) error {
	d, err := reckon(pattern, s, year)
	if err != nil {
		return fmt.Errorf("HIBC date: %w", err)
	}
	if !into.IsZero() && *into != d {
		return fmt.Errorf("HIBC: a date is given twice, %s and %s: see the label", *into, d)
	}
	*into = d
	return nil
}

// entry writes product, lot (or serial) and expiry as a code of their own. The
// longest there is has 60 characters: + and 23, / and $$+7 and 18, /14D and 8, check.
func (h hibcCode) entry(l Lot) string {
	var further []string
	switch {
	case l.Lot != "":
		further = append(further, "$$7"+l.Lot)
	case l.Serial != "":
		further = append(further, "$$+7"+l.Serial)
	}
	if !l.Expiry.IsZero() {
		further = append(further, fmt.Sprintf("14D%04d%02d%02d", l.Expiry.Year, int(l.Expiry.Month), l.Expiry.Day))
	}
	code := "+" + strings.Join(further, "/") + string(rune(h.link))
	switch {
	case h.primary == "" && len(further) == 0:
		return ""
	case h.primary != "":
		code = strings.Join(append([]string{h.primary}, further...), "/")
	}
	c, err := checkChar(code)
	if err != nil {
		return l.Lot
	}
	if c == ' ' {
		c = '_' // as it is printed: a space would get lost
	}
	return code + string(rune(c))
}
