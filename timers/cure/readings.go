package cure

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// Limits for readings (house defaults).
const (
	MaxReadings   = MaxKnots
	ThinK         = 0.1              // readings within this of a straight line are dropped before a run
	DefaultBandK  = 2.0              // out of band beyond this
	DefaultSilent = 5 * time.Minute  // a probe that says nothing for longer is silent
	believe       = 60 * time.Second // how long the step between a reading and the set point takes
	maxLine       = 256
)

// Reading is one bath temperature and when it was read.
type Reading struct {
	At    time.Time `json:"at"`
	TempC float64   `json:"c"`
}

// ParseTempC reads a temperature typed or written in °C, such as "74", "74.25", "74,25" or "74.2 °C". What no bath can
// read is refused.
func ParseTempC(text string) (float64, error) {
	num := strings.TrimSpace(text)
	for _, unit := range []string{"°C", "ºC", "C", "c"} {
		if rest, ok := strings.CutSuffix(num, unit); ok {
			num = strings.TrimSpace(rest)
			break
		}
	}
	c, err := parseNumber(strings.Replace(num, ",", ".", 1))
	if err != nil {
		return 0, fmt.Errorf("reading %q is not a temperature in °C", clip(text))
	}
	if err := checkTemp(c); err != nil {
		return 0, fmt.Errorf("reading %w", err)
	}
	return c, nil
}

// ParseReading reads one line a probe program writes: the time in RFC 3339, space, the temperature in °C, such as
// "2026-11-25T22:04:00+01:00 74.1".
func ParseReading(line string) (Reading, error) {
	fields := strings.Fields(line)
	if len(fields) != 2 {
		return Reading{}, fmt.Errorf("line %q: write the time in RFC 3339, a space and the temperature in °C", clip(line))
	}
	at, err := time.Parse(time.RFC3339, fields[0])
	if err != nil {
		return Reading{}, fmt.Errorf("line %q: the time is not RFC 3339, such as 2026-11-25T22:04:00+01:00", clip(line))
	}
	c, err := ParseTempC(fields[1])
	if err != nil {
		return Reading{}, err
	}
	return Reading{at, c}, nil
}

// ParseThousandths reads a file of the kernel's hwmon interface (temp*_input) or a 1-wire sensor's temperature file: a
// whole number of thousandths of a °C.
func ParseThousandths(text string) (float64, error) {
	n, err := strconv.ParseInt(strings.TrimSpace(text), 10, 32)
	if err != nil {
		return 0, fmt.Errorf("sensor text %q is not a whole number of thousandths of a °C", clip(text))
	}
	c := float64(n) / 1000
	if err := checkTemp(c); err != nil {
		return 0, fmt.Errorf("reading %w", err)
	}
	return c, nil
}

// ParseW1Slave reads the w1_slave file of a 1-wire thermometer (kernel driver w1_therm): two lines of nine bytes in hex,
// the first ending in the verdict on the checksum, the second in t= and thousandths of a °C.
//
// Refused are a checksum that failed and the two values the driver's documentation names as no measurement: with byte 6
// at 0c, 85.00 (just powered up) and 127.94 (not enough power).
func ParseW1Slave(text string) (float64, error) {
	first, second, ok := strings.Cut(strings.TrimSpace(text), "\n")
	if !ok || len(text) > maxLine {
		return 0, fmt.Errorf("sensor text %q is not the two lines of a 1-wire thermometer", clip(text))
	}
	head := strings.Fields(first)
	if len(head) == 0 || head[len(head)-1] != "YES" {
		return 0, errors.New("the 1-wire checksum failed: reading refused")
	}
	hex, thousandths, ok := strings.Cut(second, "t=")
	if !ok {
		return 0, fmt.Errorf("sensor text %q has no t=", clip(second))
	}
	c, err := ParseThousandths(thousandths)
	if err != nil {
		return 0, err
	}
	if b := strings.Fields(hex); len(b) > 6 && strings.EqualFold(b[6], "0c") {
		switch {
		case c == 85:
			return 0, errors.New("the 1-wire sensor has just powered up and measured nothing yet: reading refused")
		case c > 127.93 && c < 127.95:
			return 0, errors.New("the 1-wire sensor has not enough power to measure: reading refused")
		}
	}
	return c, nil
}

// Follows checks that r may come after last: a time that runs back is refused. A second reading at the same time is taken.
func (r Reading) Follows(last Reading) error {
	if err := checkTemp(r.TempC); err != nil {
		return fmt.Errorf("reading %w", err)
	}
	if r.At.Before(last.At) {
		return fmt.Errorf("reading of %s is from before the last one, %s: its clock runs back",
			r.At.Format(time.RFC3339), last.At.Format(time.RFC3339))
	}
	return nil
}

// Refusal is a line that was not taken, and why.
type Refusal struct {
	Line int // from 1
	Err  error
}

func (r Refusal) String() string { return fmt.Sprintf("line %d: %v", r.Line, r.Err) }

// maxRefusals is how many refused lines are told one by one.
const maxRefusals = 100

// ReadReadings reads the lines of a probe program. Empty lines and lines that begin with # are passed over; a line that
// cannot be a reading, or whose time runs back, is refused and said, and the rest are taken. refused counts all of them,
// told holds the first hundred. More than [MaxReadings] lines, or a read that fails, is an error.
func ReadReadings(r io.Reader) (taken []Reading, told []Refusal, refused int, err error) {
	in := bufio.NewReaderSize(r, maxLine)
	for line := 1; ; line++ {
		text, err := readLine(in)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, nil, 0, fmt.Errorf("readings: line %d: %w", line, err)
		}
		if line > MaxReadings && (err == nil || text != "") {
			return nil, nil, 0, fmt.Errorf("readings: more than %d lines", MaxReadings)
		}
		if trimmed := strings.TrimSpace(text); trimmed != "" && trimmed[0] != '#' {
			reading, bad := ParseReading(trimmed)
			if bad == nil && len(taken) > 0 {
				bad = reading.Follows(taken[len(taken)-1])
			}
			if bad == nil {
				taken = append(taken, reading)
			} else if refused++; len(told) < maxRefusals {
				told = append(told, Refusal{line, bad})
			}
		}
		if err != nil {
			return taken, told, refused, nil //nolint:nilerr // the end of the input
		}
	}
}

// readLine is the next line without its end, cut at maxLine; the rest of a longer one is passed over, up to a bound.
func readLine(in *bufio.Reader) (string, error) {
	head, err := in.ReadSlice('\n')
	text := string(head)
	const maxChunks = 4096 // a megabyte without an end of line is not a file of readings
	for chunk := 0; errors.Is(err, bufio.ErrBufferFull); chunk++ {
		if chunk == maxChunks {
			return "", errors.New("the line has no end")
		}
		_, err = in.ReadSlice('\n')
	}
	return strings.TrimSuffix(text, "\n"), err
}

// clip shortens text for an error to one line of 40 characters.
func clip(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if r := []rune(text); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return text
}

// Silent says whether a probe last heard at last has been silent for longer than limit at now, and for how long. A now
// before last (a clock set back) is no silence.
func Silent(last, now time.Time, limit time.Duration) (time.Duration, bool) {
	quiet := max(now.Sub(last), 0)
	return quiet, quiet > limit
}

// Follow is the bath as it was: the readings, straight between them, from the first to the last; between two that lie
// within [DefaultBandK] of the set point the set point shifted by what they were off it, so that a ramp between two
// readings far apart is no slope of hours. Before and after them it is the set point, joined over a minute. startC is the bath's temperature at start for a programme that begins with a ramp. Points
// within [ThinK] of a straight line are dropped. Readings from before start serve only to give the bath at start.
func Follow(p Programme, startC float64, start time.Time, readings []Reading) ([]Knot, error) {
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
		if k.TimeS > MaxDuration.Seconds() || k.TimeS < -MaxDuration.Seconds() {
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
		read = From(read, 0)
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
