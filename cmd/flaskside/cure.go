package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/house"
	"flaskside/logbook/probe"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/timers/dough"
	"flaskside/timers/sysclock"
	"flaskside/tui/drawn"
)

// cureFlags are what the command was given.
type cureFlags struct {
	programme, bath, readings string
	inAt, outAt, atMinutes    string
	mm, thickMM               float64
	start                     string  // as it was typed
	startC                    float64 // read from it
	ratio, resin              string
	altitudeM, airHPa         float64
	size                      string
	set                       []string
	asJSON, asCSV, parameters bool
}

// cureCommand works out what goes on in a flask in the bath.
func cureCommand(o *options) *cobra.Command {
	f := &cureFlags{}
	c := &cobra.Command{
		Use:   "cure",
		Short: "Estimate the cure in the flask: core, peak, residual monomer; what fits the night",
		Long: "Works out the temperature in the middle of the resin and the monomer left in it from a programme, or from\n" +
			"the bath's readings, with the range of each figure; how much curing time a bath off its temperature cost; and, with --out-at, when\n" +
			"the flasks have to go in to be out by then. It needs no logbook. A programme is written \"74C 9h\", \"165F 9h\"\n" +
			"or \"74C 8h, ramp 30min, 100C 1h\", or is a name of the house settings. Every figure is an estimate; follow\n" +
			"the resin maker's cycle.",
		Example: "flaskside cure --programme \"74C 9h\" --mm 3\n" +
			"flaskside cure --programme \"74C 9h\" --mm 2 --thick-mm 6 --readings night.txt\n" +
			"flaskside cure --bath 0:74,540:74 --mm 6 --at-minutes 30,60 --json\n" +
			"flaskside cure --out-at 08:00\nflaskside cure --parameters",
		Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runCure(c, o, f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.programme, "programme", "", `"74C 9h", "165F 9h", "74C 8h, ramp 30min, 100C 1h", or a name of the house settings`)
	fl.StringVar(&f.bath, "bath", "", "the bath itself instead, minutes and temperature with straight lines between, as 0:74,540:74 or 0:165F,540:165F")
	fl.StringVar(&f.readings, "readings", "", "a file of readings to follow, lines of an RFC 3339 time and °C")
	fl.StringVar(&f.inAt, "in-at", "", "when the flasks go in, RFC 3339 (default: the first reading; for --out-at now)")
	fl.StringVar(&f.outAt, "out-at", "", "plan backwards from this hour, as 08:00")
	fl.Float64Var(&f.mm, "mm", 3, "thickness of the resin; with --thick-mm the thinnest, which decides the residual")
	fl.Float64Var(&f.thickMM, "thick-mm", 0, "thickest section, which decides the peak (default: as --mm)")
	fl.StringVar(&f.size, "size", "medium", "flask: "+action.Words(action.Sizes))
	fl.StringVar(&f.start, "start-c", "", "flask and dough when they go in, in the house's unit or with a C or an F (default 22 °C); the bath too where the programme begins with a ramp")
	fl.StringVar(&f.ratio, "ratio", "", "powder to liquid, as 2.4, 24:10, 3:1 by volume or \"22 g : 10 mL\" (default: 2 by mass, or the resin's)")
	fl.StringVar(&f.resin, "resin", "", "a resin of the house settings, for its powder to liquid")
	fl.Float64Var(&f.altitudeM, "altitude", 0, "height above the sea, m: water and monomer boil cooler (default: the house settings)")
	fl.Float64Var(&f.airHPa, "air-hpa", 0, "what a barometer on the wall shows, hPa, in place of --altitude")
	fl.StringVar(&f.atMinutes, "at-minutes", "", "minutes at which core and monomer are wanted, as 30,60")
	fl.StringArrayVar(&f.set, "set", nil, "a parameter of the model by its name, SI units, as half_resin=0.005; may be repeated")
	fl.BoolVar(&f.parameters, "parameters", false, "print the parameters of the model with source and mark, and what it does not cover")
	fl.BoolVar(&f.asJSON, "json", false, "as JSON, for other programs")
	fl.BoolVar(&f.asCSV, "csv", false, "the curve as CSV")
	return c
}

func runCure(c *cobra.Command, o *options, f *cureFlags) error {
	if f.asJSON && f.asCSV {
		return wrongUsage("--json and --csv do not go together")
	}
	clock := sysclock.New()
	in := unitsOf(o, clock)
	if err := f.readStart(in); err != nil {
		return err
	}
	thin, thick, err := f.models(f.start != "")
	if err != nil {
		return err
	}
	out := c.OutOrStdout()
	switch {
	case f.parameters:
		return deliver("", out, func(w io.Writer) error { return drawn.Parameters(w, &thin, f.asJSON) })
	case f.programme == "" && f.bath == "" && f.outAt == "":
		return wrongUsage(`say what the bath does: --programme "74C 9h" or --bath 0:74,540:74; or when the flasks are to be out: --out-at 08:00`)
	case f.programme != "" && f.bath != "":
		return wrongUsage("--programme and --bath do not go together")
	case f.readings != "" && f.programme == "":
		return wrongUsage("--readings needs the --programme that the bath was to follow")
	}
	if f.asCSV && f.programme == "" && f.bath == "" {
		return wrongUsage("--csv writes a curve: give --programme or --bath")
	}
	q := drawn.CureAsked{Thin: thin, Thick: thick, StartC: f.startC, Unit: in.Temperature, Zone: clock.Read().Wall.Location()}
	if q.RatioFrom, err = f.mixed(o, clock, &q.Thin, &q.Thick); err != nil {
		return err
	}
	if q.Air, err = f.air(o, clock); err != nil {
		return err
	}
	var back *bath.Backward
	if f.outAt != "" {
		if back, err = f.plan(o, clock); err != nil {
			return err
		}
	}
	works := f.programme != "" || f.bath != ""
	if works {
		if err := f.bathOf(&q, o, c.ErrOrStderr()); err != nil {
			return err
		}
	}
	r := drawn.NewCure(q)
	if r.Plan = back; works {
		if err := r.Work(); err != nil {
			return err
		}
	}
	return deliver("", out, func(w io.Writer) error {
		switch {
		case f.asJSON:
			return tables.JSON(w, r)
		case f.asCSV:
			return r.CSV(w)
		}
		return r.Text(w)
	})
}

// bathOf reads what the bath does: its own curve, or a programme and what was read of it.
func (f *cureFlags) bathOf(q *drawn.CureAsked, o *options, side io.Writer) (err error) {
	if q.AtS, err = minutesAt(f.atMinutes); err != nil {
		return err
	}
	if f.bath != "" {
		q.Bath, err = bath.TypedCurve(f.bath, q.Unit)
		if err == nil && len(q.Bath) == 1 {
			err = fmt.Errorf("--bath %s has one point and so no end: write the last minute too, as 0:74,540:74", f.bath)
		}
		return err
	}
	h, unread := settingsOf(o.book, sysclock.New())
	if unread != nil {
		h = house.Default()
	}
	if q.Programme, err = bath.TypedProgramme(f.programme, h, unread); err != nil || f.readings == "" {
		return err
	}
	file, err := os.Open(f.readings)
	if err != nil {
		return fmt.Errorf("readings: %w", err)
	}
	var told []probe.Refusal
	var refused int
	q.Readings, told, refused, err = probe.ReadLines(file)
	_ = file.Close() // only read from
	if err != nil {
		return err
	}
	for _, t := range told {
		_, _ = fmt.Fprintf(side, "%s: %s\n", f.readings, words.Clean(t.String())) // what is told beside the answer
	}
	if refused > len(told) {
		_, _ = fmt.Fprintf(side, "%s: and %d more lines refused\n", f.readings, refused-len(told))
	}
	if len(q.Readings) == 0 {
		return fmt.Errorf("%s holds no reading: write lines such as 2026-11-25T22:04:00+01:00 74.1", f.readings)
	}
	if q.Start = q.Readings[0].At; f.inAt != "" {
		q.Start, err = instant("--in-at", f.inAt)
	}
	return err
}

// unitsOf are the units in which the house reads; °C and psi where its book cannot be
// read, for the model needs none.
func unitsOf(o *options, clock timers.Clock) house.Units {
	h, err := settingsOf(o.book, clock)
	if err != nil {
		h = house.Default()
	}
	return h.Units
}

// readStart reads the temperature of flask and dough when they go in.
func (f *cureFlags) readStart(in house.Units) (err error) {
	if f.startC = 22; f.start != "" {
		f.startC, err = house.ReadTemp("--start-c", "mix.room_c", f.start, in)
	}
	return err
}

// models are the parameters of the thinnest and the thickest section, every --set
// applied to both.
func (f *cureFlags) models(startGiven bool) (thin, thick cure.Params, err error) {
	if f.thickMM == 0 {
		f.thickMM = f.mm
	}
	if f.thickMM < f.mm {
		return thin, thick, wrongUsage("--thick-mm %g is less than --mm %g", f.thickMM, f.mm)
	}
	for _, s := range []struct {
		p  *cure.Params
		mm float64
	}{{&thin, f.mm}, {&thick, f.thickMM}} {
		if *s.p, err = cure.ForSection(s.mm, f.size); err != nil {
			return thin, thick, err
		}
		if startGiven {
			if err = s.p.Set("T0", f.startC+cure.Kelvin); err != nil {
				return thin, thick, fmt.Errorf("--start-c: %w", err)
			}
		}
		for _, text := range f.set {
			name, value, ok := strings.Cut(text, "=")
			v, perr := strconv.ParseFloat(strings.TrimSpace(value), 64)
			if !ok || perr != nil {
				return thin, thick, wrongUsage("--set %q: write name=value, as half_resin=0.005", text)
			}
			if err = s.p.Set(strings.TrimSpace(name), v); err != nil {
				return thin, thick, fmt.Errorf("--set %s: %w", text, err)
			}
		}
	}
	return thin, thick, nil
}

// minutesAt reads --at-minutes as seconds.
func minutesAt(text string) ([]float64, error) {
	if strings.TrimSpace(text) == "" {
		return nil, nil
	}
	var out []float64
	for _, part := range strings.Split(text, ",") {
		v, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, wrongUsage("--at-minutes %q: write minutes with commas, as 30,60", text)
		}
		out = append(out, v*60)
	}
	return out, nil
}

// instant reads a flag that is a time.
func instant(flag, text string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, wrongUsage("%s %q is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)", flag, text)
	}
	return t, nil
}

// plan holds the programmes of the house against an hour; no other is offered.
func (f *cureFlags) plan(o *options, clock timers.Clock) (*bath.Backward, error) {
	now := clock.Read().Wall
	if f.inAt != "" {
		t, err := instant("--in-at", f.inAt)
		if err != nil {
			return nil, err
		}
		now = t.In(now.Location())
	}
	out, err := outAt(f.outAt, now)
	if err != nil {
		return nil, err
	}
	h, err := settingsOf(o.book, clock)
	if err != nil {
		return nil, err
	}
	return bath.PlanBack(h, now, out), nil
}

// mixed puts the powder to liquid into the model, and says what it is that of. A ratio set
// by --set counts; outside what the model takes each is refused.
func (f *cureFlags) mixed(o *options, clock timers.Clock, thin, thick *cure.Params) (from string, err error) {
	from = "taken where none is given; --ratio for yours"
	r := dough.HouseDefault()
	for _, s := range f.set {
		if strings.HasPrefix(strings.TrimSpace(s), "pl=") {
			from = "as set"
		}
	}
	if f.resin != "" {
		h, err := settingsOf(o.book, clock)
		if err != nil {
			return "", err
		}
		if r, err = h.PickResin(f.resin); err != nil {
			return "", err
		}
		r = r.WithDefaults()
		if thin.PowderLiquid, err = r.MassRatio(); err != nil {
			return "", err
		}
		from = "of " + r.Name
	}
	if f.ratio != "" {
		q, err := dough.ParseRatio(f.ratio)
		if err != nil {
			return "", fmt.Errorf("--ratio: %w", err)
		}
		r.Ratio, r.RatioBy = q.Value, q.By
		if thin.PowderLiquid, err = r.MassRatio(); err != nil {
			return "", fmt.Errorf("--ratio: %w", err)
		}
		from = "as given"
	}
	thick.PowderLiquid = thin.PowderLiquid
	return from, cure.CheckRatio(thin.PowderLiquid)
}

// air is that of the place: as given, else as the house settings have it.
func (f *cureFlags) air(o *options, clock timers.Clock) (cure.Air, error) {
	switch {
	case f.altitudeM != 0 && f.airHPa != 0:
		return 0, wrongUsage("--altitude and --air-hpa do not go together")
	case f.airHPa != 0:
		if err := cure.Air(f.airHPa).Valid(); err != nil {
			return 0, fmt.Errorf("--air-hpa: %w", err)
		}
		return cure.Air(f.airHPa), nil
	case f.altitudeM != 0:
		a, err := cure.AtAltitude(f.altitudeM)
		if err != nil {
			return 0, fmt.Errorf("--altitude: %w", err)
		}
		return a, nil
	}
	h, err := settingsOf(o.book, clock)
	if err != nil {
		return 0, nil //nolint:nilerr // a programme written out needs no logbook
	}
	return h.Place.Air(), nil
}

// outAt reads an hour of the day, the next after now in its zone, or a whole
// instant.
func outAt(text string, now time.Time) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t.In(now.Location()), nil
	}
	t, err := time.Parse("15:04", text)
	if err != nil {
		if t, err = time.Parse("15", text); err != nil {
			return time.Time{}, wrongUsage("--out-at %q is not an hour: write 08:00", text)
		}
	}
	return cure.NextClock(now, t.Hour(), t.Minute())
}
