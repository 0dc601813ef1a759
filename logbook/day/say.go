package day

import (
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/each"
)

// teller puts records into the words of the sheet, in the units of the house, with what a
// step was done under.
func (s Sheet) teller() action.Teller {
	return action.Teller{Units: s.Bench.House.Units, Full: true, Timer: s.Bench.TimerLabel,
		Lot: func(text string) string { return bench.KnownLot{Lot: text}.Name() },
		Of: func(id string) (action.Body, bool) {
			it, ok := s.Bench.Item(id)
			return it.Action.Body, ok
		}}
}

// value words the value of a field by the unit in the name of the field.
func (s Sheet) value(field, v string) string {
	n, err := strconv.ParseFloat(v, 64)
	switch {
	case field == "outcome":
		return words.Outcome(v)
	case field == "half":
		return words.Half(v)
	case field == "due":
		if t, terr := time.Parse(time.RFC3339, v); terr == nil {
			return t.In(s.From.Location()).Format("Mon 2 Jan 2006 15:04")
		}
		return v
	case field == "rush":
		return map[string]string{"true": "yes"}[v]
	case err != nil:
		return v
	case field == "backed_off_turn":
		return action.Turns(n)
	case field == "grams" || strings.HasSuffix(field, "_g"):
		return v + " g"
	case strings.HasSuffix(field, "_mm"):
		return v + " mm"
	case strings.HasSuffix(field, "_psi"):
		return units.FormatPressure(n, s.Bench.House.Units.Pressure)
	case strings.HasSuffix(field, "_c"):
		return units.FormatTemp(n, s.Bench.House.Units.Temperature)
	case strings.HasSuffix(field, "_s"):
		return units.FormatDuration(sec(int(n)))
	}
	return v
}

// unusualWords name what was unusual about a step.
func unusualWords(codes []string) string {
	return strings.Join(each.Of(codes, words.Unusual), ", ")
}
