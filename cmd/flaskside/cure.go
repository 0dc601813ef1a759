package main

import (
	"errors"
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
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/timers/dough"
	"flaskside/timers/sysclock"
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
		return deliver("", out, func(w io.Writer) error { return printParameters(w, &thin, f.asJSON) })
	case f.programme == "" && f.bath == "" && f.outAt == "":
		return wrongUsage(`say what the bath does: --programme "74C 9h" or --bath 0:74,540:74; or when the flasks are to be out: --out-at 08:00`)
	case f.programme != "" && f.bath != "":
		return wrongUsage("--programme and --bath do not go together")
	case f.readings != "" && f.programme == "":
		return wrongUsage("--readings needs the --programme that the bath was to follow")
	}
	r := cureReport{Note: cure.EstimateNote, unit: in.Temperature, thin: thin, thick: thick, startC: f.startC, zone: clock.Read().Wall.Location()}
	if r.ratioFrom, err = f.mixed(o, clock, &r.thin, &r.thick); err != nil {
		return err
	}
	if r.air, err = f.air(o, clock); err != nil {
		return err
	}
	r.Ratio = r.thin.PowderLiquid
	if f.outAt != "" {
		if r.Plan, err = f.plan(o, clock); err != nil {
			return err
		}
	}
	if f.programme != "" || f.bath != "" {
		if err := r.simulate(o, f, c.ErrOrStderr()); err != nil {
			return err
		}
	}
	return deliver("", out, func(w io.Writer) error {
		switch {
		case f.asJSON:
			return tables.JSON(w, r)
		case f.asCSV:
			return r.csv(w)
		}
		return r.text(w)
	})
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
		f.startC, err = tempFlag("--start-c", "mix.room_c", f.start, in)
	}
	return err
}

// readBath reads the curve of a bath. One that makes sense only in the unit that the house
// does not read in is asked about.
func readBath(text string, in units.TempUnit) ([]cure.Knot, error) {
	other := units.Fahrenheit
	if in == units.Fahrenheit {
		other = units.Celsius
	}
	u, _ := house.UsualOf("programmes.stages.temp_c")
	hottest := func(curve []cure.Knot) (c float64) {
		for _, k := range curve {
			c = max(c, k.TempC)
		}
		return c
	}
	curve, err := bath.ParseCurve(text, in)
	if too, oerr := bath.ParseCurve(text, other); oerr == nil && u.Has(hottest(too)) && (err != nil || !u.Has(hottest(curve)) && hottest(too) != hottest(curve)) {
		return nil, fmt.Errorf("--bath %s: in °%s, the unit of the house, this is not a usual cure; in °%s it would be: write the unit, as in 0:74C,540:74C or 0:165F,540:165F", text, in, other)
	}
	return curve, err
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

// findProgramme reads a programme in its notation, a temperature without a unit in that of
// the house, or finds it by its name in the house settings. Temperatures without a unit
// that make sense only in the other unit are asked about.
func findProgramme(o *options, text string) (cure.Programme, error) {
	h, herr := settingsOf(o.book, sysclock.New())
	if herr != nil {
		h = house.Default() // a programme written out needs no logbook
	}
	inF := h.Units.Temperature == units.Fahrenheit
	p, err := cure.ParseProgrammeIn(text, inF)
	if other, oerr := cure.ParseProgrammeIn(text, !inF); oerr == nil && usualProgramme(other) && (err != nil || !usualProgramme(p) && p.Notation() != other.Notation()) {
		here, there := "°C", "F"
		if inF {
			here, there = "°F", "C"
		}
		return p, fmt.Errorf("%q: in %s, the unit of the house, this is not a usual cure; in °%s it would be: write the unit, as in %s", text, here, there, other.NotationIn(!inF))
	}
	if err == nil {
		return p, nil
	}
	if herr != nil {
		return cure.Programme{}, errors.Join(err, herr)
	}
	if named, ok := h.Programme(text); ok {
		p := named.Cure()
		return p, p.Validate()
	}
	return cure.Programme{}, fmt.Errorf("%w (and no programme of the house settings has that name)", err)
}

// usualProgramme tells whether all temperatures of a programme are usual ones.
func usualProgramme(p cure.Programme) bool {
	u, _ := house.UsualOf("programmes.stages.temp_c")
	for _, s := range p.Stages {
		if !u.Has(s.TempC) {
			return false
		}
	}
	return true
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

// fitReport is what is told of one programme held against an hour.
type fitReport struct {
	Programme   string     `json:"programme"`
	Notation    string     `json:"notation"`
	LatestStart time.Time  `json:"latest_start"`
	Earliest    *time.Time `json:"earliest_start,omitempty"` // by the longest stay of the house
	SlackS      int        `json:"slack_s"`
	Fits        bool       `json:"fits"`
	words       string
}

type planReport struct {
	In   time.Time   `json:"in"`
	Out  time.Time   `json:"out"`
	Fits []fitReport `json:"fits"`
}

// plan holds the programmes of the house against an hour; no other is offered.
func (f *cureFlags) plan(o *options, clock timers.Clock) (*planReport, error) {
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
	r := &planReport{In: now, Out: out}
	for i, fit := range bath.Plan(h, now, out) {
		x := fitReport{Programme: h.Programmes[i].Name, Notation: fit.Programme.NotationIn(h.Units.Temperature == units.Fahrenheit), LatestStart: fit.LatestStart.In(now.Location()),
			SlackS: int(fit.Slack / time.Second), Fits: fit.Fits, words: fit.Words(now)}
		if !fit.Earliest.IsZero() {
			e := fit.Earliest.In(now.Location())
			x.Earliest = &e
		}
		r.Fits = append(r.Fits, x)
	}
	return r, nil
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
		if r, err = pickResin(h, f.resin); err != nil {
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

// cureReport is what the command tells. The figures of the run stand at the top of
// the JSON under the names of the reference cases; they are those of the section
// of --mm, and those of --thick-mm stand under "thickest" where that is another.
type cureReport struct {
	Programme string  `json:"programme,omitempty"`        // in its notation
	Ratio     float64 `json:"powder_to_liquid,omitempty"` // by mass, as reckoned with
	*cure.Result
	Thickest   *cure.Result      `json:"thickest,omitempty"`
	Range      *cure.Range       `json:"range,omitempty"`
	Bath       []cure.Knot       `json:"bath,omitempty"` // as it was followed
	Holds      []cure.StageStart `json:"holds,omitempty"`
	Excursions []excursion       `json:"excursions,omitempty"`
	MakeUp     *cure.MakeUp      `json:"make_up,omitempty"`
	Capped     []cure.Capped     `json:"capped,omitempty"` // stages that boiling water keeps below their set point
	Boil       []cure.Extra      `json:"boil_longer,omitempty"`
	Others     []otherHold       `json:"cooler_holds,omitempty"`
	Plan       *planReport       `json:"plan,omitempty"`
	Note       string            `json:"note"`

	unit        units.TempUnit // as the house reads
	thin, thick cure.Params
	startC      float64
	prog        cure.Programme // as the place allows
	ratioFrom   string
	air         cure.Air
	start       time.Time
	zone        *time.Location
}

type excursion struct {
	cure.Excursion
	Cost cure.Extra `json:"cost"`
}

type otherHold struct {
	TempC   float64 `json:"temp_c"`
	HoldMin float64 `json:"hold_min"`
	Reached bool    `json:"reached"`
}

// simulate runs the model.
func (r *cureReport) simulate(o *options, f *cureFlags, side io.Writer) error {
	at, err := minutesAt(f.atMinutes)
	if err != nil {
		return err
	}
	opts := cure.Options{AtS: at, Air: r.air}
	var prog cure.Programme
	var read []cure.Reading
	if f.bath != "" {
		if r.Bath, err = readBath(f.bath, r.unit); err != nil {
			return err
		}
		if len(r.Bath) == 1 {
			return fmt.Errorf("--bath %s has one point and so no end: write the last minute too, as 0:74,540:74", f.bath)
		}
	} else {
		if prog, err = findProgramme(o, f.programme); err != nil {
			return err
		}
		set := prog
		if prog, r.Capped = prog.Under(r.air); len(r.Capped) > 0 {
			if r.Boil, err = cure.Longer(r.thin, set, r.startC, r.air); err != nil {
				return err
			}
		}
		r.prog = prog
		r.Programme, r.Bath, opts.EndS = set.NotationIn(r.unit == units.Fahrenheit), prog.Knots(r.startC), prog.Total().Seconds()
		if f.readings != "" {
			if read, err = r.follow(prog, f, side); err != nil {
				return err
			}
		}
	}
	e, err := cure.Run(r.thin, r.thick, r.Bath, opts)
	if err != nil {
		return err
	}
	r.Result, r.Range = &e.Thinnest, &e.Range
	if r.thin != r.thick {
		r.Thickest = &e.Thickest
	}
	if prog.Stages == nil {
		return nil
	}
	r.Holds = cure.HoldStarts(prog, r.Bath, &e.Thickest)
	return r.costs(prog, read)
}

// follow reads the readings and puts them in place of the set point.
func (r *cureReport) follow(prog cure.Programme, f *cureFlags, side io.Writer) ([]cure.Reading, error) {
	file, err := os.Open(f.readings)
	if err != nil {
		return nil, fmt.Errorf("readings: %w", err)
	}
	read, told, refused, err := probe.ReadLines(file)
	_ = file.Close() // only read from
	if err != nil {
		return nil, err
	}
	for _, t := range told {
		_, _ = fmt.Fprintf(side, "%s: %s\n", f.readings, oneLine(errors.New(t.String()))) // what is told beside the answer
	}
	if refused > len(told) {
		_, _ = fmt.Fprintf(side, "%s: and %d more lines refused\n", f.readings, refused-len(told))
	}
	if len(read) == 0 {
		return nil, fmt.Errorf("%s holds no reading: write lines such as 2026-11-25T22:04:00+01:00 74.1", f.readings)
	}
	r.start = read[0].At
	if f.inAt != "" {
		if r.start, err = instant("--in-at", f.inAt); err != nil {
			return nil, err
		}
	}
	r.Bath, err = cure.Follow(prog, r.startC, r.start, read)
	return read, err
}

// costs works out what a bath that was off its programme asks for, and the holds in a
// cooler bath, which are always longer: information only.
func (r *cureReport) costs(prog cure.Programme, read []cure.Reading) error {
	lastS := 0.0
	if read != nil {
		lastS = read[len(read)-1].At.Sub(r.start).Seconds()
	}
	m, err := cure.Make(r.thin, r.thick, prog, r.startC, r.Bath, lastS)
	if err != nil {
		return err
	}
	if read != nil {
		r.MakeUp = &m
		xs := cure.OutOfBand(prog, r.start, read, 0)
		for _, x := range xs[max(0, len(xs)-20):] {
			cost, err := x.Cost(r.thin, prog, r.startC, r.start, read)
			if err != nil {
				return err
			}
			r.Excursions = append(r.Excursions, excursion{x, cost})
		}
	}
	if len(prog.Stages) > 1 {
		return nil
	}
	for _, d := range []float64{-4, -2} {
		t := prog.Stages[0].TempC + d
		if t < 60 {
			continue // no bath for curing
		}
		hold, reached, err := cure.HoldFor(r.thin, t, m.Planned)
		if err != nil {
			return err
		}
		r.Others = append(r.Others, otherHold{t, hold.Minutes(), reached})
	}
	return nil
}
