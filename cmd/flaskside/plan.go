package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"syscall"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"flaskside/logbook/bench"
	"flaskside/logbook/dayplan"
	"flaskside/timers/plan"
)

// planQuestion is what a day plan is asked for.
type planQuestion struct {
	shape
	dayplan.Typed
	table  bool
	resin  string
	whatIf []string
}

var planFormats = []string{"text", "html", "ics"}

// planCommand plans a day, or prints how many flasks share a mix.
func planCommand(o *options) *cobra.Command {
	var q planQuestion
	c := &cobra.Command{
		Use:   "plan",
		Short: "Plan the day: which cases in which mix and bath, and when; or how many flasks share a mix",
		Long: "Plays many days by the house's own times and tells which cases share a mix, in which order, how long\n" +
			"each mix can wait, which load goes into which bath with which of the house's programmes, when each\n" +
			"case is likely to be finished, and how likely it is to be late. All of it is estimated; you decide.\n\n" +
			"Cases come from the list in the logbook (flaskside case), from a file, or from --case. A file has\n" +
			"lines of case,size,resin,due,rush; the first may name the columns, in any order, with base (upper,\n" +
			"lower) as one of them. Size is small, medium or large; resin is the resin and its shade, and cases\n" +
			"of the same can share a mix; due is 17:00, tomorrow 12:00, Fri 12:00, 2026-11-27 12:00 or an RFC 3339\n" +
			"time; rush is yes, no or empty.",
		Example: "flaskside plan\nflaskside plan --cases today.csv --format html --out plan.html\n" +
			"flaskside plan --case \"4417 small resin A due 17:00\"\n" +
			"flaskside plan --what-if \"2 presses\"\nflaskside plan --table",
		Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := q.check(c.Flags().Changed); err != nil {
				return err
			}
			if q.table {
				return q.printTable(c, o)
			}
			return q.planDay(c, o)
		},
	}
	f := c.Flags()
	f.StringVar(&q.File, "cases", "", "a file of cases, - for the standard input")
	f.StringArrayVar(&q.Cases, "case", nil, `a case, as in "4417 medium resin A due 17:00 rush"; may be repeated`)
	f.StringArrayVar(&q.whatIf, "what-if", nil, `compare with: "case 4450 large resin A due 17:00", "without case 4420", "without bath 1", "2 presses", "2 people"; may be repeated`)
	f.StringVar(&q.Hours, "hours", "", "working hours today, as in 08:00-17:00 (default: as in the settings)")
	f.StringArrayVar(&q.Baths, "no-bath", nil, "a bath that cannot be used today, by its name; may be repeated")
	f.IntVar(&q.People, "people", 0, "pairs of hands (default: as in the settings)")
	f.IntVar(&q.Presses, "presses", 0, "presses (default: as in the settings)")
	f.StringVar(&q.Room, "room", "", "the room's temperature in the house's unit, or with a C or an F (default: that of the first resin's times)")
	f.Uint64Var(&q.Seed, "seed", 1, "seed of the simulated days; the same seed gives the same plan")
	f.StringVar(&q.At, "at", "", "plan as of this time, RFC 3339 (default: now)")
	f.StringVar(&q.format, "format", "text", "one of text, html or ics (iCalendar)")
	q.outFlag(c)
	f.BoolVar(&q.table, "table", false, "how many flasks share a mix, by the house's own times, to pin to the wall")
	f.StringVar(&q.resin, "resin", "", "for --table: a resin of the house settings (default: the first)")
	q.jsonFlag(c)
	return c
}

// check refuses flags that do not go together.
func (q planQuestion) check(changed func(string) bool) error {
	given := func(names ...string) string {
		for _, n := range names {
			if changed(n) {
				return n
			}
		}
		return ""
	}
	ofDay := given("cases", "case", "what-if", "hours", "no-bath", "seed", "at")
	switch {
	case q.table && ofDay != "":
		return wrongUsage("--table goes without --%s", ofDay)
	case q.table && q.format != "text":
		return wrongUsage("--table is text or --json, not --format %s", q.format)
	case !q.table && changed("resin"):
		return wrongUsage("--resin goes with --table: each case says its own")
	case !slices.Contains(planFormats, q.format):
		return wrongUsage("--format is text, html or ics, not %q", q.format)
	case q.json && changed("format"):
		return wrongUsage("give --json or --format, not both")
	case len(q.whatIf) > 0 && q.format != "text":
		return wrongUsage("--what-if is text or --json, not --format %s", q.format)
	}
	for _, n := range []string{"people", "presses"} {
		if v := map[string]int{"people": q.People, "presses": q.Presses}[n]; changed(n) && (v < 1 || v > plan.MaxHands) {
			return wrongUsage("--%s must be 1 to %d, not %d", n, plan.MaxHands, v)
		}
	}
	return nil
}

// printTable counts out how many flasks share a mix.
func (q planQuestion) printTable(c *cobra.Command, o *options) error {
	h, err := o.at().House()
	if err != nil {
		return err
	}
	r, err := h.PickResin(q.resin)
	if err != nil {
		return err
	}
	room, err := dayplan.TypedRoom(q.Room, h)
	if err != nil {
		return err
	}
	t, err := dayplan.TableOf(h, r.Name, room, cmp.Or(q.People, h.Press.Hands), cmp.Or(q.Presses, h.Press.Presses))
	if err != nil {
		return err
	}
	return q.write(c, t, t.Text, nil)
}

// planDay plans the day and writes the plan.
func (q planQuestion) planDay(c *cobra.Command, o *options) error {
	at := o.at()
	d, err := q.Read(at.Clock.Read(), func() (*bench.Bench, error) {
		if !at.Made() {
			return nil, nil
		}
		st, err := at.State()
		return st.Bench, err
	}, os.Stdin)
	if err != nil {
		return err
	}
	var clear func()
	d.Progress, clear = planning(c.ErrOrStderr())
	ctx, stop := signal.NotifyContext(c.Context(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var shown any
	var write func(io.Writer) error
	if len(q.whatIf) > 0 {
		var both *dayplan.Compared
		if both, err = d.Compare(ctx, q.whatIf); err == nil {
			shown, write = both, both.Text
		}
	} else {
		var made *dayplan.Day
		if made, err = d.Make(ctx); err == nil {
			shown, write = made.Show(), map[string]func(io.Writer) error{"text": made.Text, "html": made.HTML, "ics": made.ICS}[q.format]
		}
	}
	clear()
	if errors.Is(err, context.Canceled) {
		return exitCode{errors.New("ended before the day was planned: nothing to show"), interrupted}
	}
	if err != nil {
		return err
	}
	return q.write(c, shown, write, nil)
}

// planning tells on a terminal how far the planning is; clear takes it away.
func planning(side io.Writer) (tell func(float64), clear func()) {
	f, ok := side.(*os.File)
	if !ok || !term.IsTerminal(f.Fd()) {
		return nil, func() {}
	}
	began := time.Now()
	return func(x float64) {
			if time.Since(began) > 200*time.Millisecond {
				_, _ = fmt.Fprintf(f, "\rplanning, %3.0f %% ", 100*x) // for the eye alone
			}
		}, func() {
			_, _ = fmt.Fprint(f, "\r\x1b[K")
		}
}
