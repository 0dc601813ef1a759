package house

import (
	"flaskside/logbook/words"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits of a case number where the house has no pattern of its own (house default).
const (
	mostCaseRunes    = 12
	mostPatternRunes = 80
)

// casePattern is the house's pattern as one that all of a case number has to fit.
func casePattern(pattern string) (*regexp.Regexp, error) {
	return regexp.Compile("^(?:" + pattern + ")$")
}

// ValidCases says what is wrong with a pattern of case numbers; "" is the default.
func ValidCases(pattern string) error {
	if utf8.RuneCountInString(pattern) > mostPatternRunes || !words.Plain(pattern) {
		return fmt.Errorf("settings: case_numbers has at most %d plain characters", mostPatternRunes)
	}
	if _, err := casePattern(pattern); err != nil {
		return fmt.Errorf("settings: case_numbers is not a regular expression: write one as in 'K-\\d{4}', or '' for the default")
	}
	return nil
}

// CaseOdd says why a text does not look like a case number of the house, "" where it
// does.
func (h House) CaseOdd(s string) string {
	if h.Cases == "" {
		digit := strings.ContainsFunc(s, unicode.IsDigit)
		if digit && utf8.RuneCountInString(s) <= mostCaseRunes && !strings.ContainsFunc(s, unicode.IsSpace) {
			return ""
		}
		return fmt.Sprintf("%q does not look like a case number (at most %d characters, at least one digit, no blank); a person's name does not belong here", s, mostCaseRunes)
	}
	if re, err := casePattern(h.Cases); err != nil || re.MatchString(s) {
		return ""
	}
	return fmt.Sprintf("%q does not look like a case number of this house (%s); a person's name does not belong here", s, h.Cases)
}
