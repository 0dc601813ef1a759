package day

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/timers/each"
)

// Heights of text and widths of lines in the pictures, mm (house defaults: read at
// arm's length).
const (
	small = 2.3
	thin  = 0.18
	thick = 0.45

	bathMM, coreMM = 0.25, 0.65 // told apart in black and white too
)

// grams writes ln grams in some figures.
func grams(logG float64, figures int) string {
	g, err := strconv.ParseFloat(strconv.FormatFloat(math.Exp(logG), 'g', figures, 64), 64)
	if err != nil || math.IsInf(g, 0) {
		return "?"
	}
	return plain(g) + " g"
}

// trend draws the flash of a flask over its trial closures: the picture of the
// screen, without the forecast once the final closure is made.
func (s Sheet) trend(f *bench.Flask, w, h float64) (drawing, bool) {
	history := s.Bench.History(f)
	if len(history.Trials) == 0 {
		return drawing{}, false
	}
	post, err := flash.Fit(s.Bench.House.Flash, history)
	if err != nil {
		return drawing{}, false // what cannot be followed has no trend
	}
	return drawTrend(flash.NewPicture(s.Bench.House.Flash, history, post), w, h, !f.ClosedForGood()), true
}

// trendAxes are where trials and grams stand on a drawing of the trend; ahead tells whether
// what is forecast is drawn.
type trendAxes struct {
	flash.Picture
	drawing
	ahead bool
}

// Room beside and under the curves, mm.
const trendLeft, trendRight, trendFoot = 10.0, 9.0, 4.2

func (d *trendAxes) x(trial float64) float64 {
	return trendLeft + d.X(trial)*(d.w-trendLeft-trendRight)
}

func (d *trendAxes) y(logG float64) float64 {
	return math.Min(math.Max((1-d.Y(logG))*(d.h-trendFoot), 0), d.h-trendFoot)
}

// span is what is drawn of a curve, in trials.
func (d *trendAxes) span(c flash.Curve) (from, end float64) {
	from, end = float64(c.From)-0.5, float64(c.To)+0.5
	if !d.ahead {
		end = math.Min(end, float64(d.Done)+0.5)
	}
	return from, end
}

// along gives what at tells of a stretch, in even steps.
func along(from, end float64, at func(trial float64) point) []point {
	const steps = 24
	out := make([]point, 0, steps+1)
	for i := range steps + 1 {
		out = append(out, at(from+(end-from)*float64(i)/steps))
	}
	return out
}

func drawTrend(p flash.Picture, w, h float64, ahead bool) drawing {
	d := trendAxes{p, drawing{w: w, h: h, name: fmt.Sprintf("flash over %d trial closures", p.Done)}, ahead}
	for _, c := range p.Curves { // the bands lie under all lines
		from, end := d.span(c)
		if end <= from {
			continue
		}
		upper := along(from, end, func(t float64) point { _, _, high := c.At(t); return point{d.x(t), d.y(high)} })
		lower := along(from, end, func(t float64) point { _, low, _ := c.At(t); return point{d.x(t), d.y(low)} })
		slices.Reverse(lower)
		d.fill(wash, append(upper, lower...)...)
	}
	for _, l := range []float64{p.None, p.Heavy} {
		d.line(faint, thin, 0.8, point{trendLeft, d.y(l)}, point{w - trendRight, d.y(l)})
		d.write(faint, small, -1, point{w - trendRight + 0.8, d.y(l) + small/3}, grams(l, 2))
	}
	for _, b := range []struct {
		name   string
		lo, hi float64
	}{{"heavy", p.Heavy, p.High}, {"slight", p.None, p.Heavy}, {"none", p.Low, p.None}} {
		d.write(black, small, 1, point{trendLeft - 1.2, d.y((b.lo+b.hi)/2) + small/3}, b.name)
	}
	d.line(faint, thin, 0, point{trendLeft, h - trendFoot}, point{w - trendRight, h - trendFoot})
	for _, c := range p.Curves {
		d.curve(c)
	}
	for _, c := range p.Curves[min(1, len(p.Curves)):] {
		b := d.x(float64(c.From) - 0.5)
		d.line(black, thin, 0.5, point{b, 0}, point{b, h - trendFoot})
		d.write(black, small, 0, point{b, h - 0.8}, "+")
	}
	d.seen()
	if ahead && len(p.Curves) > 0 {
		now := p.Curves[len(p.Curves)-1]
		for j, chance := range p.Chances {
			t := float64(p.Done + 1 + j)
			mean, _, _ := now.At(t)
			d.mark(hollow, accent, 0.9, point{d.x(t), d.y(mean)})
			d.write(accent, small, -1, point{d.x(t) + 1.2, clear(d.y(mean)-1, d.y(p.None), d.y(p.Heavy))}, words.Percent(chance))
		}
	}
	d.numbers()
	return d.drawing
}

// curve draws the estimate of a stretch, dashed where nothing was closed yet.
func (d *trendAxes) curve(c flash.Curve) {
	from, end := d.span(c)
	made := math.Min(math.Max(float64(d.Done), from), end)
	if !d.ahead {
		made = end
	}
	for _, part := range []struct{ from, to, dash float64 }{{from, made, 0}, {made, end, 1.2}} {
		if part.to > part.from {
			d.line(accent, thick, part.dash, along(part.from, part.to, func(t float64) point {
				mean, _, _ := c.At(t)
				return point{d.x(t), d.y(mean)}
			})...)
		}
	}
}

// seen marks the closures that were judged or weighed.
func (d *trendAxes) seen() {
	for _, dot := range d.Points {
		at := point{d.x(float64(dot.Trial)), d.y(dot.Y)}
		if !dot.Weighed {
			d.mark(disc, black, 0.95, at)
			continue
		}
		d.mark(diamond, black, 1.2, at)
		if len(d.Points) <= 8 {
			d.write(black, small, -1, point{at.x + 1.6, clear(at.y-0.8, d.y(d.None), d.y(d.Heavy))}, grams(dot.Y, 3))
		}
	}
}

// numbers writes those of the closures, those to come faint.
func (d *trendAxes) numbers() {
	every := 1
	for (d.w-trendLeft-trendRight)*float64(every)/float64(d.Last-d.First+1) < 4 {
		every++
	}
	for t := d.First; t <= d.Last && (d.ahead || t <= d.Done); t += every {
		i := black
		if t > d.Done {
			i = faint
		}
		d.write(i, small, 0, point{d.x(float64(t)), d.h - 0.8}, strconv.Itoa(t))
	}
}

// clear moves the foot of a word up to where no line runs through it, and keeps it on
// the drawing.
func clear(foot float64, lines ...float64) float64 {
	const air = 0.5
	for _, l := range lines {
		if l < foot+air && l > foot-small && l-air > small {
			foot = l - air
		}
	}
	return math.Max(foot, small)
}

// boilC is where a line is drawn: water boils.
const boilC = 100

// extent is the scale that shows curves and boiling water, in whole tens of °C.
func extent(curves ...[]cure.Knot) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, ks := range curves {
		for _, k := range ks {
			lo, hi = math.Min(lo, k.TempC), math.Max(hi, k.TempC)
		}
	}
	return math.Floor(lo/10) * 10, math.Max(math.Ceil((hi+2)/10)*10, boilC)
}

// between is the stretch of a curve from one time to another; nothing where that is none.
func between(ks []cure.Knot, fromS, toS float64) []cure.Knot {
	if toS <= fromS {
		return nil
	}
	out := []cure.Knot{{TimeS: fromS, TempC: cure.BathAt(ks, fromS)}}
	for _, k := range ks {
		if k.TimeS > fromS && k.TimeS < toS {
			out = append(out, k)
		}
	}
	return append(out, cure.Knot{TimeS: toS, TempC: cure.BathAt(ks, toS)})
}

// curve draws the bath of a load against its programme, with the core of the
// thickest section: read and past in full lines, expected dashed.
func (s Sheet) curve(l *bench.Load, e *bath.LoadEstimate, w, h float64) drawing {
	const left, right, foot = 12.0, 5.0, 4.2
	d := drawing{w: w, h: h, name: fmt.Sprintf("bath and core of load %d against the programme", l.No)}
	set, core := e.Case.Programme.Knots(e.Case.BathC), e.Core()
	endS := e.Case.Programme.Total().Seconds()
	lo, hi := extent(set, e.Bath, core)
	x := func(sec float64) float64 { return left + sec/endS*(w-left-right) }
	head := d.legend(left, w-right)
	y := func(c float64) float64 { return head + (1-(c-lo)/(hi-lo))*(h-foot-head) }
	path := func(ks []cure.Knot, fromS, toS float64) []point {
		return each.Of(between(ks, fromS, toS), func(k cure.Knot) point { return point{x(k.TimeS), y(k.TempC)} })
	}
	temp := func(c float64) string { return units.FormatTemp(c, s.Bench.House.Units.Temperature) }
	// The scale names what the programme holds, and where water boils.
	named := []float64{}
	name := func(c float64, dash float64) {
		for _, n := range named {
			if math.Abs(y(n)-y(c)) < small {
				return
			}
		}
		named = append(named, c)
		d.line(faint, thin, dash, point{left, y(c)}, point{w - right, y(c)})
		d.write(faint, small, 1, point{left - 1, y(c) + small/3}, temp(c))
	}
	for _, st := range l.Stages {
		name(st.TempC, 0.8)
	}
	name(boilC, 0.4)
	name(lo, 0)
	for _, t := range s.hours(l.In.At, endS) {
		at := x(t.after.Seconds())
		d.line(faint, thin, 0, point{at, h - foot}, point{at, h - foot + 0.9})
		d.write(faint, small, 0, point{at, h - 0.6}, t.clock)
	}
	knownS := math.Min(e.KnownS, endS)
	if out := s.outOf(l); out != nil { // what came after it was out is nobody's cure
		outS := out.at.At.Sub(l.In.At).Seconds()
		if outS > 0 && outS < endS {
			d.line(black, thin, 0.5, point{x(outS), 1}, point{x(outS), h - foot})
			d.write(black, small, 1, point{x(outS) - 0.6, head + small}, "out")
		}
	}
	d.line(pale, 1.3, 0, path(set, 0, endS)...) // the programme lies under the bath
	for _, p := range []struct {
		i    ink
		ks   []cure.Knot
		wide float64
	}{{accent, core, coreMM}, {black, e.Bath, bathMM}} {
		if at := path(p.ks, 0, knownS); at != nil {
			d.line(p.i, p.wide, 0, at...)
		}
		if at := path(p.ks, knownS, endS); at != nil {
			d.line(p.i, p.wide, 1, at...)
		}
	}
	if read := since(e.Case); len(read) <= 60 { // a probe's row of dots says no more than the line
		for _, r := range read {
			if after := r.At.Sub(l.In.At).Seconds(); after <= endS && r.TempC >= lo && r.TempC <= hi {
				d.mark(disc, black, 0.6, point{x(after), y(r.TempC)})
			}
		}
	}
	return d
}

// legend says above the curves of a cure what is what, where nothing can lie on it, from
// one x to another, in as many rows as it takes; it gives where they end, mm.
func (d *drawing) legend(from, to float64) (foot float64) {
	const row, dash, letter = small + 0.8, 7, 0.58 * small // a letter is no wider than that
	at := point{from, 0.6 * row}
	for _, k := range []struct {
		i          ink
		wide, dash float64
		text       string
	}{{pale, 1.3, 0, "programme"}, {black, bathMM, 0, "bath"}, {accent, coreMM, 0, "core (estimate)"}, {faint, 0.3, 1, "expected, not read"}} {
		wide := dash + 1.5 + letter*float64(len(k.text))
		if at.x > from && at.x+wide > to {
			at = point{from, at.y + row}
		}
		d.line(k.i, k.wide, k.dash, at, point{at.x + dash, at.y})
		d.write(black, small, -1, point{at.x + dash + 1.5, at.y + small/3}, k.text)
		at.x += wide + 4
	}
	return at.y + row
}

// since lists the readings of a bath from when the flasks went in.
func since(c bath.LoadCase) []cure.BathReading {
	return slices.DeleteFunc(slices.Clone(c.Readings), func(r cure.BathReading) bool { return r.At.Before(c.Start) })
}

// left is when the last flask of a load came out of the bath, and which one.
type left struct {
	at    timers.Stamp
	flask int
}

// outOf is nil while one of a load is in.
func (s Sheet) outOf(l *bench.Load) (out *left) {
	if len(s.Bench.StillIn(l)) > 0 {
		return nil
	}
	for _, no := range l.Flasks {
		if f := s.Bench.Flasks[no]; f != nil && f.Load == l.No && f.OutBath != nil && (out == nil || f.OutBath.At.After(out.at.At)) {
			out = &left{*f.OutBath, no}
		}
	}
	return out
}

// hour is a full hour of the clock on the scale of a load.
type hour struct {
	after time.Duration
	clock string
}

// hours lists the full hours of the sheet's zone in a stretch, as many as find
// room.
func (s Sheet) hours(from time.Time, endS float64) []hour {
	const most = 10
	from = from.In(s.From.Location())
	end := from.Add(time.Duration(endS * float64(time.Second)))
	step := time.Hour
	for end.Sub(from)/step > most {
		step *= 2
	}
	first := from.Truncate(time.Minute)
	for first.Minute() != 0 || first.Before(from) {
		first = first.Add(time.Minute)
	}
	var out []hour
	for t := first; !t.After(end); t = t.Add(step) {
		out = append(out, hour{t.Sub(from), t.Format("15:04")})
	}
	return out
}
