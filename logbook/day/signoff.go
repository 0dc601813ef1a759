package day

import (
	"fmt"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers/each"
)

// enteredLate is from when on a sign-off tells when it was entered, beside when it was done.
const enteredLate = time.Minute

// signedLines is how many records since a sign-off are told one by one.
const signedLines = 12

// signs tells whether a record is a sign-off of this day.
func (s Sheet) signs(it bench.Item) bool {
	so, ok := it.Action.Body.(action.SignOff)
	if !ok || s.Case != "" {
		return false
	}
	from, until := so.Bounds()
	return from.Equal(s.From) && until.Equal(s.Until)
}

// signOffs lists the sign-offs of the day that count, in order of the book.
func (s Sheet) signOffs() []bench.Item {
	return each.That(s.Bench.Items, func(it bench.Item) bool { return s.signs(it) && it.TakenBack == nil })
}

// since lists what of the sheet was recorded after a sign-off: what was done on the day, and
// every correction and taking back of anything the sheet rests on.
func (s Sheet) since(signed bench.Item) []bench.Item {
	var out []bench.Item
	for _, it := range s.Bench.Items {
		if it.Seq <= signed.Seq || s.signs(it) {
			continue
		}
		if s.has(it.Record.Stamp.At) || s.has(it.Stamp.At) || action.IsAmendment(it.Action.Body) {
			out = append(out, it)
		}
	}
	return out
}

// signedOff says who signed the day off and when, and what changed since: a sheet is never
// said to be signed off without that.
func (s Sheet) signedOff() []string {
	all := s.signOffs()
	if len(all) == 0 {
		return nil
	}
	var out []string
	for i, it := range all {
		word := "Signed off"
		if i < len(all)-1 {
			word = "Signed off before"
		}
		late := ""
		if it.Written.Sub(it.Stamp.At) > enteredLate {
			late = ", entered " + s.moment(it.Written)
		}
		out = append(out, fmt.Sprintf("%s by %s, %s%s.", word, it.Action.By, s.moment(it.Stamp.At), late))
	}
	changed := s.since(all[len(all)-1])
	if len(changed) == 0 {
		return append(out, "Nothing on this sheet was entered or changed since.")
	}
	out = append(out, fmt.Sprintf("CHANGED SINCE THE SIGN-OFF, by %s:", words.Count(len(changed), "record", "records")))
	for _, it := range changed[:min(len(changed), signedLines)] {
		out = append(out, fmt.Sprintf("record %d, %s  %s%s", it.Seq, s.clock(it.Record.Stamp.At), by(it.Action.By), s.teller().Tell(it.Action.Body)))
	}
	if more := len(changed) - signedLines; more > 0 {
		out = append(out, fmt.Sprintf("and %d more", more))
	}
	return out
}

// signOffLine words the sign-off of another day than that of the sheet.
func (s Sheet) signOffLine(it bench.Item) string {
	if _, ok := it.Body.(action.SignOff); ok && !s.signs(it) {
		return s.teller().Tell(it.Body)
	}
	return ""
}
