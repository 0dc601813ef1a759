package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/bath"
	"flaskside/logbook/tables"
	"flaskside/logbook/units"
	"flaskside/timers/cure"
	"flaskside/tui/chart"
)

// csv writes the curves, as RFC 4180 has it.
func (r *cureReport) csv(w io.Writer) error {
	if r.Result == nil {
		return wrongUsage("--csv writes a curve: give --programme or --bath")
	}
	c := csv.NewWriter(w)
	c.UseCRLF = true
	rows := [][]string{{"section_mm", "minute", "bath_c", "core_c", "core_monomer_pct", "mean_monomer_pct"}}
	for _, res := range []*cure.Result{r.Result, r.Thickest} {
		if res == nil {
			continue
		}
		num := func(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }
		for i, s := range res.Curve.TimeS {
			rows = append(rows, []string{strconv.FormatFloat(res.Params.SectionMM(), 'g', 6, 64), num(s / 60), num(res.Curve.BathC[i]), num(res.Curve.CoreC[i]), num(res.Curve.CorePct[i]), num(res.Curve.MeanPct[i])})
		}
	}
	if err := c.WriteAll(rows); err != nil {
		return fmt.Errorf("write the curve: %w", err)
	}
	return nil
}

// hottest is the run that decides the peak.
func (r *cureReport) hottest() *cure.Result {
	if r.Thickest != nil {
		return r.Thickest
	}
	return r.Result
}

func (r *cureReport) text(w io.Writer) error {
	var b strings.Builder
	// The words of the model are in °C; a house in °F reads them in °F.
	say := func(format string, a ...any) { b.WriteString(units.TextIn(fmt.Sprintf(format, a...), r.unit) + "\n") }
	if r.Result != nil {
		r.curveText(say)
		for _, l := range r.Range.Text() {
			switch {
			case l == cure.EstimateNote: // said at the end
			case l == r.Range.ExothermText && r.fellAway():
				say("core farthest above the bath when the bath fell away")
			default:
				say("%s", l)
			}
		}
		r.holdText(say)
		r.costText(say)
		say("worked out with powder to liquid %.3g:1 by mass (%s)", r.Ratio, r.ratioFrom)
		if r.air != 0 {
			say("air %.0f hPa: water boils at %.1f °C, monomer at %.1f °C", float64(r.air), r.air.WaterBoilsC(), r.air.MonomerBoilsC())
		}
		say("%s", r.parameterText())
	}
	if p := r.Plan; p != nil {
		say("in %s, out at %s:", p.In.Format("Mon 2 Jan 15:04 -07:00"), p.Out.Format("Mon 2 Jan 15:04 -07:00"))
		for _, f := range p.Fits {
			say("  %-16s %s (%s)", f.Programme, f.words, f.Notation)
		}
	}
	say("%s", r.Note)
	_, err := io.WriteString(w, b.String())
	return err
}

// curveText is the curve in cells and in figures.
func (r *cureReport) curveText(say func(string, ...any)) {
	hot := r.hottest()
	head := fmt.Sprintf("resin %.3g mm", r.Result.Params.SectionMM())
	if r.Thickest != nil {
		head = fmt.Sprintf("resin %.3g to %.3g mm", r.Result.Params.SectionMM(), hot.Params.SectionMM())
	}
	if r.Programme != "" {
		head = r.Programme + " · " + head
	}
	say("%s", head)
	p := chart.BathPicture{Bath: r.Bath, EndS: r.EndS, NowS: r.EndS, Temp: func(c float64) string { return units.FormatTemp(math.Round(c), r.unit) }}
	for i, s := range hot.Curve.TimeS {
		p.Core = append(p.Core, cure.Knot{TimeS: s, TempC: hot.Curve.CoreC[i]})
	}
	for _, h := range r.Holds {
		p.Holds = append(p.Holds, h.SetC)
	}
	step := 3600.0
	if r.EndS < 2*3600 {
		step = 600
	}
	for s := 0.0; s < r.EndS && len(p.Ticks) < 400; s += step {
		p.Ticks = append(p.Ticks, chart.Tick{S: s, Label: hours(s)})
	}
	for _, row := range chart.Bath(p, 78, 14, false) {
		var line strings.Builder
		for _, c := range row {
			line.WriteRune(c.Rune)
		}
		say("%s", strings.TrimRight(line.String(), " "))
	}
	if len(r.AtS) > 0 {
		say("  min   core °%s   core monomer %%", r.unit)
		for i, s := range r.AtS {
			say("%5.4g %9.2f %11.3f", s/60, r.unit.FromC(r.Core[i]), r.WCore[i])
		}
	}
}

// fellAway tells whether the bath was off when the core was farthest above it: that
// is no exotherm.
func (r *cureReport) fellAway() bool {
	at := r.start.Add(time.Duration(r.hottest().TOverMin * float64(time.Minute)))
	for _, x := range r.Excursions {
		if !at.Before(x.From.Add(-time.Minute)) && !at.After(x.To) {
			return true
		}
	}
	return false
}

// hours writes seconds as hours and minutes.
func hours(s float64) string { return fmt.Sprintf("%d:%02d", int(s)/3600, int(s)%3600/60) }

func (r *cureReport) holdText(say func(string, ...any)) {
	for _, h := range r.Holds {
		bathAt, coreAt := "bath not within 2 K of it", "core not within 2 K of it"
		if h.Bath {
			bathAt = fmt.Sprintf("bath there after %.0f min", h.BathMin)
		}
		if h.Core {
			coreAt = fmt.Sprintf("core after about %.0f min", h.CoreMin)
		}
		say("hold at %.4g °C really starts: %s, %s", h.SetC, bathAt, coreAt)
	}
}

func (r *cureReport) costText(say func(string, ...any)) {
	for _, x := range r.Excursions {
		to := "the last reading"
		if !x.Open {
			to = x.To.In(r.zone).Format(time.RFC3339)
		}
		text := fmt.Sprintf("bath read off %.4g °C from %s to %s, farthest %.4g °C", x.SetC, x.From.In(r.zone).Format(time.RFC3339), to, x.WorstC)
		if !r.MakeUp.Again || x.Cost.Never { // minutes of one hold mean nothing where the whole is begun anew
			text += ": " + bath.CostWords(x.Cost)
		}
		say("%s", text)
	}
	s := r.saying()
	if m := r.MakeUp; m != nil {
		if text := bath.MakeUpWords(*m, r.prog, s); text != "" {
			say("%s", text)
		} else {
			say("the bath as it was: no curing time missing (estimate)")
		}
	}
	for i, c := range r.Capped {
		say("%s", bath.CappedWords(s, c, r.Boil[i], r.prog.Stages[c.Stage].Hold))
	}
	if len(r.Others) > 0 {
		var hs []string
		for _, o := range r.Others {
			h := "more than 72 h"
			if o.Reached {
				h = bath.Minutes(time.Duration(math.Round(o.HoldMin/10)*10) * time.Minute)
			}
			hs = append(hs, fmt.Sprintf("%.4g °C %s", o.TempC, h))
		}
		say("information: a cooler bath takes longer for the residual of the programme, from going in: %s", strings.Join(hs, ", "))
	}
}

// saying is how the command tells lengths and instants.
func (r *cureReport) saying() bath.Say {
	return bath.Say{Unit: r.unit, At: func(after time.Duration) string {
		if r.start.IsZero() {
			return bath.Minutes(after) + " after going in"
		}
		return r.start.Add(after).In(r.zone).Format("Mon 15:04")
	}}
}

// parameterText names the parameters that are not the defaults.
func (r *cureReport) parameterText() string {
	d := cure.Defaults()
	was := d.Table()
	var out []string
	for i, p := range r.thin.Table() {
		if p.Value != was[i].Value {
			out = append(out, fmt.Sprintf("%s %.4g %s", p.Name, p.Value, p.Unit))
		}
	}
	if len(out) == 0 {
		return "parameters: a medium flask with 3 mm of resin, the defaults (--parameters prints them)"
	}
	return "parameters: the defaults (--parameters prints them), but " + strings.Join(out, ", ")
}

// printParameters is the appendix of the model.
func printParameters(w io.Writer, p *cure.Params, asJSON bool) error {
	table := p.Table()
	if asJSON {
		return tables.JSON(w, struct {
			Parameters []cure.Param `json:"parameters"`
			Limits     []string     `json:"limits"`
			Note       string       `json:"note"`
		}{table, cure.Limits(), cure.EstimateNote})
	}
	var b strings.Builder
	for _, x := range table {
		unit := x.Unit
		if unit == "1" {
			unit = ""
		}
		fmt.Fprintf(&b, "%-11s %-12s %-9s %-12s %s\n%24s%s [%s]\n", x.Name, strconv.FormatFloat(x.Value, 'g', 6, 64), unit, x.Band, x.Meaning, "", x.Source, x.Mark)
	}
	fmt.Fprintln(&b, "\nWhat it does not tell you:")
	for _, l := range cure.Limits() {
		fmt.Fprintln(&b, "- "+l)
	}
	_, err := io.WriteString(w, b.String()+"\n"+cure.EstimateNote+"\n")
	return err
}
