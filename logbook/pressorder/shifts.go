package pressorder

import (
	"context"
	"fmt"
	"io"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/press"
	"flaskside/timers/sysclock"
)

// Shifts is what whole shifts are played with.
type Shifts struct {
	Shifts, Flasks, Mixes int
	Apart                 string // how long after one another the mixes were made
	Seed                  uint64
}

// Options puts the house's own values in. Errors: a number that cannot be, by the flag it is given with.
func (s Shifts) Options(h house.House) (press.ShiftOptions, error) {
	o := press.ShiftOptions{Shifts: s.Shifts, Flasks: s.Flasks, Seed: s.Seed}
	b := bench.Bench{House: h}
	o.Durations, o.Bench = b.Durations(), b.PressBench()
	apart, err := units.ParseDuration(s.Apart, time.Minute)
	switch {
	case err != nil:
		return o, fmt.Errorf("--apart: %w", err)
	case s.Shifts < 1 || s.Shifts > press.MaxShifts:
		return o, fmt.Errorf("--shifts must be 1 to %d, not %d", press.MaxShifts, s.Shifts)
	case s.Flasks < 1 || s.Flasks > press.MaxJobs:
		return o, fmt.Errorf("--flasks must be 1 to %d, not %d", press.MaxJobs, s.Flasks)
	case s.Mixes < 1 || s.Mixes > s.Flasks:
		return o, fmt.Errorf("--mixes must be 1 to %d, one for each flask at most, not %d", s.Flasks, s.Mixes)
	}
	// A shift begins when the last mix is dough; the others were made before it.
	doughS, workS := bench.WorkingTimes(h.Resins[0], h.RoomC(), nil)
	last := time.Duration(workS-doughS) * time.Second
	for i := range s.Mixes {
		end := last - time.Duration(s.Mixes-1-i)*apart
		if end <= 0 {
			return o, fmt.Errorf("%d mixes made %s apart: the first would be past working (dough for %s) when the last is dough: give a shorter --apart", s.Mixes, units.FormatDuration(apart), units.FormatDuration(last))
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

// Told writes what was played by options.
func Told(w io.Writer, t press.ShiftTable, o press.ShiftOptions) error {
	d, in := o.Durations, units.FormatDuration
	_, err := fmt.Fprintf(w, "%slost: share of the flasks not closed inside their dough; se: standard error.\n"+
		"Simulated by this house's settings: into the press %s, hold %s, open and judge %s, trim %s,\n"+
		"final closure %s; closures as its flash settings foretell, sizes in equal shares; its first resin.\n"+
		"The press order that this program advises is the look-ahead (%s).\n",
		t, in(d.Raise), in(d.Hold), in(d.Open), in(d.Trim), in(d.Final), bench.YouDecide)
	return err
}

// pilot is how many shifts tell how long all of them will take.
const pilot = 10

// tellEvery is how often it is told how long it has taken.
const tellEvery = 5 * time.Second

// Play plays the shifts. On the side it is told how long it will take, from a few shifts played
// first, and how long it has taken.
func Play(ctx context.Context, clock timers.Clock, o press.ShiftOptions, side io.Writer) (press.ShiftTable, error) {
	say := func(format string, a ...any) { _, _ = fmt.Fprintf(side, format, a...) } // for the eye alone
	began := clock.Read().Mono
	taken := func() time.Duration { return clock.Read().Mono - began }
	if o.Shifts > 2*pilot {
		few := o
		few.Shifts = pilot
		if _, err := press.Simulate(ctx, few); err != nil {
			return press.ShiftTable{}, err
		}
		whole := taken() * time.Duration(o.Shifts) / pilot
		say("playing %d shifts of %d flasks under 6 rules, %s at most; Ctrl-C ends it\n", o.Shifts, o.Flasks, units.FormatDuration(max(whole, time.Second)))
	}
	telling, over := context.WithCancel(ctx)
	defer over()
	go sysclock.Every(telling, tellEvery, func() { say("%s so far\n", units.FormatDuration(taken())) })
	return press.Simulate(ctx, o)
}
