package cases

import (
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
)

// Delivered tells from the records of a case number when a base of it left the house, as they
// count now: not where that was undone, or the case was taken in again since. The bench
// lets go of a delivery, so that only the book can tell.
func Delivered(recs []record.Record, number, base string) (at time.Time, ok bool) {
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
