package cases

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/asked"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
)

// delivered tells from the records of a case number when a base of it left the house, as they
// count now: not where that was undone, or the case was taken in again since. The bench
// lets go of a delivery, so that only the book can tell.
func delivered(recs []record.Record, number, base string) (at time.Time, ok bool) {
	for _, it := range bench.Fold(recs, bench.Counters{}).Items {
		if it.TakenBack != nil {
			continue
		}
		switch a := it.Body.(type) {
		case action.CaseIn:
			ok = ok && (a.Case != number || a.Base != base)
		case action.CaseDelivered:
			if a.Case == number && a.Base == base {
				at, ok = it.Stamp.At, true
			}
		}
	}
	return at, ok
}

// Twice says from the records of a case number when a base of it was delivered already, "" where it
// was not.
func Twice(recs []record.Record, number, base string, now time.Time) string {
	at, ok := delivered(recs, number, base)
	if !ok {
		return ""
	}
	return fmt.Sprintf("case %s %s was delivered already, %s", number, base, words.Instant(at, now))
}

// TheBase gives the base that is meant of a case: the one said, or that of the list where it has one
// of that number alone.
func TheBase(list []bench.Case, number, said string) (string, error) {
	all := strings.Join(action.Bases, ", ")
	if said != "" {
		if !slices.Contains(action.Bases, said) {
			return "", asked.Wrongly("--base is one of %s", all)
		}
		return said, nil
	}
	var on []string
	for _, k := range list {
		if k.Case == number {
			on = append(on, k.Base)
		}
	}
	if len(on) != 1 {
		return "", asked.Wrongly("say which base with --base: %s", all)
	}
	return on[0], nil
}
