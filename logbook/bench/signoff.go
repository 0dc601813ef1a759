package bench

import (
	"fmt"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// The sign-off of a day by whoever leads the bench. The bench rests on the last one alone:
// what a day held, and what changed since, is asked of the book.
var signingOff = subject{
	rules: []rule{
		on((*checker).signOff, func(b *Bench, a action.SignOff, it *Item) {
			b.Signed = &signed{SignOff: a, By: it.Action.By, At: it.Stamp, Seq: it.Seq}
		}, uncorrected, quiet, alive(latest[action.SignOff])),
	},
}

// signed is the last sign-off of a day.
type signed struct {
	action.SignOff
	By  string
	At  timers.Stamp
	Seq uint64 // its record
}

func (c *checker) signOff(a action.SignOff) (action.SignOff, error) {
	from, _ := a.Bounds()
	if from.After(c.at.At) {
		return a, fmt.Errorf("%s has not begun: sign a day off once it has", a.Day)
	}
	for _, it := range c.b.Items { // else the sheet would say that it was there to be seen
		if _, is := it.Body.(action.SignOff); !is && it.TakenBack == nil && it.Stamp.At.After(c.at.At) {
			return a, fmt.Errorf("record %d was done at %s, after that: sign off as of now", it.Seq, stampText(it.Stamp.At))
		}
	}
	return a, nil
}
