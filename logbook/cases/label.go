package cases

import (
	"slices"
	"strings"

	"flaskside/logbook/action"
)

// FromLabel reads what a scanner sends from the code of a label, or what is typed: a case number,
// and its base where that follows it; base is "" where it does not.
func FromLabel(code string) (number, base string) {
	number = strings.Join(strings.Fields(code), " ")
	at := strings.LastIndexByte(number, ' ')
	if at < 0 {
		return number, ""
	}
	if base = strings.ToLower(number[at+1:]); !slices.Contains(action.Bases, base) {
		return number, ""
	}
	return number[:at], base
}
