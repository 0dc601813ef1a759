package review

import (
	"slices"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/stats"
	"flaskside/logbook/words"
)

// condition is something out of the ordinary that a record can tell of a flask.
type condition struct {
	Code  string `json:"code"`
	Words string `json:"words"`
}

// Codes found here, not recorded by the bench.
const (
	anyCode     = "any"
	otherCode   = "other"
	lowCode     = bench.PressureLowCode
	outsideCode = bench.OutsideCode
	boilCode    = "may-boil"
	shortCode   = "cure-short" // also recorded by the bench

	instrumentCode = "instrument" // something spoke against a gauge or a thermometer
)

// conditions lists what defects are held against: the codes the bench records, and
// what the records tell by themselves.
func conditions() []condition {
	codes := []string{
		anyCode, "no-separator", "separator-wet", "separator-old", "no-mix", "not-dough", "dough-late", "stiff-mix", lowCode, "hold-short",
		"not-ready", outsideCode, "set-short", shortCode, boilCode, instrumentCode, "cool-short", "press-taken", "out-of-order", otherCode,
	}
	out := make([]condition, len(codes))
	for i, code := range codes {
		out[i] = condition{code, words.Circumstance(code)}
	}
	return out
}

// unusual gathers the codes of each flask, in the order of [conditions]. What the bench
// marks of how a flask came out, or of its number, is no circumstance of its making.
func unusual(b *bench.Bench, boil boil) map[int][]string {
	found := map[int]map[string]bool{}
	mark := func(no int, code string) {
		if found[no] == nil {
			found[no] = map[string]bool{}
		}
		found[no][code] = true
	}
	known := map[string]bool{}
	for _, c := range conditions() {
		known[c.Code] = c.Code != anyCode
	}
	for no, codes := range b.Unusual() {
		for _, code := range codes {
			switch {
			case code == bench.PinHighCode, code == bench.CaseCode:
			case known[code]:
				mark(no, code)
			default:
				mark(no, otherCode)
			}
		}
	}
	for no, f := range b.Flasks {
		if f.InDoubt(b) {
			mark(no, instrumentCode)
		}
	}
	for no, so := range boil.flasks {
		if so {
			mark(no, boilCode)
		}
	}
	out := map[int][]string{}
	for no, codes := range found {
		for _, c := range conditions() {
			if codes[c.Code] {
				out[no] = append(out[no], c.Code)
			}
		}
	}
	return out
}

// comparison holds flasks with a condition against those without.
type comparison struct {
	With       stats.Share    `json:"with"`
	Without    stats.Share    `json:"without"`
	Difference stats.Interval `json:"difference"`
	stats.Exact
}

// tells is false where no outcome of these numbers could have had a p of 0.05 or less.
func (c comparison) tells() bool { return c.Least <= 1-stats.Confidence }

// against is a condition with the defects of the flasks that had it, and of the
// others.
type against struct {
	condition
	Defect comparison `json:"any_defect"`
	Remake comparison `json:"remake"`
	Kinds  []int      `json:"kinds"` // of the flasks with it, those with each of the defects, in their order
}

// against holds defects of the flasks ended against each condition that any of them
// had.
func (r *Review) against() []against {
	out := []against{}
	for _, c := range conditions() {
		n := counts{kinds: make([]int, len(action.Defects))}
		for _, f := range r.Flasks {
			if f.EndedAt == nil {
				continue
			}
			has := slices.Contains(f.Unusual, c.Code) || c.Code == anyCode && len(f.Unusual) > 0
			n.add(&f, has)
		}
		a := against{c, compare(n.defect), compare(n.remake), n.kinds}
		if a.Defect.With.N > 0 {
			out = append(out, a)
		}
	}
	return out
}

// counts are flasks with a condition or not, with a defect or a remake or not.
type counts struct {
	defect, remake [2][2]int
	kinds          []int // of those with it, by kind of defect
}

func (n *counts) add(f *flask, has bool) {
	n.defect[no(has)][no(len(f.Defects) > 0)]++
	n.remake[no(has)][no(f.Outcome == "remake")]++
	for i, d := range action.Defects {
		if has && slices.Contains(f.Defects, d) {
			n.kinds[i]++
		}
	}
}

// no is the row or column of a table: 0 for yes, 1 for no.
func no(yes bool) int {
	if yes {
		return 0
	}
	return 1
}

func compare(t [2][2]int) comparison {
	c := comparison{With: share(t[0][0], t[0][0]+t[0][1]), Without: share(t[1][0], t[1][0]+t[1][1])}
	c.Difference = stats.Newcombe(c.With, c.Without)
	e, err := stats.Fisher(t[0][0], t[0][1], t[1][0], t[1][1])
	if err != nil { // more flasks than a table holds: no lab comes near it
		e = stats.Exact{Two: 1, Greater: 1, Less: 1, Least: 1}
	}
	c.Exact = e
	return c
}
