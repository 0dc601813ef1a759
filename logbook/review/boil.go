package review

import (
	"fmt"
	"time"

	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
)

// mostLoads is for how many loads at most the cure is estimated, which takes some
// milliseconds each (house default).
const mostLoads = 250

// boil tells which flasks' cores may have passed the boiling point of the monomer in
// the bath, by an estimate. The zero value tells that nothing was estimated.
type boil struct {
	Loads     int  `json:"loads"` // of flasks ended in the period
	Estimated bool `json:"estimated"`
	Unknown   int  `json:"unknown"` // loads that the model does not take
	Assumed   int  `json:"assumed"` // loads whose sections were not recorded
	flasks    map[int]bool
}

// Boiling estimates the cures of the flasks ended in a period, from their programmes,
// their sections and the bath's readings (see package bath). Of more than [mostLoads]
// loads none is estimated, rather than some.
func Boiling(b *bench.Bench, from, until time.Time) boil {
	loads := map[int][]int{}
	for no, f := range b.Flasks {
		if f.Ended != nil && !f.Ended.At.Before(from) && f.Ended.At.Before(until) && b.LoadOf(f) != nil {
			loads[f.Load] = append(loads[f.Load], no)
		}
	}
	out := boil{Loads: len(loads), flasks: map[int]bool{}}
	if len(loads) > mostLoads {
		return out
	}
	out.Estimated = true
	for _, no := range bench.Sorted(loads) {
		c := bath.Of(b, b.Loads[no])
		e, err := c.Estimate()
		if err != nil {
			out.Unknown++
			continue
		}
		if c.Assumed {
			out.Assumed++
		}
		for _, f := range loads[no] {
			out.flasks[f] = e.Cure.Range.MayBoil
		}
	}
	return out
}

// words tell what the estimate rests on.
func (x boil) words() string {
	if !x.Estimated {
		if x.Loads > mostLoads {
			return fmt.Sprintf("Core may boil: not estimated, for there are %d loads; ask for a shorter time.", x.Loads)
		}
		return ""
	}
	words := "Core may boil: by the cure model, from programme, sections and bath readings, for the thickest section of a load; an estimate."
	if x.Assumed > 0 {
		words += fmt.Sprintf(" Of %d of %d loads the sections were not recorded and %g mm are assumed.", x.Assumed, x.Loads, bath.ThickMM)
	}
	if x.Unknown > 0 {
		words += fmt.Sprintf(" %d of %d loads are not in the model and count as without.", x.Unknown, x.Loads)
	}
	return words
}
