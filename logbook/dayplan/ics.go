package dayplan

import (
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"
)

// errNothingPlanned says that a calendar would be empty, which RFC 5545 does not allow.
var errNothingPlanned = errors.New("nothing to put in a calendar: no case is planned")

// ICS writes the plan as a calendar (RFC 5545): each mix from its moulds to its last closure, each load from when it
// goes in to when it comes out, each case when it is due. All is tentative. The same step of the same cases has the same
// UID, so that a later plan takes the place of the one before.
func (d *Day) ICS(w io.Writer) error {
	s := d.Show()
	if len(s.Cases) == 0 {
		return errNothingPlanned
	}
	c := ics.NewCalendar()
	c.SetProductId("-//flaskside//day plan//EN")
	c.SetMethod(ics.MethodPublish)
	add := func(kind string, cases []string, from, to *time.Time, summary, details string) {
		if from == nil || to == nil {
			return
		}
		id := fnv.New64a()
		fmt.Fprint(id, kind, from.Format(time.DateOnly), cases)
		e := c.AddEvent(fmt.Sprintf("%016x-plan@flaskside", id.Sum64()))
		e.SetDtStampTime(s.At.UTC())
		e.SetStartAt(from.UTC())
		e.SetEndAt(to.UTC())
		e.SetSummary(summary)
		e.SetDescription(details + "\n" + s.What)
		e.SetStatus(ics.ObjectStatusTentative)
	}
	for _, x := range s.Mixes {
		details := "paint from " + d.Clock(x.CoatFrom)
		if x.Latest != nil {
			details += "; mix at the latest " + d.By(*x.Latest)
		}
		add("mix", x.Cases, x.MixAt, x.Closed, fmt.Sprintf("mix %d: %s (%s)", x.No, strings.Join(x.Cases, " + "), x.Resin), details)
	}
	for _, x := range s.Loads {
		details := "in about " + d.Clock(x.In)
		if x.Latest != nil {
			details += ", at the latest " + d.By(*x.Latest)
		}
		add("load", x.Cases, x.In, x.Out, fmt.Sprintf("%s, %s: %s", x.Bath, x.Programme, strings.Join(x.Cases, ", ")), details)
	}
	for _, x := range s.Cases {
		add("due", []string{x.Case}, x.Due, x.Due, "due: "+x.Case, fmt.Sprintf("finished about %s; %s", d.Clock(x.Finished), x.Late))
	}
	return c.SerializeTo(w, ics.WithNewLineWindows)
}
