package probe

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/cure"
)

// maxLine is the longest line of a probe program that is read whole, bytes.
const maxLine = 256

// parseTempC reads a temperature typed or written in °C, such as "74", "74.25", "74,25" or "74.2 °C". What no bath can
// read is refused.
func parseTempC(text string) (float64, error) {
	num := strings.TrimSpace(text)
	for _, unit := range []string{"°C", "ºC", "C", "c"} {
		if rest, ok := strings.CutSuffix(num, unit); ok {
			num = strings.TrimSpace(rest)
			break
		}
	}
	c, err := units.Plain(strings.Replace(num, ",", ".", 1))
	if err != nil {
		return 0, fmt.Errorf("reading %q is not a temperature in °C", clip(text))
	}
	if err := plausible(c); err != nil {
		return 0, err
	}
	return c, nil
}

// parseReading reads one line a probe program writes: the time in RFC 3339, space, the temperature in °C, such as
// "2026-11-25T22:04:00+01:00 74.1".
func parseReading(line string) (cure.BathReading, error) {
	fields := strings.Fields(line)
	if len(fields) != 2 {
		return cure.BathReading{}, fmt.Errorf("line %q: write the time in RFC 3339, a space and the temperature in °C", clip(line))
	}
	at, err := time.Parse(time.RFC3339, fields[0])
	if err != nil {
		return cure.BathReading{}, fmt.Errorf("line %q: the time is not RFC 3339, such as 2026-11-25T22:04:00+01:00", clip(line))
	}
	c, err := parseTempC(fields[1])
	if err != nil {
		return cure.BathReading{}, err
	}
	return cure.BathReading{At: at, TempC: c}, nil
}

// parseThousandths reads a file of the kernel's hwmon interface (temp*_input) or a 1-wire sensor's temperature file: a
// whole number of thousandths of a °C.
func parseThousandths(text string) (float64, error) {
	n, err := strconv.ParseInt(strings.TrimSpace(text), 10, 32)
	if err != nil {
		return 0, fmt.Errorf("sensor text %q is not a whole number of thousandths of a °C", clip(text))
	}
	c := float64(n) / 1000
	if err := plausible(c); err != nil {
		return 0, err
	}
	return c, nil
}

// parseW1Slave reads the w1_slave file of a 1-wire thermometer (kernel driver w1_therm): two lines of nine bytes in hex,
// the first ending in the verdict on the checksum, the second in t= and thousandths of a °C.
//
// Refused are a checksum that failed and the two values the driver's documentation names as no measurement: with byte 6
// at 0c, 85.00 (just powered up) and 127.94 (not enough power).
func parseW1Slave(text string) (float64, error) {
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
	c, err := parseThousandths(thousandths)
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

// refusal is a line that was not taken, and why.
type refusal struct {
	Line int // from 1
	Err  error
}

func (r refusal) String() string { return fmt.Sprintf("line %d: %v", r.Line, r.Err) }

// maxRefusals is how many refused lines are told one by one.
const maxRefusals = 100

// readLines reads the lines of a probe program. Empty lines and lines that begin with # are passed over; a line that
// cannot be a reading, or whose time runs back, is refused and said, and the rest are taken. refused counts all of them,
// told holds the first hundred. More than [cure.MaxReadings] lines, or a read that fails, is an error.
func readLines(r io.Reader) (taken []cure.BathReading, told []refusal, refused int, err error) {
	in := bufio.NewReaderSize(r, maxLine)
	for line := 1; ; line++ {
		text, err := readLine(in)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, nil, 0, fmt.Errorf("readings: line %d: %w", line, err)
		}
		if line > cure.MaxReadings && (err == nil || text != "") {
			return nil, nil, 0, fmt.Errorf("readings: more than %d lines", cure.MaxReadings)
		}
		if trimmed := strings.TrimSpace(text); trimmed != "" && trimmed[0] != '#' {
			reading, bad := parseReading(trimmed)
			if bad == nil && len(taken) > 0 {
				bad = reading.Follows(taken[len(taken)-1])
			}
			if bad == nil {
				taken = append(taken, reading)
			} else if refused++; len(told) < maxRefusals {
				told = append(told, refusal{line, bad})
			}
		}
		if err != nil {
			return taken, told, refused, nil //nolint:nilerr // the end of the input
		}
	}
}

// ReadFile reads a file of readings. What was refused of it is told on the side; a file in which
// nothing can be read is an error.
func ReadFile(path string, side io.Writer) ([]cure.BathReading, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("readings: %w", err)
	}
	taken, told, refused, err := readLines(f)
	_ = f.Close() // only read from
	if err != nil {
		return nil, err
	}
	for _, t := range told {
		_, _ = fmt.Fprintf(side, "%s: %s\n", path, words.Clean(t.String())) // what is told beside the answer
	}
	if refused > len(told) {
		_, _ = fmt.Fprintf(side, "%s: and %d more lines refused\n", path, refused-len(told))
	}
	if len(taken) == 0 {
		return nil, fmt.Errorf("%s holds no reading: write lines such as 2026-11-25T22:04:00+01:00 74.1", path)
	}
	return taken, nil
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
func clip(text string) string { return words.Clip(strings.Join(strings.Fields(text), " "), 40) }

// plausible refuses what no bath can be read as.
func plausible(c float64) error { return cure.BathReading{TempC: c}.Follows(cure.BathReading{}) }
