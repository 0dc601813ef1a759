package lot

import (
	"bufio"
	"errors"
	"fmt"
	"io"
)

// Scanned reads the one or two codes of a label; - stands for a line, as a scanner plays it on a
// keyboard.
func Scanned(scans []string, line io.Reader, year int) (Lot, error) {
	read := func(scan string) (Lot, error) {
		if scan == "-" {
			text, err := bufio.NewReader(io.LimitReader(line, 1<<14)).ReadString('\n')
			if err != nil && !errors.Is(err, io.EOF) {
				return Lot{}, fmt.Errorf("read the standard input: %w", err)
			}
			scan = text
		}
		return Parse(scan, year)
	}
	l, err := read(scans[0])
	if err != nil || len(scans) == 1 {
		return l, err
	}
	second, err := read(scans[1])
	if err != nil {
		return second, err
	}
	if l, err = join(l, second, year); err != nil {
		return l, err
	}
	return l.complete(), nil
}
