package day

import (
	"slices"
	"strconv"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// Steps of the cases on the sheet: how long each lasted, against what was asked for.

// stepWent says how a step of a case went, "" where no time was asked for or it still runs.
func (s Sheet) stepWent(id string) string {
	for _, sp := range s.Bench.StepSpells() {
		if sp.ID != id || sp.To == nil {
			continue
		}
		w := spell{what: sp.Brief(), from: sp.At, to: sp.To, min: sec(sp.MinS), max: sec(sp.MaxS)}
		_, said := w.ending()
		return "lasted " + said
	}
	return ""
}

// ending is how long a spell that has ended lasted, and whether that was as set.
func (sp spell) ending() (verdict, said string) {
	p, ended := took(sp.from, sp.to)
	if !ended {
		return runsOn, ""
	}
	said = sp.long(p)
	if by := sp.by(p); by != "" {
		if p.For < sp.min {
			return tooShort, said + ", " + by
		}
		return tooLong, said + ", " + by
	}
	return asSet, said
}

// oddWords say what was unusual about a record of a case, with the reason given. What the
// record itself says, as a delivery its closing list, is not said again.
func oddWords(it bench.Item) string {
	var odd []string
	for _, u := range it.Action.Unusual {
		if w := words.Unusual(u); u != bench.ClosingCode && !slices.Contains(odd, w) {
			odd = append(odd, w)
		}
	}
	if len(odd) == 0 {
		return ""
	}
	s := "; UNUSUAL: " + strings.Join(odd, ", ")
	if it.Action.Why != "" {
		s += " (reason: " + words.Reason(it.Action.Why) + ")"
	}
	return s
}

// stepRows is the table of steps: a row for each that was done in the day.
func (s Sheet) stepRows(tame func(string) string) [][]string {
	rows := [][]string{{"at", "case", "base", "step", "words", "kind", "place", "event", "judged", "values", "min_s", "aim_s", "max_s", "lasted_s", "verdict", "unusual", "why", "by", "id"}}
	t := action.Teller{Units: s.Bench.House.Units}
	for _, sp := range s.Bench.StepSpells() {
		if !s.has(sp.At.At) {
			continue
		}
		var values, odd []string
		values = append(values, each.Of(sp.Values, t.Value)...)
		odd = append(odd, each.Of(sp.Unusual, words.Unusual)...)
		lasted, verdict := "", ""
		if sp.To != nil {
			lasted = strconv.Itoa(int(sp.Lasted.Seconds()))
			verdict = stepVerdict(sp)
		}
		at := timers.Stamp{At: sp.At.At}
		rows = append(rows, []string{s.when(&at), tame(sp.Case), sp.Base, sp.Step, tame(sp.Called()), string(sp.As), sp.Place, sp.Event, tame(sp.Judged), tame(strings.Join(values, "; ")),
			number(sp.MinS), number(sp.AimS), number(sp.MaxS), lasted, verdict, strings.Join(odd, "; "), tame(words.Reason(sp.Why)), tame(sp.By), sp.ID})
	}
	return rows
}

func stepVerdict(sp bench.StepSpell) string {
	switch {
	case sp.Short():
		return tooShort
	case sp.Over():
		return tooLong
	}
	return asSet
}
