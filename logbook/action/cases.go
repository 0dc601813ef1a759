package action

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/timers/each"
)

// Cases that are taken in, before a flask is opened for them and until they go out. A case
// and its base name one piece of work: of an upper and a lower of one case each is taken in
// by itself, and the two are a pair.

// CaseIn is a base that is to be made, taken in with when it is due.
type CaseIn struct {
	Case     string `json:"case" jsonschema_description:"the case number of the house, never a name"`
	Base     string `json:"base" jsonschema:"enum=upper,enum=lower,enum=partial,enum=reline"`
	Size     Size   `json:"size,omitempty" jsonschema:"enum=small,enum=medium,enum=large" jsonschema_description:"left out where the route has no flask"`
	Due      string `json:"due" jsonschema:"format=date-time" jsonschema_description:"when it must be ready"`
	Rush     bool   `json:"rush,omitempty" jsonschema_description:"before others that are due with it"`
	Resin    string `json:"resin,omitempty" jsonschema_description:"the resin by its name in the settings; left out: the first"`
	Shade    string `json:"shade,omitempty"`
	RemakeOf string `json:"remake_of,omitempty" jsonschema_description:"the case number that this one replaces"`
	Remark   string `json:"remark,omitempty" jsonschema_description:"anything else, but no name of a person"`
	Route    string `json:"route,omitempty" jsonschema_description:"how it is made: a route by its name in the settings; left out: no step of it is asked"`
	Made     int    `json:"made,omitempty" jsonschema_description:"the flask in which it was finished before it was taken in; filled in by the bench"`
	Ends     string `json:"ends,omitempty" jsonschema:"enum=outcome" jsonschema_description:"it leaves the list with the outcome of its flask, for no step of its route follows; filled in by the bench"`
}

// CaseOff takes a case off the list without its having been delivered.
type CaseOff struct {
	Case   string `json:"case"`
	Base   string `json:"base" jsonschema:"enum=upper,enum=lower,enum=partial,enum=reline"`
	Reason string `json:"reason" jsonschema_description:"why it will not be made, as in withdrawn by the practice"`
}

// CaseDelivered says that a finished base left the house, and what of the closing list had
// been done to it.
type CaseDelivered struct {
	Case    string   `json:"case"`
	Base    string   `json:"base" jsonschema:"enum=upper,enum=lower,enum=partial,enum=reline"`
	Done    []string `json:"done,omitempty" jsonschema:"enum=finished,enum=polished,enum=disinfected,enum=labelled,enum=statement prepared"`
	WetH    float64  `json:"wet_h,omitempty" jsonschema_description:"hours it lay in water; left out: not at all"`
	Missing []string `json:"missing,omitempty" jsonschema_description:"steps of its route that were not recorded, by their names; filled in by the bench"`
}

// Closing lists what is looked through before a base goes out.
var Closing = []string{"finished", "polished", "disinfected", "labelled", "statement prepared"}

// Short lists what of the closing list was not done.
func (b CaseDelivered) Short() []string {
	return each.That(Closing, func(c string) bool { return !slices.Contains(b.Done, c) })
}

// The kinds by name.
func (CaseIn) Kind() Kind        { return "case-in" }
func (CaseOff) Kind() Kind       { return "case-off" }
func (CaseDelivered) Kind() Kind { return "case-delivered" }

// Subjects of each kind: a case is no thing on the bench.
func (CaseIn) Subjects() []Subject        { return nil }
func (CaseOff) Subjects() []Subject       { return nil }
func (CaseDelivered) Subjects() []Subject { return nil }

// CaseOf gives the case number and the base that a body is about; ok is false for one that
// is about none.
func CaseOf(body Body) (number, base string, ok bool) {
	switch a := body.(type) {
	case CaseIn:
		return a.Case, a.Base, true
	case CaseOff:
		return a.Case, a.Base, true
	case CaseDelivered:
		return a.Case, a.Base, true
	case CaseStep:
		return a.Case, a.Base, true
	case FlaskOpen:
		return a.Case, a.Base, true
	}
	return "", "", false
}

// maxWetH is the longest storage in water that is taken for no slip of the key, hours.
const maxWetH = 60 * 24

// Valid of each kind.
func (b CaseIn) Valid() error {
	sizes := Sizes
	if b.Route != "" && b.Size == "" { // whether its route has a flask is the bench's to say
		sizes = []Size{""}
	}
	return first(caseNumber(b.Case), oneOf("base", b.Base, Bases), oneOf("size", b.Size, sizes), dueAt(b.Due), text("resin", b.Resin, 40),
		text("shade", b.Shade, 24), text("remake_of", b.RemakeOf, 24), text("remark", b.Remark, 160), text("route", b.Route, 24), oneOf("ends", b.Ends, []string{"", EndsAtOutcome}), between("made", float64(b.Made), 0, 1e9, "as number of a flask"))
}

func (b CaseOff) Valid() error {
	return first(caseNumber(b.Case), oneOf("base", b.Base, Bases), line("reason", b.Reason, 80))
}

func (b CaseDelivered) Valid() error {
	return first(caseNumber(b.Case), oneOf("base", b.Base, Bases), fromList("done", b.Done, Closing), between("wet_h", b.WetH, 0, maxWetH, "h"), names("missing", b.Missing))
}

// caseNumber is a case number without blanks around it: 4417 and " 4417" must not be two
// cases.
func caseNumber(s string) error {
	if s != strings.TrimSpace(s) {
		return errors.New("case begins or ends with a blank: leave it out")
	}
	return line("case", s, 24)
}

func dueAt(s string) error {
	t, err := time.Parse(time.RFC3339, s)
	switch {
	case s == "":
		return fmt.Errorf(`due is missing: when must it be ready? as in "due":"2026-11-25T17:00:00+01:00"`)
	case err != nil:
		return fmt.Errorf("due must be an instant as 2026-11-25T17:00:00+01:00 (RFC 3339), not %q", clip(s))
	case t.Year() < 1990 || t.Year() > 2200:
		return fmt.Errorf("due says the year %d: check the date", t.Year())
	}
	return nil
}

// DueAt is when the case is due; zero where the text is none, which no record holds.
func (b CaseIn) DueAt() time.Time {
	t, err := time.Parse(time.RFC3339, b.Due)
	if err != nil {
		return time.Time{}
	}
	return t
}

func (a CaseIn) tell(t Teller) string {
	s := fmt.Sprintf("case taken in: %s %s", a.Case, a.Base)
	if a.Size != "" {
		s += ", " + string(a.Size)
	}
	s += ", due " + a.DueAt().Format("Mon 2 Jan 2006 15:04")
	if a.Rush {
		s += ", rush"
	}
	if a.Made > 0 {
		s += fmt.Sprintf(", finished in flask %d before", a.Made)
	}
	if !t.Full {
		return s
	}
	for _, more := range []struct{ what, is string }{{"route ", a.Route}, {"resin ", a.Resin}, {"shade ", a.Shade}, {"remake of ", a.RemakeOf}, {"", a.Remark}} {
		if more.is != "" {
			s += ", " + more.what + more.is
		}
	}
	return s
}

func (a CaseOff) tell(Teller) string {
	return fmt.Sprintf("case %s %s taken off the list: %s", a.Case, a.Base, a.Reason)
}

func (a CaseDelivered) tell(Teller) string {
	s := fmt.Sprintf("case %s %s delivered", a.Case, a.Base)
	if len(a.Done) > 0 {
		s += ": " + strings.Join(a.Done, ", ")
	}
	if a.WetH > 0 {
		s += ", " + plainNumber(a.WetH) + " h in water"
	}
	if short := a.Short(); len(short) > 0 {
		s += "; not " + strings.Join(short, ", not ")
	}
	if len(a.Missing) > 0 {
		s += "; no record of " + strings.Join(a.Missing, ", ")
	}
	return s
}
