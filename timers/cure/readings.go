package cure

import (
	"fmt"
	"math"
	"time"
)

// Limits for readings (house defaults).
const (
	MaxReadings   = maxKnots
	ThinK         = 0.1              // readings within this of a straight line are dropped before a run
	DefaultBandK  = 2.0              // out of band beyond this
	DefaultSilent = 5 * time.Minute  // a probe that says nothing for longer is silent
	believe       = 60 * time.Second // how long the step between a reading and the set point takes
)

// BathReading is one bath temperature and when it was read.
type BathReading struct {
	At    time.Time `json:"at"`
	TempC float64   `json:"c"`
}

// Follows checks that r may come after last: a time that runs back is refused. A second reading at the same time is taken.
func (r BathReading) Follows(last BathReading) error {
	if err := checkTemp(r.TempC); err != nil {
		return fmt.Errorf("reading %w", err)
	}
	if r.At.Before(last.At) {
		return fmt.Errorf("reading of %s is from before the last one, %s: its clock runs back",
			r.At.Format(time.RFC3339), last.At.Format(time.RFC3339))
	}
	return nil
}

// Follow is the bath as it was: the readings, straight between them, from the first to the last; between two that lie
// within [DefaultBandK] of the set point the set point shifted by what they were off it, so that a ramp between two
// readings far apart is no slope of hours. Before and after them it is the set point, joined over a minute. startC is the bath's temperature at start for a programme that begins with a ramp. Points
// within [ThinK] of a straight line are dropped. Readings from before start serve only to give the bath at start.
func Follow(p Programme, startC float64, start time.Time, readings []BathReading) ([]Knot, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if err := checkTemp(startC); err != nil {
		return nil, fmt.Errorf("bath at the start: %w", err)
	}
	if len(readings) > MaxReadings {
		return nil, fmt.Errorf("%d readings: at most %d are taken", len(readings), MaxReadings)
	}
	set := p.Knots(startC)
	end := set[len(set)-1].TimeS
	read := make([]Knot, 0, len(readings)+1)
	for i, r := range readings {
		if i > 0 {
			if err := r.Follows(readings[i-1]); err != nil {
				return nil, err
			}
		} else if err := checkTemp(r.TempC); err != nil {
			return nil, fmt.Errorf("reading %w", err)
		}
		k := Knot{r.At.Sub(start).Seconds(), r.TempC}
		if k.TimeS > maxDuration.Seconds() || k.TimeS < -maxDuration.Seconds() {
			continue // another load's
		}
		if n := len(read); n > 0 && read[n-1].TimeS >= k.TimeS {
			read[n-1] = k // the same moment read twice: the later word counts
			continue
		}
		read = append(read, k)
	}
	for len(read) > 1 && read[1].TimeS <= 0 {
		read = read[1:]
	}
	// A single stale reading says nothing about this load.
	if len(read) == 0 || len(read) == 1 && read[0].TimeS < -believe.Seconds() {
		return set, nil
	}
	if read[0].TimeS < 0 {
		read = from(read, 0)
	}
	return Thin(splice(set, read, end), ThinK), nil
}

// between are the points at which a bath bends that was read on its set point at a and at b.
func between(set []Knot, a, b Knot) []Knot {
	offA, offB := a.TempC-BathAt(set, a.TimeS), b.TempC-BathAt(set, b.TimeS)
	if math.Abs(offA) > DefaultBandK || math.Abs(offB) > DefaultBandK {
		return nil
	}
	var out []Knot
	for _, k := range set {
		if k.TimeS > a.TimeS && k.TimeS < b.TimeS {
			off := offA + (offB-offA)*(k.TimeS-a.TimeS)/(b.TimeS-a.TimeS)
			out = append(out, Knot{k.TimeS, math.Min(math.Max(k.TempC+off, MinBathC), MaxBathC)})
		}
	}
	return out
}

// splice puts read in place of set from its first to its last point.
func splice(set, read []Knot, end float64) []Knot {
	join := believe.Seconds()
	first, last := read[0].TimeS, read[len(read)-1].TimeS
	out := make([]Knot, 0, len(set)+len(read)+2)
	for _, k := range set {
		if k.TimeS < first-join {
			out = append(out, k)
		}
	}
	switch {
	case first > join:
		out = append(out, Knot{first - join, BathAt(set, first-join)})
	case first > 0: // less than a minute in: the bath was then what it was first read as
		out = append(out, Knot{0, read[0].TempC})
	}
	for i, k := range read {
		if i > 0 {
			out = append(out, between(set, read[i-1], k)...)
		}
		out = append(out, k)
	}
	if last >= end {
		return out
	}
	after := min(last+join, end)
	out = append(out, Knot{after, BathAt(set, after)})
	for _, k := range set {
		if k.TimeS > last+join {
			out = append(out, k)
		}
	}
	return out
}
