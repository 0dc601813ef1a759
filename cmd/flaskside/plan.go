package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"flaskside/logbook/bench"
	"flaskside/logbook/dayplan"
	"flaskside/logbook/disk"
	"flaskside/logbook/house"
	"flaskside/logbook/tables"
	"flaskside/timers"
	"flaskside/timers/plan"
	"flaskside/timers/sysclock"
)

// planQuestion is what a day plan is asked for.
type planQuestion struct {
	table, json       bool
	resin, room       string
	people, presses   int
	file, format, out string
	at, hours         string
	cases, whatIf     []string
	baths             []string
	seed              uint64
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
			"flaskside plan --case \"4417 medium resin A due 17:00 rush\" --case \"4420 small resin A due tomorrow 12:00\"\n" +
			"flaskside plan --what-if \"2 presses\"\nflaskside plan --table",
		Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := q.check(c.Flags().Changed); err != nil {
				return err
			}
			if q.table {
				return q.printTable(o, c.OutOrStdout())
			}
			return q.planDay(c.Context(), o, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&q.file, "cases", "", "a file of cases, - for the standard input")
	f.StringArrayVar(&q.cases, "case", nil, `a case, as in "4417 medium resin A due 17:00 rush"; may be repeated`)
	f.StringArrayVar(&q.whatIf, "what-if", nil, `compare with: "case 4450 large resin A due 17:00", "without case 4420", "without bath 1", "2 presses", "2 people"; may be repeated`)
	f.StringVar(&q.hours, "hours", "", "working hours today, as in 08:00-17:00 (default: as in the settings)")
	f.StringArrayVar(&q.baths, "no-bath", nil, "a bath that cannot be used today, by its name; may be repeated")
	f.IntVar(&q.people, "people", 0, "pairs of hands (default: as in the settings)")
	f.IntVar(&q.presses, "presses", 0, "presses (default: as in the settings)")
	f.StringVar(&q.room, "room", "", "the room's temperature in the house's unit, or with a C or an F (default: that of the first resin's times)")
	f.Uint64Var(&q.seed, "seed", 1, "seed seed of the simulated days; the same seed gives the same plan")
	f.StringVar(&q.at, "at", "", "plan as of this time, RFC 3339 (default: now)")
	f.StringVar(&q.format, "format", "text", "one of text, html or ics (iCalendar)")
	f.StringVar(&q.out, "out", "", "write to this file instead of the standard output")
	f.BoolVar(&q.table, "table", false, "how many flasks share a mix, by the house's own times, to pin to the wall")
	f.StringVar(&q.resin, "resin", "", "for --table: a resin of the house settings (default: the first)")
	f.BoolVar(&q.json, "json", false, "as JSON, for other programs")
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
		if v := map[string]int{"people": q.people, "presses": q.presses}[n]; changed(n) && (v < 1 || v > plan.MaxHands) {
			return wrongUsage("--%s must be 1 to %d, not %d", n, plan.MaxHands, v)
		}
	}
	return nil
}

// roomC is the temperature of the room that was given, or that of the first resin's times.
func (q planQuestion) roomC(h house.House) (float64, error) {
	if q.room == "" {
		return h.RoomC(), nil
	}
	return house.ReadTemp("--room", "mix.room_c", q.room, h.Units)
}

// printTable counts out how many flasks share a mix.
func (q planQuestion) printTable(o *options, out io.Writer) error {
	h, err := o.at().House()
	if err != nil {
		return err
	}
	r, err := h.PickResin(q.resin)
	if err != nil {
		return err
	}
	room, err := q.roomC(h)
	if err != nil {
		return err
	}
	t, err := dayplan.TableOf(h, r.Name, room, cmp.Or(q.people, h.Press.Hands), cmp.Or(q.presses, h.Press.Presses))
	if err != nil {
		return err
	}
	return deliver(q.out, out, func(w io.Writer) error {
		if q.json {
			return tables.JSON(w, t)
		}
		return t.Text(w)
	})
}

// planDay plans the day and writes the plan.
func (q planQuestion) planDay(ctx context.Context, o *options, out, side io.Writer) error {
	d, err := q.ask(o)
	if err != nil {
		return err
	}
	var clear func()
	d.Progress, clear = planning(side)
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	var made *dayplan.Day
	var both *dayplan.Compared
	if len(q.whatIf) > 0 {
		both, err = d.Compare(ctx, q.whatIf)
	} else {
		made, err = d.Make(ctx)
	}
	clear()
	if errors.Is(err, context.Canceled) {
		return exitCode{errors.New("ended before the day was planned: nothing to show"), 130}
	}
	if err != nil {
		return err
	}
	return deliver(q.out, out, func(w io.Writer) error {
		switch {
		case both != nil && q.json:
			return tables.JSON(w, both)
		case both != nil:
			return both.Text(w)
		case q.json:
			return tables.JSON(w, made.Show())
		case q.format == "html":
			return made.HTML(w)
		case q.format == "ics":
			return made.ICS(w)
		}
		return made.Text(w)
	})
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

// ask puts the question together: settings, baths and cases of the logbook, and what was given.
func (q planQuestion) ask(o *options) (dayplan.Question, error) {
	clock := sysclock.New()
	d := dayplan.Question{House: house.Default(), Now: clock.Read().Wall, People: q.people, Presses: q.presses, Down: q.baths, Seed: q.seed}
	var err error
	if q.at != "" {
		if d.Now, err = time.Parse(time.RFC3339, q.at); err != nil {
			return d, wrongUsage("--at %q is not an instant: give it as %s", q.at, time.Now().Format(time.RFC3339))
		}
	}
	if q.hours != "" {
		if d.Hours, err = hoursOf(q.hours); err != nil {
			return d, err
		}
	}
	var b *bench.Bench
	var at timers.Now
	if o.at().Made() {
		st, err := o.at().State()
		if err != nil {
			return d, err
		}
		b, at = st.Bench, timers.Now{Reading: clock.Read()}
		own := dayplan.At(b, d.Now)
		d.House, d.Busy = own.House, own.Busy
		d = d.Without(b)
		if q.at != "" {
			at = timers.Now{Reading: timers.Reading{Wall: d.Now}}
		}
	}
	if d.RoomC, err = q.roomC(d.House); err != nil {
		return d, err
	}
	if d.Entries, err = q.entries(b, d.Now, at); err != nil {
		return d, err
	}
	d.Entries, d.Left = dayplan.Bounded(d.Entries)
	return d, nil
}

// hoursOf reads hours as 08:00-17:00.
func hoursOf(s string) ([2]string, error) {
	from, to, _ := strings.Cut(strings.ReplaceAll(s, "–", "-"), "-")
	out := [2]string{strings.TrimSpace(from), strings.TrimSpace(to)}
	for _, h := range out {
		if _, ok := house.MinuteOf(h); !ok {
			return out, wrongUsage("--hours %q: give them as 08:00-17:00", s)
		}
	}
	return out, nil
}

// entries are the cases given, or those of the logbook where none are.
func (q planQuestion) entries(b *bench.Bench, now time.Time, at timers.Now) (out []dayplan.Entry, err error) {
	if q.file == "" && len(q.cases) == 0 {
		if b == nil {
			return nil, errors.New("there is no logbook yet, and no case was given: say --case or --cases, or name the logbook with --book")
		}
		return dayplan.Entries(b, at), nil
	}
	switch q.file {
	case "":
	case "-":
		out, err = dayplan.ReadCases(os.Stdin, now)
	default:
		f, oerr := disk.OpenSource(q.file)
		if oerr != nil {
			return nil, fmt.Errorf("read cases: %w", oerr)
		}
		out, err = dayplan.ReadCases(f, now)
		_ = f.Close() // only read from
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", cmp.Or(filepath.Base(q.file), "cases"), err)
	}
	for _, s := range q.cases {
		e, err := dayplan.ParseCase(s, now)
		if err != nil {
			return nil, wrongUsage("--case: %w", err)
		}
		out = append(out, e)
	}
	if b != nil {
		out = dayplan.AtWork(out, b, at)
	}
	return out, nil
}
