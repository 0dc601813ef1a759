package keep

import (
	"errors"
	"fmt"

	"flaskside/logbook/disk"
	"flaskside/timers"
)

// FaultFile keeps the traces of a fault of the program beside the book, for
// whoever mends it. Each screen has a number, so that two faults at once are two files; 0 is
// the program that has the book.
func FaultFile(path string, clock timers.Clock, screen int) func(trace string) string {
	return func(trace string) string {
		name := fmt.Sprintf("%s.fault-%s", path, clock.Read().Wall.Format("20060102-150405"))
		if screen > 0 {
			name += fmt.Sprintf("-screen%d", screen)
		}
		name += ".txt"
		f, err := disk.CreateOwn(name)
		if err != nil {
			return err.Error()
		}
		_, err = f.WriteString(trace)
		if err := errors.Join(err, f.Close()); err != nil {
			return err.Error()
		}
		return name
	}
}
