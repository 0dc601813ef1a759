package action

import (
	"fmt"
	"time"
)

// SignOff says that whoever leads the bench has looked through the sheet of a day. It says
// nothing of what is recorded after it: what changed since stands on the sheet.
type SignOff struct {
	Day   string `json:"day" jsonschema:"format=date" jsonschema_description:"the day by the calendar of the house"`
	From  string `json:"from" jsonschema:"format=date-time" jsonschema_description:"its first instant"`
	Until string `json:"until" jsonschema:"format=date-time" jsonschema_description:"the first instant after it"`
}

// SignOffOf is the sign-off of a day that lies between two midnights.
func SignOffOf(from, until time.Time) SignOff {
	return SignOff{Day: from.Format(time.DateOnly), From: from.Format(time.RFC3339), Until: until.Format(time.RFC3339)}
}

// Kind of a sign-off.
func (SignOff) Kind() Kind { return "sign-off" }

// Subjects of a sign-off: a day is no thing on the bench.
func (SignOff) Subjects() []Subject { return nil }

// Bounds of a day with the clocks changed; more than that is none.
const shortDay, longDay = 20 * time.Hour, 28 * time.Hour

// Valid takes a day of the calendar from midnight to midnight.
func (b SignOff) Valid() error {
	if b.Day == "" {
		return fmt.Errorf("day is missing: which day is signed off? as in 2026-11-25")
	}
	if err := date("day", b.Day); err != nil {
		return err
	}
	from, ferr := time.Parse(time.RFC3339, b.From)
	until, uerr := time.Parse(time.RFC3339, b.Until)
	switch long := until.Sub(from); {
	case ferr != nil || uerr != nil:
		return fmt.Errorf("from and until are the midnights of the day, as in 2026-11-25T00:00:00+01:00 (RFC 3339)")
	case from.Format(time.DateOnly) != b.Day:
		return fmt.Errorf("from is not on the day %s", b.Day)
	case long < shortDay || long > longDay:
		return fmt.Errorf("from and until are %s apart: a day is from midnight to midnight", long)
	}
	return nil
}

// Bounds gives the first instant of the day and the first after it; zero where the texts are
// none, which no record holds.
func (b SignOff) Bounds() (from, until time.Time) {
	from, ferr := time.Parse(time.RFC3339, b.From)
	until, uerr := time.Parse(time.RFC3339, b.Until)
	if ferr != nil || uerr != nil {
		return time.Time{}, time.Time{}
	}
	return from, until
}

// No is the day as a number, 20261125.
func (b SignOff) No() int {
	t, err := time.Parse(time.DateOnly, b.Day)
	if err != nil {
		return 0
	}
	return t.Year()*10000 + int(t.Month())*100 + t.Day()
}

func (b SignOff) tell(Teller) string {
	from, _ := b.Bounds()
	return "sheet of " + from.Format("Mon 2 Jan 2006") + " signed off"
}
