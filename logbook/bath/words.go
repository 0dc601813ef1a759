package bath

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"flaskside/logbook/units"
	"flaskside/timers/cure"
)

// LineKind says how a line is meant.
type LineKind int

// The kinds of lines.
const (
	Plain   LineKind = iota
	Caution          // to be heeded
	Cost             // what a bath that was off costs: information
	Small            // notes, and that all is an estimate
)

// Line is one line of words about a load, not yet broken to a width.
type Line struct {
	Kind LineKind
	Text string
}

// Say is how a reader wants to be told.
type Say struct {
	Unit units.TempUnit
	At   func(after time.Duration) string // the hour on the wall that long after the flasks went in
	Load func(load int) string            // names another load
	Now  string                           // what the last moment known is called; "" is now
}

func (s Say) temp(c float64) string { return units.FormatTemp(c, s.Unit) }

func minutes(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

// Minutes writes a length of time to the minute: 47 min, 14 h 20 min.
func Minutes(d time.Duration) string { return units.FormatDuration(d.Round(time.Minute)) }

// Lines put an estimate into words, the most needed first, the reminder that it is
// one last.
func (e *LoadEstimate) Lines(s Say) []Line {
	var out []Line
	add := func(k LineKind, format string, a ...any) { out = append(out, Line{k, fmt.Sprintf(format, a...)}) }
	r := &e.Cure.Range
	if r.CautionText != "" {
		add(Caution, "%s", e.caution(s))
	}
	if c := e.Case.Clash; c.Load > 0 {
		add(Caution, "from %s these need %s and %s needs %s in the same bath: each estimate takes its own programme",
			s.At(c.After), s.temp(c.ThisC), s.Load(c.Load), s.temp(c.OtherC))
	}
	for _, x := range e.Excursions {
		add(Cost, "%s", x.words(s, e.Case.Start, e.MakeUp.Again))
	}
	for i, d := range e.Dips {
		text := d.words(s)
		if i == len(e.Dips)-1 && e.SetBack >= 30*time.Second {
			text += "; sets these back " + Minutes(e.SetBack)
		}
		add(Cost, "%s (estimate)", text)
	}
	if text := e.makeUp(s); text != "" {
		add(Cost, "%s", text)
	}
	for i, c := range e.Case.Capped {
		add(Cost, "%s", CappedWords(s, c, e.Boil[i], e.Case.Set.Stages[c.Stage].Hold))
	}
	add(Plain, "count the hold from when the core is there: %s", e.holds(s))
	add(Plain, "%s", e.peak(s))
	add(Plain, "%s; %s", r.ResidualText, r.LimitText)
	if len(e.Others) > 0 {
		var hs []string
		for _, o := range e.Others {
			h := "over 3 days"
			if o.Reached {
				h = Minutes(o.Hold.Round(10 * time.Minute)) // closer would not be true
			}
			hs = append(hs, s.temp(o.TempC)+" "+h)
		}
		add(Small, "information: a cooler bath takes longer for the same residual: %s", strings.Join(hs, " · "))
	}
	for _, n := range append(append([]string(nil), e.Notes...), r.Notes...) {
		add(Small, "note: %s", n)
	}
	add(Small, "%s", e.RatioWords())
	if e.Case.Assumed {
		add(Small, "note: sections not recorded, %g to %g mm assumed", e.Case.ThinMM, e.Case.ThickMM)
	}
	if e.Case.Unread {
		add(Small, "note: no bath temperature recorded when the flasks went in, %s assumed", s.temp(e.Case.BathC))
	}
	add(Small, "%s", r.Note)
	return out
}

// Short is the estimate in one line, for where there is room for no more.
func (e *LoadEstimate) Short(s Say) string {
	r := &e.Cure.Range
	out := r.ResidualText
	switch m := &e.MakeUp; {
	case e.asksNothing():
	case e.Case.Out > 0 && m.Again:
		out += " · bath was off: a temperature of the programme was never there"
	case e.Case.Out > 0 && m.Reached:
		out += " · bath was off: about " + Minutes(m.Longer(e.Case.Programme)) + " missing"
	case m.Again:
		out += " · bath off: start the programme again"
	case !m.Reached:
		out += " · bath off: more than two days of curing time missing"
	default:
		out += " · bath off: about " + Minutes(m.Longer(e.Case.Programme)) + " more"
	}
	return out + " (estimate)"
}

// ownDip is what is not told of a bath in which nothing was off: the dip of the load's own
// cold flasks, which every load has (house default).
const ownDip = 10 * time.Minute

// asksNothing tells that there is nothing to make up, or no more than the dip of the
// load's own cold flasks.
func (e *LoadEstimate) asksNothing() bool {
	m := &e.MakeUp
	return m.None() || !m.Again && m.Reached && len(e.Excursions) == 0 && len(e.Dips) == 0 && m.Longer(e.Case.Programme) < ownDip
}

// makeUp says what a bath that was off asks for, "" where it asks for nothing.
func (e *LoadEstimate) makeUp(s Say) string {
	if e.asksNothing() {
		return ""
	}
	if m := &e.MakeUp; e.Case.Out > 0 && m.Reached { // no hour at which it would come out is true any more
		if m.Again {
			return "a temperature of the programme was not there while it was due, and the load is out: only the programme from its beginning would make it up" + maker
		}
		return "the load is out: about " + Minutes(m.Longer(e.Case.Programme)) + " more in the bath would have been needed" + maker
	}
	return MakeUpWords(e.MakeUp, e.Case.Programme, s)
}

// maker stands behind what the model asks for.
const maker = " (estimate; the maker's cycle decides)"

// MakeUpWords say what a bath that was off asks for: longer, at the temperature that
// was missed, or the programme again; "" where it asks for nothing.
func MakeUpWords(m cure.MakeUp, p cure.Programme, s Say) string {
	switch {
	case m.Again:
		return "a temperature of the programme was not there while it was due: start the programme again from its beginning, out at " + s.At(m.Out) + " at the earliest" + maker
	case !m.Reached:
		return fmt.Sprintf("the bath as it was and is expected: not even two more days at %s bring the residual down to that of the programme", s.temp(m.SetC))
	case m.None():
		return ""
	case m.Back && m.Stage < len(p.Stages)-1:
		return fmt.Sprintf("back to %s for %s, then the rest of the programme in full: out at %s%s", s.temp(m.SetC), Minutes(m.Hold), s.At(m.Out), maker)
	case m.Stage < len(p.Stages)-1:
		return fmt.Sprintf("in all %s more at %s before the next stage: out at %s%s", Minutes(m.Hold), s.temp(m.SetC), s.At(m.Out), maker)
	}
	return fmt.Sprintf("in all %s more at %s: out at %s%s", Minutes(m.Hold+m.Tail), s.temp(p.Stages[len(p.Stages)-1].TempC), s.At(m.Out), maker)
}

// CappedWords tell of a stage that no open bath of the place reaches.
func CappedWords(s Say, c cure.Capped, x cure.Extra, hold time.Duration) string {
	exact := func(v float64) string { return units.FormatTemp(math.Round(v*10)/10, s.Unit) }
	text := fmt.Sprintf("water boils at %s here: the bath does not get to %s", exact(c.BoilsC), s.temp(c.SetC))
	switch {
	case !x.Reached:
		return text + ", and even two more days leave a higher residual (estimate)"
	case x.Hold >= time.Minute:
		return fmt.Sprintf("%s; about %s there leaves the same residual as %s at %s (estimate; ask the resin's maker)", text, Minutes(hold+x.Hold), Minutes(hold), s.temp(c.SetC))
	}
	return text
}

// RatioWords say which powder to liquid the estimate was made with.
func (e *LoadEstimate) RatioWords() string {
	text := "worked out with " + e.Case.Ratio.String()
	if e.Case.Ratios > 1 {
		text += fmt.Sprintf(", the wettest of %d in the load", e.Case.Ratios)
	}
	return text
}

// holds says for each stage when bath and core are at its temperature.
func (e *LoadEstimate) holds(s Say) string {
	var out []string
	for i, h := range e.Holds {
		bath, core := "bath did not reach it", "core did not reach it"
		switch {
		case h.Bath && h.BathMin < 0.5:
			bath = "bath at once"
		case h.Bath:
			bath = "bath " + s.At(minutes(h.BathMin))
		}
		if h.Core {
			core = "core about " + s.At(minutes(h.CoreMin))
			if r := &e.Cure.Range; i == 0 && r.AtBath {
				core += fmt.Sprintf(" (%.0f to %.0f min in)", math.Floor(r.AtBathMin.Low/5)*5, math.Ceil(r.AtBathMin.High/5)*5)
			}
		}
		out = append(out, fmt.Sprintf("%s %s, %s", s.temp(h.SetC), bath, core))
	}
	return strings.Join(out, "; ")
}

// peak says how hot the core of the thickest section gets, and when.
func (e *LoadEstimate) peak(s Say) string {
	r, t := &e.Cure.Range, &e.Cure.Thickest
	text := r.PeakText
	if s.Unit == units.Fahrenheit {
		text = "core peak " + fahrenheit(r.Peak)
	}
	when := func(m float64) string { return "at " + s.At(minutes(m)) }
	inside := fmt.Sprintf("(%.0f to %.0f min in)", math.Floor(r.ExothermMin.Low/5)*5, math.Ceil(r.ExothermMin.High/5)*5)
	over := units.FormatTempSpan(r.OverK.Value, s.Unit)
	switch {
	case !r.Exotherm || e.offAt(t.TOverMin): // a bath that falls away leaves the core above it: no exotherm
		return text + ", " + when(t.PeakMin)
	case math.Abs(t.TOverMin-t.PeakMin) < 1:
		return fmt.Sprintf("%s, %s %s, bath + %s", text, when(t.PeakMin), inside, over)
	}
	return fmt.Sprintf("%s, %s; farthest above the bath, by %s, %s %s", text, when(t.PeakMin), over, when(t.TOverMin), inside)
}

// offAt tells whether the bath is out of its band at a moment.
func (e *LoadEstimate) offAt(min float64) bool {
	set := e.Case.Programme.Knots(e.Case.BathC)
	return math.Abs(cure.BathAt(e.Bath, min*60)-cure.BathAt(set, min*60)) > e.Case.BandK
}

// fahrenheit is a peak with its range; above 130 °C, where the model ends, that is
// said.
func fahrenheit(b cure.Band) string {
	const endC = 130
	f := func(c float64) string {
		if c > endC {
			return "> " + units.FormatTemp(endC, units.Fahrenheit)
		}
		return units.FormatTemp(c, units.Fahrenheit)
	}
	return fmt.Sprintf("%s to %s, about %s", f(b.Low), f(b.High), f(b.Value))
}

func (e *LoadEstimate) caution(s Say) string {
	text := e.Cure.Range.CautionText
	if s.Unit == units.Fahrenheit {
		text = strings.ReplaceAll(text, fmt.Sprintf("%.1f °C", e.Cure.Range.BoilsC), s.temp(math.Round(e.Cure.Range.BoilsC*10)/10))
	}
	return text + "; this says nothing about pores"
}

func (x excursion) words(s Say, start time.Time, again bool) string {
	from, to := s.At(x.From.Sub(start)), s.At(x.To.Sub(start))
	if x.Open {
		to = cmp.Or(s.Now, "now")
	}
	side := "lowest"
	if x.WorstC > x.Excursion.SetC {
		side = "highest"
	}
	text := fmt.Sprintf("bath read off %s from %s to %s, %s %s", s.temp(x.Excursion.SetC), from, to, side, s.temp(x.WorstC))
	if again && !x.Never { // minutes of one hold mean nothing where the whole is begun anew
		return text
	}
	return text + ": " + CostWords(x.Extra)
}

// CostWords say what an excursion costs in minutes of hold.
func CostWords(x cure.Extra) string {
	switch {
	case x.Never:
		return "the core never got there (estimate)"
	case !x.Reached:
		return "more than two days of curing time missing (estimate)"
	case x.Hold < 30*time.Second:
		return "no curing time missing (estimate)"
	}
	return "about " + Minutes(x.Hold) + " of curing time missing (estimate)"
}

func (d dip) words(s Say) string {
	n := "1 cold flask"
	if d.Flasks > 1 {
		n = fmt.Sprintf("%d cold flasks", d.Flasks)
	}
	return fmt.Sprintf("%s went in at %s: %s", n, s.At(d.After), dipWords(d.Dip, s.Unit))
}

// dipWords say how far a bath dips and when it is back.
func dipWords(d cure.Dip, u units.TempUnit) string {
	dip := "dip of about " + units.FormatTempSpan(d.DepthK, u)
	switch {
	case !d.HeaterOK:
		return dip + ", and the heater does not make up the losses"
	case !d.Back:
		return dip + ", not back within 6 h"
	case d.BackMin > 0:
		return dip + ", back after about " + Minutes(minutes(max(d.BackMin, 1)))
	}
	return dip
}

// Words say what cold flasks would do, in one line; name tells a load's places.
func (a Addition) Words(u units.TempUnit, name func(load int) string) string {
	out := "the bath: " + dipWords(a.Dip, u)
	for _, b := range a.Backs {
		switch {
		case b.Extra < 30*time.Second:
			out += fmt.Sprintf("; %s not set back", name(b.Load))
		default:
			out += fmt.Sprintf("; sets %s back %s", name(b.Load), Minutes(b.Extra))
		}
	}
	return out + " (estimate)"
}
