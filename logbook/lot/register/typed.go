package register

import (
	"errors"
	"fmt"
	"io"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/lot"
	"flaskside/timers"
)

// entry gives what to record of what was scanned; a code that cannot be read is an error, for at a
// command line there is time to look at the label.
func entry(scans []string, line io.Reader, year int) (string, error) {
	l, err := lot.Scanned(scans, line, year)
	if err == nil && l.Name() == "" {
		err = errors.New("this code names a product and no lot: scan the other code of the label, too, or type the lot")
	}
	return l.Entry(), err
}

// TakenIn makes a taking in of the codes of a label, as [lot.Scanned] reads them, and of the last day
// of use as typed, "" where nobody said it.
func TakenIn(in action.LotIn, scans []string, line io.Reader, expiry string, year int) (action.LotIn, error) {
	var err error
	if in.Lot, err = entry(scans, line, year); err != nil || expiry == "" {
		return in, err
	}
	d, err := lot.TypedDate(expiry)
	if err != nil {
		return in, fmt.Errorf("--expiry: %w", err)
	}
	in.Expiry = d.String()
	return in, nil
}

// Withdrawn makes a withdrawal of the codes of a label.
func Withdrawn(out action.LotOut, scans []string, line io.Reader, year int) (action.LotOut, error) {
	var err error
	out.Lot, err = entry(scans, line, year)
	return out, err
}

// Told says what was taken in or withdrawn.
func Told(body action.Body, now time.Time) string {
	name := func(text string) string { return bench.KnownLot{Lot: text, In: &timers.Stamp{At: now}}.Name() }
	switch a := body.(type) {
	case action.LotIn:
		until := ""
		if a.Expiry != "" {
			until = ", to be used until " + a.Expiry
		}
		return fmt.Sprintf("taken in: %s lot %s%s", a.Material, name(a.Lot), until)
	case action.LotOut:
		return fmt.Sprintf("withdrawn: %s lot %s, %s", a.Material, name(a.Lot), a.Reason)
	}
	return ""
}
