package main

import (
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/house"
	"flaskside/logbook/probe"
	"flaskside/timers/cure"
	"flaskside/timers/sysclock"
	"flaskside/tui/drawn"
)

// cureCommand works out what goes on in a flask in the bath.
func cureCommand(o *options) *cobra.Command {
	var f bath.Typed
	var as shape
	parameters := false
	c := &cobra.Command{
		Use:   "cure",
		Short: "Estimate the cure in the flask: core, peak, residual monomer; what fits the night",
		Long: "Works out, from a programme or from the bath's readings, the temperature in the middle of the resin\n" +
			"and the monomer left in it, each with its range; how much curing time was lost while the bath was\n" +
			"off its temperature; and, with --out-at, when the flasks have to go in to be out by then. It needs\n" +
			"no logbook. A programme is written \"74C 9h\", \"165F 9h\" or \"74C 8h, ramp 30min, 100C 1h\", or is a\n" +
			"name from the house settings. Every figure is an estimate; follow the resin maker's cycle.",
		Example: "flaskside cure --programme \"74C 9h\" --mm 3\n" +
			"flaskside cure --programme \"74C 9h\" --mm 2 --thick-mm 6 --readings night.txt\n" +
			"flaskside cure --bath 0:74,540:74 --mm 6 --at-minutes 30,60 --json\n" +
			"flaskside cure --out-at 08:00\nflaskside cure --parameters",
		Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runCure(c, o, f, as, parameters) },
	}
	fl := c.Flags()
	fl.StringVar(&f.Programme, "programme", "", `"74C 9h", "165F 9h", "74C 8h, ramp 30min, 100C 1h", or a name of the house settings`)
	fl.StringVar(&f.Bath, "bath", "", "the bath itself instead, minutes and temperature with straight lines between, as 0:74,540:74 or 0:165F,540:165F")
	fl.StringVar(&f.Readings, "readings", "", "a file of readings to follow, lines of an RFC 3339 time and °C")
	fl.StringVar(&f.InAt, "in-at", "", "when the flasks go in, RFC 3339 (default: the first reading; for --out-at now)")
	fl.StringVar(&f.OutAt, "out-at", "", "plan backwards from this hour, as 08:00")
	fl.Float64Var(&f.MM, "mm", 3, "thickness of the resin; with --thick-mm the thinnest, which decides the residual")
	fl.Float64Var(&f.ThickMM, "thick-mm", 0, "thickest section, which decides the peak (default: as --mm)")
	fl.StringVar(&f.Size, "size", "medium", "flask: "+action.Words(action.Sizes))
	fl.StringVar(&f.StartC, "start-c", "", "temperature of flask and dough when they go in, in the house's unit or with a C or an F (default 22 °C); of the bath, too, if the programme begins with a ramp")
	fl.StringVar(&f.Ratio, "ratio", "", "powder to liquid, as 2.4, 24:10, 3:1 by volume or \"22 g : 10 mL\" (default: 2 by mass, or the resin's)")
	fl.StringVar(&f.Resin, "resin", "", "a resin of the house settings, for its powder to liquid")
	fl.Float64Var(&f.AltitudeM, "altitude", 0, "height above the sea, m: water and monomer boil cooler (default: the house settings)")
	fl.Float64Var(&f.AirHPa, "air-hpa", 0, "what a barometer on the wall shows, hPa, in place of --altitude")
	fl.StringVar(&f.AtMinutes, "at-minutes", "", "minutes to show core and monomer at, as 30,60")
	fl.StringArrayVar(&f.Set, "set", nil, "a parameter of the model by its name, SI units, as half_resin=0.005; may be repeated")
	fl.BoolVar(&parameters, "parameters", false, "print the parameters of the model with source and mark, and what it does not cover")
	as.jsonFlag(c)
	as.csvFlag(c, "the curve as CSV")
	return c
}

func runCure(c *cobra.Command, o *options, t bath.Typed, as shape, parameters bool) error {
	if as.json && as.csv {
		return wrongUsage("--json and --csv do not go together")
	}
	clock := sysclock.New()
	h, unread := o.at().House()
	if unread != nil {
		h = house.Default() // a programme written out needs no logbook
	}
	q, err := t.Sections(h.Units)
	if err != nil {
		return err
	}
	if parameters {
		return deliver("", c.OutOrStdout(), func(w io.Writer) error { return drawn.Parameters(w, &q.Thin, as.json) })
	}
	if as.csv && t.Programme == "" && t.Bath == "" && t.OutAt != "" && t.Readings == "" {
		return wrongUsage("--csv writes a curve: give --programme or --bath")
	}
	err = t.Read(&q, h, unread, clock.Read().Wall, func(path string) ([]cure.BathReading, error) { return probe.ReadFile(path, c.ErrOrStderr()) })
	if err != nil {
		return err
	}
	r := drawn.NewCure(q)
	if err := r.Work(); err != nil {
		return err
	}
	return as.write(c, r, r.Text, r.CSV)
}
