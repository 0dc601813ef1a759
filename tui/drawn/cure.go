// Package drawn is the answers that a command draws in cells: the cure in a flask and the flash
// trend of one, worked out by others, as text and for other programs.
package drawn

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

// Cure is what is told of the cure in a flask. The figures of the run stand at the top of
// the JSON under the names of the reference cases; they are those of the section
// of --mm, and those of --thick-mm stand under "thickest" where that is another.
type Cure struct {
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
	Plan       *bath.Backward    `json:"plan,omitempty"`
	Note       string            `json:"note"`

	asked bath.Asked
	prog  cure.Programme // as the place allows
}

// NewCure is an answer in which nothing is worked out yet.
func NewCure(q bath.Asked) *Cure {
	return &Cure{Plan: q.Back, Ratio: q.Thin.PowderLiquid, Note: cure.EstimateNote, asked: q}
}

// Work runs the model, where there is a bath to run it on. Errors: a bath or a programme that the
// model does not take.
func (r *Cure) Work() error {
	q := &r.asked
	if q.Bath == nil && q.Programme.Stages == nil {
		return nil
	}
	opts := cure.RunOptions{AtS: q.AtS, Air: q.Air}
	r.Bath = q.Bath
	var err error
	if set := q.Programme; set.Stages != nil {
		if r.prog, r.Capped = set.Under(q.Air); len(r.Capped) > 0 {
			if r.Boil, err = cure.Longer(q.Thin, set, q.StartC, q.Air); err != nil {
				return err
			}
		}
		r.Programme, r.Bath, opts.EndS = set.NotationIn(q.Unit == units.Fahrenheit), r.prog.Knots(q.StartC), r.prog.Total().Seconds()
		if q.Readings != nil {
			if r.Bath, err = cure.Follow(r.prog, q.StartC, q.Start, q.Readings); err != nil {
				return err
			}
		}
	}
	e, err := cure.Run(q.Thin, q.Thick, r.Bath, opts)
	if err != nil {
		return err
	}
	r.Result, r.Range = &e.Thinnest, &e.Range
	if q.Thin != q.Thick {
		r.Thickest = &e.Thickest
	}
	if r.prog.Stages == nil {
		return nil
	}
	r.Holds = cure.HoldStarts(r.prog, r.Bath, &e.Thickest)
	return r.costs(r.prog, q.Readings)
}

// costs works out what a bath that was off its programme asks for, and the holds in a
// cooler bath, which are always longer: information only.
func (r *Cure) costs(prog cure.Programme, read []cure.BathReading) error {
	lastS := 0.0
	if read != nil {
		lastS = read[len(read)-1].At.Sub(r.asked.Start).Seconds()
	}
	m, err := cure.Make(r.asked.Thin, r.asked.Thick, prog, r.asked.StartC, r.Bath, lastS)
	if err != nil {
		return err
	}
	if read != nil {
		r.MakeUp = &m
		xs := cure.OutOfBand(prog, r.asked.Start, read, 0)
		for _, x := range xs[max(0, len(xs)-20):] {
			cost, err := x.Cost(r.asked.Thin, prog, r.asked.StartC, r.asked.Start, read)
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
		hold, reached, err := cure.HoldFor(r.asked.Thin, t, m.Planned)
		if err != nil {
			return err
		}
		r.Others = append(r.Others, otherHold{t, hold.Minutes(), reached})
	}
	return nil
}

// CSV writes the curves, as RFC 4180 has it.
func (r *Cure) CSV(w io.Writer) error {
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
func (r *Cure) hottest() *cure.Result {
	if r.Thickest != nil {
		return r.Thickest
	}
	return r.Result
}

// Text writes it to be read.
func (r *Cure) Text(w io.Writer) error {
	var b strings.Builder
	// The words of the model are in °C; a house in °F reads them in °F.
	say := func(format string, a ...any) {
		b.WriteString(units.TextIn(fmt.Sprintf(format, a...), r.asked.Unit) + "\n")
	}
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
		say("worked out with powder to liquid %.3g:1 by mass (%s)", r.Ratio, r.asked.RatioFrom)
		if r.asked.Air != 0 {
			say("air %.0f hPa: water boils at %.1f °C, monomer at %.1f °C", float64(r.asked.Air), r.asked.Air.WaterBoilsC(), r.asked.Air.MonomerBoilsC())
		}
		say("%s", r.parameterText())
	}
	if r.Plan != nil {
		for _, l := range r.Plan.Lines() {
			say("%s", l)
		}
	}
	say("%s", r.Note)
	_, err := io.WriteString(w, b.String())
	return err
}

// curveText is the curve in cells and in figures.
func (r *Cure) curveText(say func(string, ...any)) {
	hot := r.hottest()
	head := fmt.Sprintf("resin %.3g mm", r.Result.Params.SectionMM())
	if r.Thickest != nil {
		head = fmt.Sprintf("resin %.3g to %.3g mm", r.Result.Params.SectionMM(), hot.Params.SectionMM())
	}
	if r.Programme != "" {
		head = r.Programme + " · " + head
	}
	say("%s", head)
	p := chart.BathPicture{Bath: r.Bath, EndS: r.EndS, NowS: r.EndS, Temp: func(c float64) string { return units.FormatTemp(math.Round(c), r.asked.Unit) }}
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
		say("  min   core °%s   core monomer %%", r.asked.Unit)
		for i, s := range r.AtS {
			say("%5.4g %9.2f %11.3f", s/60, r.asked.Unit.FromC(r.Core[i]), r.WCore[i])
		}
	}
}

// fellAway tells whether the bath was off when the core was farthest above it: that
// is no exotherm.
func (r *Cure) fellAway() bool {
	at := r.asked.Start.Add(time.Duration(r.hottest().TOverMin * float64(time.Minute)))
	for _, x := range r.Excursions {
		if !at.Before(x.From.Add(-time.Minute)) && !at.After(x.To) {
			return true
		}
	}
	return false
}

func (r *Cure) holdText(say func(string, ...any)) {
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

func (r *Cure) costText(say func(string, ...any)) {
	for _, x := range r.Excursions {
		to := "the last reading"
		if !x.Open {
			to = x.To.In(r.asked.Zone).Format(time.RFC3339)
		}
		text := fmt.Sprintf("bath read off %.4g °C from %s to %s, farthest %.4g °C", x.SetC, x.From.In(r.asked.Zone).Format(time.RFC3339), to, x.WorstC)
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
func (r *Cure) saying() bath.Say {
	return bath.Say{Unit: r.asked.Unit, At: func(after time.Duration) string {
		if r.asked.Start.IsZero() {
			return bath.Minutes(after) + " after going in"
		}
		return r.asked.Start.Add(after).In(r.asked.Zone).Format("Mon 15:04")
	}}
}

// parameterText names the parameters that are not the defaults.
func (r *Cure) parameterText() string {
	d := cure.Defaults()
	was := d.Table()
	var out []string
	for i, p := range r.asked.Thin.Table() {
		if p.Value != was[i].Value {
			out = append(out, fmt.Sprintf("%s %.4g %s", p.Name, p.Value, p.Unit))
		}
	}
	if len(out) == 0 {
		return "parameters: a medium flask with 3 mm of resin, the defaults (--parameters prints them)"
	}
	return "parameters: the defaults (--parameters prints them), but " + strings.Join(out, ", ")
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

// hours writes seconds as hours and minutes.
func hours(s float64) string { return fmt.Sprintf("%d:%02d", int(s)/3600, int(s)%3600/60) }

// Parameters writes the appendix of the model.
func Parameters(w io.Writer, p *cure.Params, asJSON bool) error {
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
