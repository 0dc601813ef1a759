package action

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"flaskside/logbook/route"
)

// EndsAtOutcome says of a case that it leaves the list with the outcome of its flask.
const EndsAtOutcome = "outcome"

// CaseStep says that a step of a case's route was done, or begun where a timer runs from it
// on, or that the pressure was lost under which it stands. The bench fills in what the table
// of the route says, so that a later change of the table changes nothing that is at work.
type CaseStep struct {
	Case   string      `json:"case"`
	Base   string      `json:"base" jsonschema:"enum=upper,enum=lower,enum=partial,enum=reline"`
	Step   string      `json:"step" jsonschema_description:"by its name in the table of the route"`
	Event  string      `json:"event,omitempty" jsonschema:"enum=pressure lost,enum=pressure back" jsonschema_description:"what happened while the step ran; left out: the step itself"`
	Judged string      `json:"judged,omitempty" jsonschema_description:"of a check: what was found"`
	Values []StepValue `json:"values,omitempty" jsonschema_description:"what the step asks for; left out: as the table has it"`

	Words    string         `json:"words,omitempty" jsonschema_description:"what the table calls it; filled in by the bench, as is all that follows"`
	Short    string         `json:"short,omitempty"`
	As       route.StepKind `json:"kind,omitempty" jsonschema:"enum=timer,enum=hold,enum=instant,enum=check,enum=value"`
	Place    string         `json:"place,omitempty" jsonschema:"enum=bench,enum=press,enum=bath,enum=pot,enum=oven"`
	MinS     int            `json:"min_s,omitempty"`
	AimS     int            `json:"aim_s,omitempty"`
	MaxS     int            `json:"max_s,omitempty"`
	Urgent   bool           `json:"urgent,omitempty"`
	Pressure bool           `json:"pressure,omitempty" jsonschema_description:"it stands under pressure until the next step"`
	Again    bool           `json:"again,omitempty" jsonschema_description:"the judgement does not let it go on"`
	Last     bool           `json:"last,omitempty" jsonschema_description:"no step follows: the case leaves the list"`
}

// StepValue is one value that a step asked for.
type StepValue struct {
	Name  string  `json:"name"`
	Words string  `json:"words,omitempty"`
	Of    string  `json:"of,omitempty" jsonschema:"enum=temperature,enum=pressure,enum=grams,enum=mm,enum=number,enum=text,enum=powder lot,enum=liquid lot,enum=separator lot,enum=stone lot,enum=sheet lot"`
	Value float64 `json:"value,omitempty" jsonschema_description:"in °C, psi, grams, mm or as it is"`
	Text  string  `json:"text,omitempty"`
}

// What can happen while a step runs.
const (
	PressureLost = "pressure lost"
	PressureBack = "pressure back"
)

var events = []string{"", PressureLost, PressureBack}

// Kind of a step.
func (CaseStep) Kind() Kind { return "case-step" }

// Subjects of a step: a case is no thing on the bench.
func (CaseStep) Subjects() []Subject { return nil }

// most values a step asks for, and steps that are named in one record.
const (
	mostValues = 4
	mostNamed  = 40
)

// Valid takes what [CaseStep] names.
func (b CaseStep) Valid() error {
	if err := first(caseNumber(b.Case), oneOf("base", b.Base, Bases), stepName("step", b.Step), oneOf("event", b.Event, events), text("judged", b.Judged, 40),
		text("words", b.Words, 48), text("short", b.Short, 14), oneOf("kind", b.As, append([]route.StepKind{""}, route.Kinds...)), oneOf("place", b.Place, append([]string{""}, route.Places...)),
		seconds("min_s", b.MinS), seconds("aim_s", b.AimS), seconds("max_s", b.MaxS), upTo("max_s", b.MaxS, max(b.MinS, b.AimS))); err != nil {
		return err
	}
	switch {
	case b.As == route.Flask || b.As == route.Deliver:
		return fmt.Errorf("a step of the kind %q has a record of its own kind", b.As)
	case b.Event != "" && (b.Judged != "" || len(b.Values) > 0):
		return errors.New("an event has no judgement and no values: record them with the step")
	case len(b.Values) > mostValues:
		return fmt.Errorf("a step has at most %d values, this has %d", mostValues, len(b.Values))
	}
	seen := map[string]bool{}
	for _, v := range b.Values {
		switch err := first(stepName("values.name", strings.ReplaceAll(v.Name, "_", "-")), text("values.words", v.Words, 40), oneOf("values.of", v.Of, append([]string{""}, route.Measures...)), text("values.text", v.Text, maxScan)); {
		case err != nil:
			return err
		case seen[v.Name]:
			return fmt.Errorf("values names %s twice", v.Name)
		case math.IsNaN(v.Value) || math.Abs(v.Value) > 1e6:
			return fmt.Errorf("%s must be a number up to a million, not %g", v.Name, v.Value)
		}
		seen[v.Name] = true
	}
	return nil
}

// stepName is the name of a step or a field of a table.
func stepName(name, s string) error {
	if err := line(name, s, 24); err != nil {
		return err
	}
	if strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return fmt.Errorf("%s has small letters, digits and hyphens, not %q", name, clip(s))
	}
	return nil
}

// names are names of steps.
func names(name string, ss []string) error {
	if len(ss) > mostNamed {
		return fmt.Errorf("%s has at most %d entries", name, mostNamed)
	}
	for i, s := range ss {
		if err := stepName(name, s); err != nil {
			return err
		}
		if slices.Contains(ss[:i], s) {
			return fmt.Errorf("%s names %s twice", name, s)
		}
	}
	return nil
}

// Called is what the step was called, or its name where nobody filled that in.
func (b CaseStep) Called() string { return route.Step{Name: b.Step, Words: b.Words}.Called() }

// Brief is the same for a narrow column.
func (b CaseStep) Brief() string {
	return route.Step{Name: b.Step, Words: b.Words, Short: b.Short}.Brief()
}

func (b CaseStep) tell(t Teller) string {
	s := fmt.Sprintf("case %s %s: ", b.Case, b.Base)
	if b.Event != "" {
		return s + b.Event + ", " + b.Called()
	}
	if s += b.Called(); b.Judged != "" {
		s = strings.TrimSuffix(s, "?") + ": " + b.Judged
	}
	for _, v := range b.Values {
		s += ", " + t.value(v)
	}
	return s + t.bounds("time", b.MinS, b.MaxS)
}

// value words one value of a step.
func (t Teller) value(v StepValue) string {
	f := route.Field{Name: v.Name, Words: v.Words, Of: v.Of}
	if _, lot := route.LotOf(v.Of); lot {
		return f.Called() + " " + t.lot(v.Text)
	}
	if v.Of == route.Text || v.Of == "" && v.Text != "" {
		return f.Called() + " " + v.Text
	}
	return f.Called() + " " + f.Show(v.Value, t.Units.Pressure, t.Units.Temperature)
}

// Value words one value of a step in the units of a house.
func (t Teller) Value(v StepValue) string { return t.value(v) }
