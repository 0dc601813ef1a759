package dayplan

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"flaskside/logbook/words"
	"flaskside/timers/plan"
)

// Change changes a question as a person says it: "case 4450 large resin A due 17:00", "without case 4420", "2 presses",
// "2 people", "without bath 1". Errors: what is none of these.
func (q Question) Change(s string) (Question, error) {
	f := strings.Fields(s)
	rest := func(k int) string { return strings.Join(f[k:], " ") }
	wrong := fmt.Errorf(`what if %q: say "case 4450 large resin A due 17:00", "without case 4420", "without bath 1", "2 presses" or "2 people"`, words.Clip(s, 60))
	q.Entries, q.Down = slices.Clone(q.Entries), slices.Clone(q.Down)
	switch {
	case len(f) > 1 && f[0] == "case":
		e, err := parseCase(rest(1), q.Now)
		if err != nil {
			return q, err
		}
		q.Entries = append(q.Entries, e)
		return q, nil
	case len(f) > 2 && f[0] == "without" && f[1] == "case":
		n := len(q.Entries)
		if slices.ContainsFunc(q.Entries, func(e Entry) bool { return e.Case == rest(2) && e.Work != nil && !e.Work.Waits }) {
			return q, fmt.Errorf("what if %q: case %s is at work: the plan goes round it", words.Clip(s, 60), words.Clip(rest(2), 40))
		}
		q.Entries = slices.DeleteFunc(q.Entries, func(e Entry) bool { return e.Case == rest(2) })
		if len(q.Entries) == n {
			return q, fmt.Errorf("what if %q: there is no case %s to leave out", words.Clip(s, 60), words.Clip(rest(2), 40))
		}
		return q, nil
	case len(f) > 1 && f[0] == "without":
		q.Down = append(q.Down, rest(1))
		return q, nil
	case len(f) == 2:
		n, err := strconv.Atoi(f[0])
		if err != nil || n < 1 || n > plan.MaxHands {
			return q, wrong
		}
		switch f[1] {
		case "press", "presses":
			q.Presses = n
			return q, nil
		case "people", "person", "pairs":
			q.People = n
			return q, nil
		}
	}
	return q, wrong
}

// Compared are two plans side by side.
type Compared struct {
	Now  Shown  `json:"now"`
	What string `json:"what_if"`
	Then Shown  `json:"then"`

	now, then *Day
}

// Compare plans a day as it is and as it would be.
func (q Question) Compare(ctx context.Context, changes []string) (*Compared, error) {
	changed := q
	for _, s := range changes {
		var err error
		if changed, err = changed.Change(s); err != nil {
			return nil, err
		}
	}
	now, err := q.Make(ctx)
	if err != nil {
		return nil, err
	}
	then, err := changed.Make(ctx)
	if err != nil {
		return nil, err
	}
	return &Compared{now.Show(), strings.Join(changes, "; "), then.Show(), now, then}, nil
}

// Text writes what would be otherwise.
func (c *Compared) Text(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "what if: %s (%s)\n\n", c.What, c.Now.What)
	fmt.Fprintf(&b, "%-16s %-29s %s\n", "", "now", "then")
	row := func(name, now, then string) { fmt.Fprintf(&b, "%-16s %-29s %s\n", name, now, then) }
	find := func(list []shownCase, name string) (string, bool) {
		for _, x := range list {
			if x.Case == name {
				return x.Late, true
			}
		}
		return "-", false
	}
	for _, x := range c.Now.Cases {
		then, _ := find(c.Then.Cases, x.Case)
		row(x.Case, x.Late, then)
	}
	for _, x := range c.Then.Cases {
		if _, ok := find(c.Now.Cases, x.Case); !ok {
			row(x.Case, "-", x.Late)
		}
	}
	one := func(s Shown) string {
		return fmt.Sprintf("%s, %.1f doughs lost", words.Count(int(math.Round(s.MixesMade)), "mix", "mixes"), s.Lost)
	}
	row("day", one(c.Now), one(c.Then))
	brief := func(s string) string { s, _, _ = strings.Cut(s, ","); return s }
	row("overtime", brief(c.Now.Overtime), brief(c.Then.Overtime))
	a, z := c.now.Made, c.then.Made
	row("cost, points", fmt.Sprintf("%.1f (± %.1f)", a.Cost, a.CostSE), fmt.Sprintf("%.1f (± %.1f)", z.Cost, z.CostSE))
	if len(a.Cases) == len(z.Cases) { // else the points are not of the same work
		switch gain, se := plan.Paired(a.Costs, z.Costs); {
		case math.Abs(gain) <= 2*se+.05:
			b.WriteString("\nthe difference may be chance\n")
		case gain > 0:
			fmt.Fprintf(&b, "\nit would save about %.1f points a day\n", gain)
		default:
			fmt.Fprintf(&b, "\nit would cost about %.1f points a day more\n", -gain)
		}
	}
	for _, n := range c.Then.Notes {
		b.WriteString("note: " + n + "\n")
	}
	b.WriteString(Leaflets + "\n")
	_, err := io.WriteString(w, b.String())
	return err
}
