package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// maxDuration is longer than any window of the bench (house default).
const maxDuration = 14 * 24 * time.Hour

// FormatWhole shows a length of time that is left or was kept: as [FormatDuration] does, but
// never more than it is.
func FormatWhole(d time.Duration) string {
	step := time.Second
	if d >= 10*time.Minute || d <= -10*time.Minute {
		step = time.Minute
	}
	return FormatDuration(d.Truncate(step))
}

// FormatDuration shows a length of time in words a person says: "45 s",
// "2 min 30 s", "35 min", "1 h 30 min", "9 h". Seconds are shown below ten
// minutes, and the value is rounded to what is shown.
func FormatDuration(d time.Duration) string {
	if d < 0 {
		if d == math.MinInt64 {
			d++ // so that its negative exists
		}
		if s := FormatDuration(-d); s != "0 s" {
			return "-" + s
		}
		return "0 s"
	}
	if r := d.Round(time.Second); r < 10*time.Minute {
		d = r
	} else {
		d = d.Round(time.Minute) // from d itself: rounding twice can lose half a minute
	}
	h, m, s := int64(d/time.Hour), int64(d%time.Hour/time.Minute), int64(d%time.Minute/time.Second)
	var parts []string
	add := func(n int64, unit string) {
		if n > 0 {
			parts = append(parts, strconv.FormatInt(n, 10)+" "+unit)
		}
	}
	add(h, "h")
	add(m, "min")
	add(s, "s")
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

// ExactDuration writes a length of whole seconds with all its parts, "1 h 30 min 5 s"; ""
// for a negative one. [ParseDuration] reads it back as it was.
func ExactDuration(d time.Duration) string {
	if d < 0 {
		return ""
	}
	h, m, s := int64(d/time.Hour), int64(d%time.Hour/time.Minute), int64(d%time.Minute/time.Second)
	var parts []string
	for _, p := range []struct {
		n    int64
		unit string
	}{{h, "h"}, {m, "min"}, {s, "s"}} {
		if p.n > 0 {
			parts = append(parts, strconv.FormatInt(p.n, 10)+" "+p.unit)
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

// ParseDuration reads a length of time as typed, def (time.Second, time.Minute
// or time.Hour; any other is taken for minutes) being the unit of a bare number,
// and returns it in whole seconds, from 0 to 14 days.
//
// It takes "90", "90 min", "1.5 h", "60 s", "1h30", "1 h 30 min", "2min30",
// "2 d" and "1:30". A number after hours without a unit is minutes, after
// minutes seconds. "1:30" is hours and minutes, but minutes and seconds where
// def is time.Second; "1:30:00" is hours, minutes and seconds. A decimal
// fraction may only stand in the last part.
func ParseDuration(s string, def time.Duration) (time.Duration, error) {
	typed, err := clean(s)
	if err != nil {
		return 0, fmt.Errorf("time: %w", err)
	}
	if def != time.Second && def != time.Hour {
		def = time.Minute
	}
	var d time.Duration
	switch {
	case typed == "":
		err = fmt.Errorf("nothing typed")
	case strings.ContainsAny(typed, "+-"):
		err = fmt.Errorf("a length of time has no sign")
	case strings.Contains(typed, ":"):
		d, err = colonDuration(typed, def)
	default:
		d, err = unitDuration(typed, def)
	}
	if err != nil {
		return 0, fmt.Errorf("time %q: %w; type for example 90 min, 1h30 or 1:30", typed, err)
	}
	return d, nil
}

// colonDuration reads h:mm, m:ss or h:mm:ss.
func colonDuration(typed string, def time.Duration) (time.Duration, error) {
	parts := strings.Split(typed, ":")
	unit := time.Hour
	if len(parts) == 2 && def == time.Second {
		unit = time.Minute
	}
	if len(parts) > 3 {
		return 0, fmt.Errorf("more than two colons")
	}
	var total time.Duration
	for i, p := range parts {
		n, err := strconv.ParseUint(p, 10, 16)
		if err != nil {
			return 0, fmt.Errorf("%q is not a whole number", p)
		}
		if i > 0 && (n > 59 || len(p) != 2) {
			return 0, fmt.Errorf("%q after a colon must be 00 to 59", p)
		}
		total += time.Duration(n) * unit
		unit /= 60
	}
	return bounded(total.Seconds())
}

// unitDuration reads one or more numbers with their units, from large to small.
func unitDuration(typed string, def time.Duration) (time.Duration, error) {
	rest, prev := typed, time.Duration(math.MaxInt64)
	var seconds float64
	for rest != "" {
		num, tail := splitNumber(rest)
		name, tail := splitLetters(strings.TrimLeft(tail, " "))
		v, err := number(num)
		if err != nil {
			return 0, err
		}
		unit, err := durationUnit(name, def, prev)
		if err != nil {
			return 0, err
		}
		if unit >= prev {
			return 0, fmt.Errorf("units must go from large to small")
		}
		if prev != math.MaxInt64 && v >= float64(prev/unit) {
			return 0, fmt.Errorf("%s does not fit below the unit before it", num)
		}
		seconds += v * unit.Seconds()
		prev = unit
		rest = strings.TrimLeft(tail, " ")
		if rest != "" && v != math.Trunc(v) {
			return 0, fmt.Errorf("only the last part may have a fraction")
		}
	}
	return bounded(seconds)
}

// durationUnit finds the unit called name; an empty name is def for the first
// number and the next smaller unit for one that follows.
func durationUnit(name string, def, prev time.Duration) (time.Duration, error) {
	switch strings.ToLower(name) {
	case "":
		switch prev {
		case math.MaxInt64:
			return def, nil
		case 24 * time.Hour:
			return time.Hour, nil
		case time.Hour:
			return time.Minute, nil
		case time.Minute:
			return time.Second, nil
		}
		return 0, fmt.Errorf("a number after seconds has no meaning")
	case "d", "day", "days":
		return 24 * time.Hour, nil
	case "h", "hr", "hrs", "hour", "hours":
		return time.Hour, nil
	case "m", "min", "mins", "minute", "minutes", "'", "′":
		return time.Minute, nil
	case "s", "sec", "secs", "second", "seconds", "\"", "″":
		return time.Second, nil
	}
	return 0, fmt.Errorf("unit %q is not known; use h, min or s", name)
}

// splitLetters cuts s where a digit, a sign or a space ends the word.
func splitLetters(s string) (word, rest string) {
	end := strings.IndexAny(s, "0123456789+-., ")
	if end < 0 {
		end = len(s)
	}
	return s[:end], s[end:]
}

// bounded turns seconds into a Duration of whole seconds within the limit.
func bounded(seconds float64) (time.Duration, error) {
	if seconds > maxDuration.Seconds() {
		return 0, fmt.Errorf("longer than 14 days")
	}
	return time.Duration(math.Round(seconds)) * time.Second, nil
}
