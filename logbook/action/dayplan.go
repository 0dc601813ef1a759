package action

import (
	"fmt"
	"strings"
	"time"
)

// DayPlan is a plan of the day that a person took, or put away. It holds what was meant to be
// done and when, as it was foretold then. Nothing counts as done by it: what was done has
// records of its own.
type DayPlan struct {
	Day      string     `json:"day" jsonschema:"format=date" jsonschema_description:"the day by the calendar of the house"`
	Away     bool       `json:"away,omitempty" jsonschema_description:"the plan is put away: none is followed from here on"`
	Reason   string     `json:"reason,omitempty" jsonschema_description:"why it takes the place of the plan before it"`
	People   int        `json:"people,omitempty" jsonschema_description:"pairs of hands"`
	Presses  int        `json:"presses,omitempty"`
	From     string     `json:"from,omitempty" jsonschema_description:"when work begins that day where it is not as in the settings, as 08:00"`
	To       string     `json:"to,omitempty" jsonschema_description:"and when it ends"`
	Down     []string   `json:"down,omitempty" jsonschema_description:"baths that are not used, by name"`
	GateMin  float64    `json:"gate_min,omitempty" jsonschema_description:"the next mix waits until the work left on the press is at most this, minutes"`
	First    []string   `json:"first,omitempty" jsonschema_description:"cases that a person put first, in this order"`
	Together [][]string `json:"together,omitempty" jsonschema_description:"cases that a person put into one mix"`
	Mixes    []PlanMix  `json:"mixes,omitempty"`
	Loads    []PlanLoad `json:"loads,omitempty"`
	Cases    []PlanCase `json:"cases,omitempty"`
}

// PlanMix is a mix of a plan.
type PlanMix struct {
	Cases     []string `json:"cases"`
	At        string   `json:"at,omitempty" jsonschema:"format=date-time" jsonschema_description:"when it is likely made; left out: not within the days foretold"`
	Latest    string   `json:"latest,omitempty" jsonschema:"format=date-time" jsonschema_description:"until when it may wait"`
	NotBefore string   `json:"not_before,omitempty" jsonschema:"format=date-time" jsonschema_description:"put off until then"`
}

// PlanLoad is a load of a plan.
type PlanLoad struct {
	Bath      string   `json:"bath"`
	Programme string   `json:"programme"`
	Cases     []string `json:"cases"`
	In        string   `json:"in,omitempty" jsonschema:"format=date-time" jsonschema_description:"when it likely goes in"`
	Latest    string   `json:"latest" jsonschema:"format=date-time" jsonschema_description:"then it goes in with those that are set"`
	Out       string   `json:"out,omitempty" jsonschema:"format=date-time"`
}

// PlanCase is what was foretold of a case.
type PlanCase struct {
	Case        string `json:"case" jsonschema_description:"number and base, as 4417 upper"`
	Finished    string `json:"finished,omitempty" jsonschema:"format=date-time"`
	LatePercent int    `json:"late_percent,omitempty" jsonschema_description:"chance to be late, in steps of 5 %; 5 is that or less, 95 that or more; left out: it has no due time"`
	Lost        bool   `json:"lost,omitempty" jsonschema_description:"its dough was over already"`
}

// Kind of a day plan.
func (DayPlan) Kind() Kind { return "day-plan" }

// Subjects of a day plan: it is no thing on the bench.
func (DayPlan) Subjects() []Subject { return nil }

// Bounds of a plan.
const (
	planned      = 40 // cases
	plannedName  = 48
	plannedBench = 9 // people, presses, baths
)

// Valid takes a plan in which no case is in two mixes or two loads.
func (b DayPlan) Valid() error {
	if err := first(date("day", b.Day), text("reason", b.Reason, 160), between("people", float64(b.People), 0, plannedBench, "pairs of hands"),
		between("presses", float64(b.Presses), 0, plannedBench, "presses"), planHour("from", b.From), planHour("to", b.To),
		between("gate_min", b.GateMin, 0, 1e4, "min"), planNames("down", b.Down, plannedBench), planNames("first", b.First, planned)); err != nil {
		return err
	}
	if b.Day == "" {
		return fmt.Errorf("day is missing: which day is planned? as in 2026-11-25")
	}
	if b.Away {
		if len(b.Mixes)+len(b.Loads)+len(b.Cases) > 0 {
			return fmt.Errorf("a plan that is put away has no mixes, loads or cases: leave them out, or away")
		}
		return nil
	}
	if len(b.Together) > planned || len(b.Mixes) > planned || len(b.Loads) > 2*planned || len(b.Cases) > planned {
		return fmt.Errorf("a plan has at most %d cases, as many mixes and twice as many loads", planned)
	}
	mixed, loaded := map[string]bool{}, map[string]bool{}
	for _, g := range b.Together {
		if err := planNames("together", g, planned); err != nil {
			return err
		}
	}
	for _, m := range b.Mixes {
		if err := first(planNames("cases of a mix", m.Cases, planned), planOnce("mixes", m.Cases, mixed), planAt("at", m.At), planAt("latest", m.Latest), planAt("not_before", m.NotBefore)); err != nil {
			return err
		}
	}
	for _, l := range b.Loads {
		if l.Latest == "" {
			return fmt.Errorf("latest of a load is missing: until when does it wait for its cases?")
		}
		if err := first(line("bath", l.Bath, 40), line("programme", l.Programme, 40), planNames("cases of a load", l.Cases, planned), planOnce("loads", l.Cases, loaded),
			planAt("in", l.In), planAt("latest", l.Latest), planAt("out", l.Out)); err != nil {
			return err
		}
	}
	seen := map[string]bool{}
	for _, c := range b.Cases {
		if err := first(line("case", c.Case, plannedName), planOnce("cases", []string{c.Case}, seen), planAt("finished", c.Finished), between("late_percent", float64(c.LatePercent), 0, 95, "%")); err != nil {
			return err
		}
	}
	return nil
}

func planNames(what string, list []string, most int) error {
	if len(list) > most {
		return fmt.Errorf("%s lists %d: at most %d", what, len(list), most)
	}
	for _, s := range list {
		if err := line(what, s, plannedName); err != nil {
			return err
		}
	}
	return nil
}

func planOnce(what string, list []string, seen map[string]bool) error {
	for _, s := range list {
		if seen[s] {
			return fmt.Errorf("%s name %s twice", what, clip(s))
		}
		seen[s] = true
	}
	return nil
}

func planHour(name, s string) error {
	if s == "" {
		return nil
	}
	if _, err := time.Parse("15:04", s); err != nil || len(s) != 5 {
		return fmt.Errorf("%s must be an hour as 08:00, not %q", name, clip(s))
	}
	return nil
}

func planAt(name, s string) error {
	if s == "" {
		return nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil || t.Year() < 1990 || t.Year() > 2200 {
		return fmt.Errorf("%s must be an instant as 2026-11-25T17:00:00+01:00 (RFC 3339), not %q", name, clip(s))
	}
	return nil
}

// PlanInstant is an instant of a plan; zero where there is none.
func PlanInstant(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}
	}
	return t
}

func (b DayPlan) tell(t Teller) string {
	if b.Away {
		return "day plan put away"
	}
	counted := func(n int, one, many string) string {
		if n == 1 {
			return "1 " + one
		}
		return fmt.Sprintf("%d %s", n, many)
	}
	s := fmt.Sprintf("day plan taken: %s in %s and %s, as foretold; nothing is done by it", counted(len(b.Cases), "case", "cases"), counted(len(b.Mixes), "mix", "mixes"), counted(len(b.Loads), "bath load", "bath loads"))
	if b.Reason != "" {
		s += "; anew because " + b.Reason
	}
	if !t.Full {
		return s
	}
	clock := func(at string) string {
		if x := PlanInstant(at); !x.IsZero() {
			return x.Format("15:04")
		}
		return "later"
	}
	for _, m := range b.Mixes {
		s += fmt.Sprintf("; mix about %s %s", clock(m.At), strings.Join(m.Cases, " + "))
	}
	for _, l := range b.Loads {
		s += fmt.Sprintf("; %s, %s about %s %s", l.Bath, l.Programme, clock(l.In), strings.Join(l.Cases, ", "))
	}
	return s
}
