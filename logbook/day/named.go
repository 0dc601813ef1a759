package day

import (
	"strings"

	"flaskside/logbook/bench"
)

// named names flasks as people do: by case and base, the numbers of the flasks beside them.
func (s Sheet) named(nos []int) string {
	var cases []string
	for _, no := range nos {
		if f := s.Bench.Flasks[no]; f != nil && f.Base != "" {
			cases = append(cases, caseOf(f))
		}
	}
	numbers := "flask " + strings.ReplaceAll(list(nos), " ", ", ")
	if len(cases) == 0 {
		return numbers
	}
	return "case " + strings.Join(cases, ", ") + " (" + numbers + ")"
}

// andNamed is [Sheet.named] behind something, nothing for no flask.
func (s Sheet) andNamed(nos []int) string {
	if len(nos) == 0 {
		return ""
	}
	return ", " + s.named(nos)
}

// caseOf is the case and base of a flask in few words.
func caseOf(f *bench.Flask) string { return f.Case + " " + f.Base }

// casesOf lists the cases and bases of flasks in few words, as they stand in tables.
func (s Sheet) casesOf(nos []int) string {
	var out []string
	for _, no := range nos {
		if f := s.Bench.Flasks[no]; f != nil && f.Base != "" {
			out = append(out, caseOf(f))
		}
	}
	if len(out) < len(nos) {
		return strings.ReplaceAll(list(nos), " ", ", ")
	}
	return strings.Join(out, ", ")
}
