package route

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// List writes routes to be read, a line each.
func List(w io.Writer, all []Route) error {
	for _, r := range all {
		off := ""
		if r.Off {
			off = ", switched off"
		}
		if _, err := fmt.Fprintf(w, "%-12s  %s: %s on, %d off%s\n", r.Name, r.Called(), words.Count(len(r.Tracked()), "step", "steps"), len(r.Steps)-len(r.Tracked()), off); err != nil {
			return err
		}
	}
	return nil
}

// Text writes a route to be read, its steps in their order.
func (r Route) Text(w io.Writer, p units.PressureUnit, t units.TempUnit) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n", r.Name, r.Called())
	if r.Off {
		fmt.Fprintln(&b, "switched off in this house")
	}
	for _, s := range r.Steps {
		fmt.Fprintf(&b, "\n%-14s %s\n", s.Name, s.Called())
		for _, l := range s.lines(p, t) {
			fmt.Fprintf(&b, "%15s%s\n", "", l)
		}
	}
	fmt.Fprintln(&b, "\nHouse defaults, to be changed in the settings; the makers' instructions come first.")
	_, err := io.WriteString(w, b.String())
	return err
}

// lines say what the table has of a step.
func (s Step) lines(p units.PressureUnit, t units.TempUnit) []string {
	length := func(v int) string { return units.FormatDuration(time.Duration(v) * time.Second) }
	var facts []string
	switch s.Kind {
	case Timer, Hold:
		facts = append(facts, string(s.Kind))
		for _, e := range []struct {
			what string
			s    int
		}{{"at least ", s.MinS}, {"aim ", s.AimS}, {"at most ", s.MaxS}} {
			if e.s > 0 {
				facts = append(facts, e.what+length(e.s))
			}
		}
	case Check:
		facts = append(facts, "judged: "+strings.Join(slices.Concat(s.Good, s.Bad), " / "))
	case Flask:
		facts = append(facts, "a flask is opened: the bench leads from separator to outcome")
	case Deliver:
		facts = append(facts, "asked with the closing list")
	}
	if s.Place != "" {
		facts = append(facts, "in or at: "+s.Place)
	}
	if s.Pressure {
		facts = append(facts, "under pressure until the next step")
	}
	if s.Keys == 2 {
		facts = append(facts, "two different keys")
	}
	if s.Caution != "" {
		facts = append(facts, "caution: "+words.Hazard(s.Caution))
	}
	var out []string
	if s.Off {
		out = append(out, "off: not asked")
	}
	if len(facts) > 0 {
		out = append(out, strings.Join(facts, ", "))
	}
	for _, f := range s.Fields {
		l := "asks: " + f.Called()
		if rg := f.Range(p, t); rg != "" {
			l += ", usually " + rg
		}
		if v, ok := f.Usual(); ok {
			l += ", offered " + f.Show(v, p, t)
		}
		out = append(out, l)
	}
	if s.Evidence != "" {
		out = append(out, "rests on: "+s.Evidence)
	}
	return out
}
