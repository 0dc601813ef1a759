package cure

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"
)

// Limits on what one run takes, so that time and memory stay bounded whatever comes in (house defaults).
const (
	MinBathC    = 0   // a water bath does not freeze
	MaxBathC    = 130 // nor get hotter than this under a lid
	MaxDuration = 14 * 24 * time.Hour
	MaxKnots    = 100_000 // a reading every 12 s for 14 days
)

// Knot is one point of a bath curve: TimeS seconds after the flask went in, TempC °C. Between knots the bath is a
// straight line; before the first and after the last it is constant.
type Knot struct {
	TimeS float64 `json:"t_s"`
	TempC float64 `json:"c"`
}

// checkTemp refuses what no bath can read.
func checkTemp(c float64) error {
	switch {
	case math.IsNaN(c) || math.IsInf(c, 0):
		return errors.New("not a number: a bath reads 0 to 130 °C")
	case c < MinBathC || c > MaxBathC:
		return fmt.Errorf("%.4g °C cannot be: a bath reads %d to %d °C", c, MinBathC, MaxBathC)
	}
	return nil
}

// CheckBath reports the first thing wrong with a bath curve: none or too many points, a temperature or a time that cannot
// be, or times that do not run forward.
func CheckBath(bath []Knot) error {
	if len(bath) == 0 {
		return errors.New("the bath has no points: give at least one temperature")
	}
	if len(bath) > MaxKnots {
		return fmt.Errorf("the bath has %d points: at most %d are taken", len(bath), MaxKnots)
	}
	before := math.Inf(-1)
	for i, k := range bath {
		if err := checkTemp(k.TempC); err != nil {
			return fmt.Errorf("bath point %d: %w", i+1, err)
		}
		if !(math.Abs(k.TimeS) <= MaxDuration.Seconds()) {
			return fmt.Errorf("bath point %d: time %g min cannot be: at most %g days", i+1, k.TimeS/60, MaxDuration.Hours()/24)
		}
		if k.TimeS <= before {
			return fmt.Errorf("bath point %d: its time %g min is not after the one before (%g min)", i+1, k.TimeS/60, before/60)
		}
		before = k.TimeS
	}
	return nil
}

// BathAt is the bath's temperature in °C at timeS seconds. The bath has at least one point, times rising.
func BathAt(bath []Knot, timeS float64) float64 {
	i := sort.Search(len(bath), func(i int) bool { return bath[i].TimeS > timeS })
	switch i {
	case 0:
		return bath[0].TempC
	case len(bath):
		return bath[i-1].TempC
	}
	a, b := bath[i-1], bath[i]
	return a.TempC + (b.TempC-a.TempC)*(timeS-a.TimeS)/(b.TimeS-a.TimeS)
}

// From is the bath as a flask sees it that goes in entryS seconds after the bath's zero.
func From(bath []Knot, entryS float64) []Knot {
	if len(bath) == 0 {
		return nil
	}
	out := []Knot{{0, BathAt(bath, entryS)}}
	for _, k := range bath {
		if k.TimeS > entryS {
			out = append(out, Knot{k.TimeS - entryS, k.TempC})
		}
	}
	return out
}

// Thin drops points that lie within tolK of the straight line between the points kept, in one pass. First and last points
// stay. A tolK of 0 or less drops nothing.
func Thin(bath []Knot, tolK float64) []Knot {
	if len(bath) < 3 || !(tolK > 0) {
		return bath
	}
	out := make([]Knot, 1, 16)
	out[0] = bath[0]
	lo, hi := math.Inf(-1), math.Inf(1) // slopes from the last kept point that miss none since by more than tolK
	for i := 1; i < len(bath); i++ {
		pivot := out[len(out)-1]
		dt := bath[i].TimeS - pivot.TimeS
		slope := (bath[i].TempC - pivot.TempC) / dt
		if slope < lo || slope > hi {
			pivot = bath[i-1]
			out = append(out, pivot)
			dt = bath[i].TimeS - pivot.TimeS
			lo, hi = math.Inf(-1), math.Inf(1)
		}
		lo = math.Max(lo, (bath[i].TempC-tolK-pivot.TempC)/dt)
		hi = math.Min(hi, (bath[i].TempC+tolK-pivot.TempC)/dt)
	}
	return append(out, bath[len(bath)-1])
}

// ParseBath reads a bath curve written as minutes:°C pairs, such as "0:74,540:74", straight between the points.
func ParseBath(text string) ([]Knot, error) {
	const maxText = 64 * 1024
	if len(text) > maxText {
		return nil, fmt.Errorf("bath text of %d characters: at most %d are taken", len(text), maxText)
	}
	if strings.TrimSpace(text) == "" {
		return nil, errors.New("the bath is empty: write minutes:°C pairs such as 0:74,540:74")
	}
	parts := strings.Split(text, ",")
	bath := make([]Knot, 0, len(parts))
	for _, part := range parts {
		minutes, temp, ok := strings.Cut(part, ":")
		m, errM := parseNumber(minutes)
		c, errC := parseNumber(temp)
		if !ok || errM != nil || errC != nil {
			return nil, fmt.Errorf("bath point %q: write minutes:°C such as 540:74", strings.TrimSpace(part))
		}
		if m < 0 {
			return nil, fmt.Errorf("bath point %q: minutes count from 0, when the flask goes in", strings.TrimSpace(part))
		}
		bath = append(bath, Knot{m * 60, c})
	}
	return bath, CheckBath(bath)
}

// FormatBath writes a bath curve as [ParseBath] reads it.
func FormatBath(bath []Knot) string {
	var b strings.Builder
	for i, k := range bath {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(strconv.FormatFloat(k.TimeS/60, 'g', -1, 64))
		b.WriteByte(':')
		b.WriteString(strconv.FormatFloat(k.TempC, 'g', -1, 64))
	}
	return b.String()
}

// parseNumber reads a plain decimal number; spellings such as "inf", "0x10" or "1_000" are refused.
func parseNumber(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if text == "" || strings.Trim(text, "0123456789.+-eE") != "" {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	return v, nil
}
