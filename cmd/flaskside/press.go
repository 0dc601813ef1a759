package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/tables"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/press"
	"flaskside/timers/sysclock"
)

// pressCommand prints the press order, or what rules of order lose on simulated
// shifts.
func pressCommand(o *options) *cobra.Command {
	var asJSON, simulate bool
	var at, mixSize string
	var mixFlasks int
	sim := simulation{shifts: 500, flasks: 4, mixes: 2, apart: "15 min", seed: 1}
	c := &cobra.Command{
		Use:   "press",
		Short: "Print which flask goes in the press next, and each one's chance",
		Long: "Prints the press order as it stands: what next, the chance of each flask to be closed inside its dough, what\n" +
			"would help, which cannot be saved where not all can be in time, and what another mix now would cost.\n" +
			"With --simulate it plays whole shifts of this house (its durations, flash settings, presses and hands)\n" +
			"under the look-ahead and five simple rules, and prints the share of flasks each loses.\n" +
			"All of it is estimated; you decide.",
		Example: "flaskside press\nflaskside press --json\nflaskside press --mix-size large --mix-flasks 2\nflaskside press --simulate --shifts 2000 --flasks 4 --mixes 2",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := together(c, simulate); err != nil {
				return err
			}
			clock := sysclock.New()
			if simulate {
				h, err := settingsOf(o.book, clock)
				if err != nil {
					return err
				}
				return sim.run(c.Context(), h, c.OutOrStdout(), c.ErrOrStderr(), asJSON)
			}
			if _, err := flash.ParseSize(mixSize); err != nil {
				return wrongUsage("--mix-size: %w", err)
			}
			if mixFlasks < 1 || mixFlasks > action.Places {
				return wrongUsage("--mix-flasks must be 1 to %d, not %d", action.Places, mixFlasks)
			}
			q := trendQuestion{at: at}
			b, now, err := q.bench(o.book, clock)
			if err != nil {
				return err
			}
			r, err := orderOf(b, now, mixSize, mixFlasks)
			if err != nil {
				return err
			}
			return deliver("", c.OutOrStdout(), func(w io.Writer) error {
				if asJSON {
					return tables.JSON(w, r)
				}
				return r.text(w)
			})
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, for other programs")
	c.Flags().StringVar(&mixSize, "mix-size", "medium", "size of the bases another mix would be for")
	c.Flags().IntVar(&mixFlasks, "mix-flasks", 1, "how many flasks another mix would be for")
	atFlag(c, &at)
	c.Flags().BoolVar(&simulate, "simulate", false, "play whole shifts and compare rules of order")
	c.Flags().IntVar(&sim.shifts, "shifts", sim.shifts, "with --simulate: how many shifts")
	c.Flags().IntVar(&sim.flasks, "flasks", sim.flasks, "with --simulate: flasks in each shift, sizes in equal shares")
	c.Flags().IntVar(&sim.mixes, "mixes", sim.mixes, "with --simulate: mixes they are packed from")
	c.Flags().StringVar(&sim.apart, "apart", sim.apart, "with --simulate: how long after one another the mixes were made")
	c.Flags().Uint64Var(&sim.seed, "seed", sim.seed, "with --simulate: the same seed plays the same shifts")
	return c
}

// together refuses flags of the one use with the other.
func together(c *cobra.Command, simulate bool) error {
	wrong, use := []string{"shifts", "flasks", "mixes", "apart", "seed"}, "goes with --simulate"
	if simulate {
		wrong, use = []string{"at", "mix-size", "mix-flasks"}, "does not go with --simulate"
	}
	for _, name := range wrong {
		if c.Flags().Changed(name) {
			return wrongUsage("--%s %s", name, use)
		}
	}
	return nil
}

// pressReport is the press order for other programs. Lengths of time are seconds.
type pressReport struct {
	At        time.Time     `json:"at"`
	Next      *pressNext    `json:"next"`        // null where nothing can be done
	Order     []int         `json:"order"`       // flasks by their next turn in the press
	Flasks    []pressFlask  `json:"flasks"`      // those that wait for the press or are in it
	AllInTime float64       `json:"all_in_time"` // chance that every flask is in time; 0 where one is lost
	Others    float64       `json:"others"`      // chance that every flask not lost is in time
	Expected  float64       `json:"expected"`    // flasks expected in time
	GiveUp    int           `json:"give_up,omitempty"`
	Mix       pressMix      `json:"another_mix"`
	NextMix   string        `json:"next_mix,omitempty"` // when to make it
	Note      string        `json:"note"`
	bench     *bench.Bench  // for words
	cost      press.MixCost // of the other mix
}

type pressNext struct {
	Do    string `json:"do"`
	Flask int    `json:"flask"`
	Place int    `json:"place"`
	WaitS int    `json:"wait_s"`
}

type pressFlask struct {
	Flask  int              `json:"flask"`
	Place  int              `json:"place"`
	Case   string           `json:"case"`
	Stage  bench.FlaskStage `json:"stage"`
	DoughS int              `json:"dough_left_s"` // 0 where it is over, or the flask has no mix
	Chance float64          `json:"chance"`       // to be finally closed inside its dough
	Lost   bool             `json:"lost"`         // it too late
	Help   []pressHelp      `json:"help"`
}

type pressHelp struct {
	What   string  `json:"what"`
	Chance float64 `json:"chance"` // what it would then be
	Others float64 `json:"others"` // flasks more of the others; below 0 fewer
}

type pressMix struct {
	Size     string       `json:"size"`
	Flasks   int          `json:"flasks"`
	Cost     float64      `json:"cost"`     // flasks at work expected to be lost more
	Expected float64      `json:"expected"` // flasks of the mix expected in time
	AtWork   []pressWorse `json:"at_work"`
}

type pressWorse struct {
	Flask   int     `json:"flask"`
	Without float64 `json:"without"`
	With    float64 `json:"with"`
}

// orderOf asks for the press order and what another mix would cost.
func orderOf(b *bench.Bench, now timers.Now, size string, flasks int) (pressReport, error) {
	r := pressReport{At: now.Wall, Order: []int{}, Flasks: []pressFlask{}, Note: bench.YouDecide, bench: b}
	a, err := b.PressOrder(now)
	if err != nil {
		return r, err
	}
	if f := b.Waiting(a.Next.Flask); f != nil {
		r.Next = &pressNext{a.Next.Verb.String(), f.No, f.Place, whole(a.Next.Wait)}
	}
	for _, id := range a.Order {
		r.Order = append(r.Order, number(id))
	}
	for _, x := range a.Flasks {
		f := b.Waiting(x.Flask)
		left := time.Duration(0)
		if m := b.MixOf(f); m != nil && m.Stiff == nil {
			left, _ = m.DoughLeft(now)
		}
		p := pressFlask{Flask: f.No, Place: f.Place, Case: f.Case, Stage: f.Stage, DoughS: max(0, whole(left)), Chance: x.Chance, Lost: x.Lost, Help: []pressHelp{}}
		for _, h := range x.Help {
			p.Help = append(p.Help, pressHelp{b.HelpWords(h), h.Chance, h.Others})
		}
		r.Flasks = append(r.Flasks, p)
	}
	r.AllInTime, r.Others, r.Expected, r.GiveUp = a.AllInTime, a.Others, a.Expected, number(a.GiveUp)
	if r.cost, err = b.CostOfMix(now, size, flasks); err != nil {
		return r, err
	}
	r.NextMix = bench.NextMixWords(b.PressWorkLeft(now))
	r.Mix = pressMix{size, flasks, r.cost.Cost, r.cost.Expected, []pressWorse{}}
	for _, x := range r.cost.AtWork {
		r.Mix.AtWork = append(r.Mix.AtWork, pressWorse{number(x.Flask), x.Without, x.With})
	}
	return r, nil
}

// number is the flask that a job stands for, 0 for none.
func number(id string) int {
	n, err := strconv.Atoi(id)
	if err != nil {
		return 0
	}
	return n
}

// whole seconds, rounded up, so that nothing reads as reached before it is.
func whole(d time.Duration) int { return int(math.Ceil(d.Seconds())) }

func seconds(n int) string { return units.FormatDuration(time.Duration(n) * time.Second) }

// dough says how long the dough of a flask can still be worked.
func (r pressReport) dough(f pressFlask) string {
	switch {
	case r.bench.MixOf(r.bench.Flasks[f.Flask]) == nil:
		return "no mix"
	case f.DoughS == 0:
		return "dough over"
	}
	return "dough left " + seconds(f.DoughS)
}

func (r pressReport) text(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "press order, %s (%s)\n", r.At.Format("Mon 2 Jan 15:04:05"), bench.YouDecide)
	place := func(flask int) string { return r.bench.CallWords(r.bench.Flasks[flask]) }
	if len(r.Flasks) == 0 {
		b.WriteString("no flask waits for the press\n")
	}
	if n := r.Next; n != nil {
		fmt.Fprintf(&b, "next: %s %s (case %s)", n.Do, r.bench.WhereWords(r.bench.Flasks[n.Flask]), r.bench.Flasks[n.Flask].Case)
		if n.WaitS > 0 {
			fmt.Fprintf(&b, " in %s", seconds(n.WaitS))
		}
		b.WriteString("\n")
	}
	if len(r.Order) > 0 {
		var turns []string
		for _, no := range r.Order {
			turns = append(turns, place(no))
		}
		fmt.Fprintf(&b, "turns: %s\n", strings.Join(turns, ", then "))
	}
	var lost []string
	for _, f := range r.Flasks {
		chance := "in time " + words.Percent(f.Chance)
		if f.Lost {
			chance = "too late"
			lost = append(lost, place(f.Flask))
		}
		fmt.Fprintf(&b, "  %s  case %-9s %-20s %-23s %s\n", r.bench.WhereWords(r.bench.Flasks[f.Flask]), f.Case, f.Stage, r.dough(f), chance)
		for _, h := range f.Help {
			fmt.Fprintf(&b, "           %s\n", h.What)
		}
	}
	switch left := len(r.Flasks) - len(lost); {
	case len(lost) > 0 && left == 0:
		b.WriteString("all in time: no flask can be in time any more\n")
	case len(lost) > 0:
		fmt.Fprintf(&b, "all in time: no, out of time: %s; all the others in time: %s\n", strings.Join(lost, ", "), words.Percent(r.Others))
	case left > 1:
		fmt.Fprintf(&b, "all in time: %s\n", words.Percent(r.AllInTime))
	}
	if r.GiveUp > 0 {
		fmt.Fprintf(&b, "Not all are likely to be in time; giving up %s saves most of the others.\n", place(r.GiveUp))
	}
	b.WriteString(r.bench.MixWords(r.cost, r.Mix.Size) + "\n")
	if r.NextMix != "" {
		b.WriteString(r.NextMix + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// simulation is what whole shifts are played with.
type simulation struct {
	shifts, flasks, mixes int
	apart                 string
	seed                  uint64
}

// options puts the house's own values in.
func (s simulation) options(h house.House) (press.ShiftOptions, error) {
	o := press.ShiftOptions{Shifts: s.shifts, Flasks: s.flasks, Seed: s.seed}
	b := bench.Bench{House: h}
	o.Durations, o.Bench = b.Durations(), b.PressBench()
	apart, err := units.ParseDuration(s.apart, time.Minute)
	switch {
	case err != nil:
		return o, wrongUsage("--apart: %w", err)
	case s.shifts < 1 || s.shifts > press.MaxShifts:
		return o, wrongUsage("--shifts must be 1 to %d, not %d", press.MaxShifts, s.shifts)
	case s.flasks < 1 || s.flasks > press.MaxJobs:
		return o, wrongUsage("--flasks must be 1 to %d, not %d", press.MaxJobs, s.flasks)
	case s.mixes < 1 || s.mixes > s.flasks:
		return o, wrongUsage("--mixes must be 1 to %d, one for each flask at most, not %d", s.flasks, s.mixes)
	}
	// A shift begins when the last mix is dough; the others were made before it.
	doughS, workS := bench.WorkingTimes(h.Resins[0], h.RoomC(), nil)
	last := time.Duration(workS-doughS) * time.Second
	for i := range s.mixes {
		end := last - time.Duration(s.mixes-1-i)*apart
		if end <= 0 {
			return o, wrongUsage("%d mixes made %s apart: the first would be past working (dough for %s) when the last is dough: give a shorter --apart", s.mixes, units.FormatDuration(apart), units.FormatDuration(last))
		}
		o.Mixes = append(o.Mixes, end)
	}
	for _, z := range flash.Sizes() {
		totals, err := bench.Totals(h, z)
		if err != nil {
			return o, err
		}
		o.Sizes = append(o.Sizes, press.Size{Name: string(z), Share: 1 / float64(len(flash.Sizes())), Totals: totals})
	}
	return o, nil
}

// pilot is how many shifts tell how long all of them will take.
const pilot = 10

// run plays the shifts and prints the table. How it goes is told on the side; an
// interrupt ends it.
func (s simulation) run(ctx context.Context, h house.House, out, side io.Writer, asJSON bool) error {
	o, err := s.options(h)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	t, err := playing(ctx, o, side)
	if errors.Is(err, context.Canceled) {
		return exitCode{errors.New("ended before the shifts were played: nothing to show"), 130}
	}
	if err != nil {
		return err
	}
	return deliver("", out, func(w io.Writer) error {
		if asJSON {
			return tables.JSON(w, t)
		}
		d, in := o.Durations, units.FormatDuration
		_, err := fmt.Fprintf(w, "%slost: share of the flasks not closed inside their dough; se: standard error.\n"+
			"Simulated by this house's settings: into the press %s, hold %s, open and judge %s, trim %s,\n"+
			"final closure %s; closures as its flash settings foretell, sizes in equal shares; its first resin.\n"+
			"The press order that this program advises is the look-ahead (%s).\n",
			t, in(d.Raise), in(d.Hold), in(d.Open), in(d.Trim), in(d.Final), bench.YouDecide)
		return err
	})
}

// playing tells how long it will take, from a few shifts played first, and how long it
// has taken.
func playing(ctx context.Context, o press.ShiftOptions, side io.Writer) (press.ShiftTable, error) {
	say := func(format string, a ...any) { _, _ = fmt.Fprintf(side, format, a...) } // for the eye alone
	began := time.Now()
	if o.Shifts > 2*pilot {
		few := o
		few.Shifts = pilot
		if _, err := press.Simulate(ctx, few); err != nil {
			return press.ShiftTable{}, err
		}
		whole := time.Since(began) * time.Duration(o.Shifts) / pilot
		say("playing %d shifts of %d flasks under 6 rules, %s at most; Ctrl-C ends it\n", o.Shifts, o.Flasks, units.FormatDuration(max(whole, time.Second)))
	}
	over := make(chan struct{})
	defer close(over)
	go func() {
		tick := time.NewTicker(5 * time.Second)
		defer tick.Stop()
		for {
			select {
			case <-over:
				return
			case <-tick.C:
				say("%s so far\n", units.FormatDuration(time.Since(began)))
			}
		}
	}()
	return press.Simulate(ctx, o)
}
