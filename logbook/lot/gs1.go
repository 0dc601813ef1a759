package lot

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"sync"
)

const gs = '\x1d' // the separator, ASCII 29

// late is a pattern compiled when it is first asked for: most starts of the program read no code.
func late(pattern string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(pattern) })
}

// Symbology identifiers (ISO/IEC 15424; GS1 General Specifications, "Symbology
// identifiers"): those that say GS1 element strings, and two that say a bare GTIN.
var (
	reIdentifier = late(`^\][A-Za-z][0-9A-Za-z]`)
	reGS1        = late(`^\](C1|e[012]|d2|Q3|J1)$`)
	reOtherCase  = late(`^\](c1|D2|q3|j1)$`)
)

const (
	idEAN13 = "]E0"
	idEAN8  = "]E4"
)

func isGS1(id string) bool { return reGS1().MatchString(id) }

// identifier takes the symbology identifier off a scan.
func identifier(s string) (id, data string) {
	id = reIdentifier().FindString(s)
	return id, s[len(id):]
}

// otherCase gives the identifier of GS1 that one written with the other letters
// stands for, or "".
func otherCase(id string) string {
	switch {
	case !reOtherCase().MatchString(id):
		return ""
	case id == "]D2":
		return "]d2"
	}
	return strings.ToUpper(id)
}

// What scanners type for GS: forms that stand in no lot, and signs that cannot
// stand in a GS1 value (GS1 character set 82) but might in a lot typed by hand. The
// identifier of a second symbol separates as well.
var (
	reSeparator = late(`(?i)\{gs\}|<gs>|\[gs\]|\{fnc1\}|<fnc1>|\[fnc1\]|\^\]|\\x1d|\\u001d|␝`)
	reLoose     = late(`\](C1|e[012]|d2|Q3|J1)|[|^~]`)
)

func separate(s string) string      { return reSeparator().ReplaceAllLiteralString(s, string(gs)) }
func separateLoose(s string) string { return reLoose().ReplaceAllLiteralString(s, string(gs)) }

// looksGS1 tells whether a text without an identifier is to be read as GS1.
func looksGS1(s string) bool {
	if strings.ContainsRune(s, gs) || reBracket().MatchString(s) {
		return true
	}
	if len(s) >= 16 && strings.HasPrefix(s, "01") && allDigits(s[:16]) {
		return true
	}
	if !reLoose().MatchString(s) {
		return false
	}
	_, err := split(separateLoose(s))
	return err == nil
}

// unmarked gives the reading of a text that could be GS1 with a date in front, such
// as the second symbol of a label sent without its identifier. A lot that begins
// with a date may look the same.
func unmarked(s string, year int) (as string, ok bool) {
	if len(s) < 10 || s[:2] != "17" && s[:2] != "11" {
		return "", false
	}
	l, err := parseGS1(s, year)
	if err != nil {
		return "", false
	}
	return bracketed(l.elements), true
}

func head(s string, n int) string { return s[:min(n, len(s))] }

func allDigits(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }

// predefined gives the length of an element string, AI and value together, that
// needs no separator, by the first two digits of its AI; 0 for all others. (GS1
// General Specifications, "Element strings with predefined length using GS1
// Application Identifiers", Figure 7.8.5-2 in release 25. The list is closed: no AI
// to come will change it.)
func predefined(ai string) int {
	switch ai[:2] {
	case "00":
		return 20
	case "01", "02", "03", "41":
		return 16
	case "04":
		return 18
	case "11", "12", "13", "14", "15", "16", "17", "18", "19":
		return 8
	case "20":
		return 4
	case "31", "32", "33", "34", "35", "36":
		return 10
	}
	return 0
}

// keyLength gives the number of digits of an AI by its first two, 0 where no AI
// begins so. (GS1 General Specifications, "GS1 Application Identifier lengths",
// Figure 7.8.2-1 in release 22; those of predefined length that are not yet given
// out count as two.)
func keyLength(two string) int {
	n, _ := digits(two)
	switch {
	case n <= 4, n >= 10 && n <= 22, n == 30, n == 37, n >= 90:
		return 2
	case n >= 23 && n <= 25, n >= 40 && n <= 42, n == 71:
		return 3
	case n >= 31 && n <= 36, n == 39, n == 43, n == 70, n == 72, n >= 80 && n <= 82:
		return 4
	}
	return 0
}

// key reads the AI at the beginning of s.
func key(s string) (string, error) {
	if !allDigits(head(s, 2)) || len(s) < 2 {
		return "", fmt.Errorf("%s begins no element string, which has an AI of 2 to 4 digits in front: has the scanner left out a separator or a part?", quoted(s))
	}
	n := keyLength(s[:2])
	if n == 0 {
		return "", fmt.Errorf("no AI begins with %s (at %s): has the scanner left out a separator?", s[:2], quoted(s))
	}
	if len(s) < n || !allDigits(s[:n]) {
		return "", fmt.Errorf("an AI that begins with %s has %d digits (at %s)", s[:2], n, quoted(s))
	}
	return s[:n], nil
}

// quoted shows the beginning of a text that is wrong.
func quoted(s string) string {
	const most = 24
	if r := []rune(s); len(r) > most {
		return fmt.Sprintf("%q…", string(r[:most]))
	}
	return fmt.Sprintf("%q", s)
}

// split takes element strings apart.
func split(s string) ([]element, error) {
	if reBracket().MatchString(s) {
		return splitBracketed(s)
	}
	var out []element
	for {
		s = strings.TrimLeft(s, string(gs))
		if s == "" {
			return out, nil
		}
		ai, err := key(s)
		if err != nil {
			return nil, err
		}
		end := strings.IndexRune(s, gs)
		if end < 0 {
			end = len(s)
		}
		if n := predefined(ai); n > 0 {
			if end < n {
				return nil, fmt.Errorf("%s has %d digits, this has %d: %s", name(ai), n-len(ai), end-len(ai), quoted(s[len(ai):end]))
			}
			end = n
		}
		out = append(out, element{ai, s[len(ai):end]})
		s = s[end:]
	}
}

// reBracket is an AI as it is printed.
var reBracket = late(`^\((\d{2,4})\)`)

// bracketAt tells whether an AI in brackets begins here.
func bracketAt(s string) (ai string, ok bool) {
	m := reBracket().FindStringSubmatch(s)
	if m == nil || keyLength(m[1][:2]) != len(m[1]) {
		return "", false
	}
	return m[1], true
}

// splitBracketed takes apart what is printed under a symbol.
func splitBracketed(s string) ([]element, error) {
	var out []element
	for s = strings.TrimLeft(s, " "+string(gs)); s != ""; {
		ai, ok := bracketAt(s)
		if !ok {
			return nil, fmt.Errorf("there is no AI at %s: write it as in (17)281231(10)ABCD1234", quoted(s))
		}
		s = s[len(ai)+2:]
		var value strings.Builder
		for s != "" {
			if _, next := bracketAt(s); next || s[0] == byte(gs) {
				break
			}
			if strings.HasPrefix(s, `\(`) {
				s = s[1:]
			}
			value.WriteByte(s[0])
			s = s[1:]
		}
		out = append(out, element{ai, strings.TrimSpace(value.String())})
		s = strings.TrimLeft(s, " "+string(gs))
	}
	return out, nil
}

// bracketed writes element strings as they are printed.
func bracketed(es []element) string {
	var b strings.Builder
	for _, e := range es {
		b.WriteString("(" + e.ID + ")")
		for i, c := range []byte(e.Value) {
			if _, ok := bracketAt(e.Value[i:]); ok {
				b.WriteByte('\\')
			}
			b.WriteByte(c)
		}
	}
	return b.String()
}

// name gives the name of an AI for people.
func name(ai string) string {
	words := map[string]string{"01": "GTIN", "10": "lot", "11": "date of making", "17": "expiry", "21": "serial"}[ai]
	if words == "" {
		return "AI " + ai
	}
	return words + " (AI " + ai + ")"
}

func parseGS1(s string, year int) (Lot, error) {
	es, err := split(separateLoose(s))
	if err != nil {
		return Lot{Scheme: GS1}, err
	}
	return assemble(es, year)
}

// assemble makes a Lot of element strings.
func assemble(es []element, year int) (Lot, error) {
	l := Lot{Scheme: GS1}
	if len(es) == 0 {
		return l, errors.New("there is nothing behind the symbology identifier: scan again")
	}
	seen := map[string]string{}
	var best string
	for _, e := range es {
		if before, twice := seen[e.ID]; twice {
			if before != e.Value {
				return l, fmt.Errorf("%s is there twice, %s and %s: scan the codes of one label", name(e.ID), quoted(before), quoted(e.Value))
			}
			continue
		}
		seen[e.ID] = e.Value
		l.elements = append(l.elements, e)
		var err error
		switch e.ID {
		case "01":
			l.GTIN, err = e.Value, gtin(e.Value)
		case "10":
			l.Lot, err = e.Value, value82(e)
		case "21":
			l.Serial, err = e.Value, value82(e)
		case "11":
			l.Made, err = reckon("YYMMDD", e.Value, year)
		case "17":
			l.Expiry, err = reckon("YYMMDD", e.Value, year)
		default:
			if e.ID == "15" {
				best = e.Value
			}
			l.Others, err = append(l.Others, e), other(e)
		}
		if err != nil {
			return l, fmt.Errorf("%s: %w", name(e.ID), err)
		}
	}
	if best != "" && l.Expiry.IsZero() {
		l.Warnings = append(l.Warnings, fmt.Sprintf("best before %s (AI 15, YYMMDD), but no expiry: see the label", best))
	}
	for _, id := range []string{"10", "21"} {
		if tail, ok := swallowed(seen[id], seen, year); ok {
			l.Warnings = append(l.Warnings, fmt.Sprintf("the end of %s, %s, reads as %s: see the label; the scanner may leave out the separator (GS)", name(id), tail, name(tail[:2])))
		}
	}
	return l, nil
}

// other holds an element that is not read to what is known of its form.
func other(e element) error {
	n := predefined(e.ID)
	switch {
	case n > 0 && (len(e.ID)+len(e.Value) != n || !allDigits(e.Value)):
		return fmt.Errorf("it has %d digits, not %s", n-len(e.ID), quoted(e.Value))
	case e.Value == "":
		return errors.New("it is empty")
	case len(e.Value) > 90: // the longest value of any AI (General Specifications, Figure 3.2-1)
		return fmt.Errorf("a value has at most 90 characters, this has %d: has the scanner left out a separator (GS)?", len(e.Value))
	}
	return charset(e.Value)
}

// charset holds a value to the GS1 character set 82 and the number sign of set 39
// (General Specifications, Figures 7.11-1 and 7.11-2): ASCII from ! to z without
// $ @ [ \ ] ^ and the grave accent.
func charset(s string) error {
	for _, r := range s {
		if r < '!' || r > 'z' || strings.ContainsRune("$@[\\]^`", r) {
			return fmt.Errorf("%s holds %q, which no GS1 code can: scan again, or set the scanner's keyboard layout to that of this machine", quoted(s), r)
		}
	}
	return nil
}

// value82 holds a lot or a serial to its form, an..20.
func value82(e element) error {
	switch n := len([]rune(e.Value)); {
	case n == 0:
		return errors.New("it is empty: type the lot in its place")
	case n > 20:
		return fmt.Errorf("it has at most 20 characters, this has %d: has the scanner left out the separator (GS)? set it to send GS, or to type | for it", n)
	}
	return charset(e.Value)
}

// swallowed finds a date at the end of a lot or serial that the code has nowhere
// else: the trace of a separator left out.
func swallowed(value string, seen map[string]string, year int) (tail string, ok bool) {
	if len(value) < 9 {
		return "", false
	}
	tail = value[len(value)-8:]
	ai := tail[:2]
	if _, there := seen[ai]; there || ai != "17" && ai != "11" {
		return "", false
	}
	_, err := reckon("YYMMDD", tail[2:], year)
	return tail, err == nil
}

// checkDigit gives the check digit of a GTIN, or of another GS1 key, from the
// digits before it: from the right with the weights 3, 1, 3, 1 …, what is missing
// to the next ten (General Specifications, "Standard check digit calculations").
func checkDigit(before string) (int, error) {
	if !allDigits(before) {
		return 0, fmt.Errorf("%s is not made of digits alone", quoted(before))
	}
	sum := 0
	for i := range len(before) {
		d := int(before[len(before)-1-i] - '0')
		if i%2 == 0 {
			d *= 3
		}
		sum += d
	}
	return (10 - sum%10) % 10, nil
}

func checkDigitHolds(s string) bool {
	if !allDigits(s) {
		return false
	}
	n, err := checkDigit(s[:len(s)-1])
	return err == nil && int(s[len(s)-1]-'0') == n
}

// gtin holds a GTIN of 14 digits to its check digit.
func gtin(s string) error {
	switch {
	case !allDigits(s):
		return fmt.Errorf("it has 14 digits, not %s", quoted(s))
	case len(s) < 14:
		return fmt.Errorf("%s has %d digits, not 14: put zeros in front", s, len(s))
	case len(s) > 14:
		return fmt.Errorf("%s has %d digits, not 14", quoted(s), len(s))
	case !checkDigitHolds(s):
		n, err := checkDigit(s[:13])
		if err != nil {
			return err
		}
		return fmt.Errorf("%s ends in the check digit %c, %d would be right: scan again, or look at the digits once more", s, s[13], n)
	}
	return nil
}

// parseBareGTIN reads the code of a shop's till.
func parseBareGTIN(s string) (Lot, error) {
	l := Lot{Scheme: GS1}
	if n := len(s); !allDigits(s) || n != 8 && n != 12 && n != 13 {
		return l, fmt.Errorf("a product number of this symbol has 8, 12 or 13 digits, not %s: scan again", quoted(s))
	}
	l.GTIN = strings.Repeat("0", 14-len(s)) + s
	l.elements = []element{{"01", l.GTIN}}
	if err := gtin(l.GTIN); err != nil {
		return l, fmt.Errorf("%s: %w", name("01"), err)
	}
	return l, nil
}

// gs1Entry writes product, expiry and lot as they are printed.
func (l Lot) gs1Entry() string {
	which := "10"
	if l.Lot == "" {
		which = "21"
	}
	var es []element
	for _, id := range []string{"01", "17", which} {
		for _, e := range l.elements {
			if e.ID == id {
				es = append(es, e)
			}
		}
	}
	return bracketed(es)
}
