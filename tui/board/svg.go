package board

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/timeline"
	"flaskside/timers/cure"
	"flaskside/tui/chart"
)

// drawing is a picture in units of its own, about as many as pixels.
type drawing struct {
	strings.Builder
	w, h float64
}

func (d *drawing) begin(class, name string, w, h float64) {
	d.w, d.h = w, h
	fmt.Fprintf(d, `<svg class="%s" role="img" aria-label="%s" viewBox="0 0 %s %s">`, class, html.EscapeString(name), num(w), num(h))
}

func (d *drawing) end() template.HTML {
	d.WriteString("</svg>")
	return template.HTML(d.String()) //nolint:gosec // every text in it was escaped
}

// num writes a length to a tenth.
func num(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		v = 0
	}
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

func (d *drawing) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(d, `<line class="%s" x1="%s" y1="%s" x2="%s" y2="%s"/>`, class, num(x1), num(y1), num(x2), num(y2))
}

func (d *drawing) path(class string, xy []float64) {
	if len(xy) < 4 {
		return
	}
	fmt.Fprintf(d, `<polyline class="%s" points="`, class)
	for i := 0; i+1 < len(xy); i += 2 {
		fmt.Fprintf(d, "%s,%s ", num(xy[i]), num(xy[i+1]))
	}
	d.WriteString(`"/>`)
}

// text writes; anchor is start, middle or end.
func (d *drawing) text(class, anchor string, x, y float64, s string) {
	fmt.Fprintf(d, `<text class="%s" text-anchor="%s" x="%s" y="%s">%s</text>`, class, anchor, num(x), num(y), html.EscapeString(s))
}

func (d *drawing) box(class string, x, y, w, h float64) {
	fmt.Fprintf(d, `<rect class="%s" x="%s" y="%s" width="%s" height="%s"/>`, class, num(x), num(y), num(max(0, w)), num(h))
}

// Height of the letters, and room beside the curves.
const (
	letter = 15.0
	left   = 62.0
	right  = 14.0
)

// boilC is where a line is drawn: water boils.
const boilC = 100

// bathSVG draws a bath and the core of the flasks in it: lived in full, to come dashed.
func bathSVG(name string, p chart.BathPicture) template.HTML {
	const w, h, top, foot = 640.0, 230.0, 22.0, 24.0
	if !(p.EndS > 0) || len(p.Bath) == 0 || len(p.Core) == 0 {
		return ""
	}
	var d drawing
	d.begin("bath", "bath and core temperature, "+name, w, h)
	low, high := chart.BathScale(p)
	x := func(s float64) float64 { return left + math.Min(math.Max(s/p.EndS, 0), 1)*(w-left-right) }
	y := func(c float64) float64 { return top + math.Min(math.Max((high-c)/(high-low), 0), 1)*(h-top-foot) }
	var named []float64
	scale := func(c float64, class string) {
		for _, n := range named {
			if math.Abs(y(n)-y(c)) < letter {
				return
			}
		}
		named = append(named, c)
		d.line(class, left, y(c), w-right, y(c))
		d.text("axis", "end", left-6, y(c)+letter/3, p.Temp(c))
	}
	scale(boilC, "boil")
	for _, c := range p.Holds {
		scale(c, "rule")
	}
	scale(low, "rule")
	before := math.Inf(-1)
	for _, t := range p.Ticks {
		if at := x(t.S); at-before > 60 && at < w-right-20 && math.Abs(at-x(p.NowS)) > 42 {
			d.line("rule", at, h-foot, at, h-foot+4)
			d.text("axis", "middle", at, h-5, t.Label)
			before = at
		}
	}
	curve := func(class string, ks []cure.Knot, fromS, toS float64) {
		if toS <= fromS {
			return
		}
		const steps = 160
		var xy []float64
		for i := range steps + 1 {
			s := fromS + (toS-fromS)*float64(i)/steps
			xy = append(xy, x(s), y(cure.BathAt(ks, s)))
		}
		d.path(class, xy)
	}
	now := math.Min(math.Max(p.NowS, 0), p.EndS)
	for _, c := range []struct {
		class string
		ks    []cure.Knot
	}{{"curve-bath", p.Bath}, {"curve-core", p.Core}} {
		curve(c.class, c.ks, 0, now)
		curve(c.class+" ahead", c.ks, now, p.EndS)
	}
	if p.NowS > 0 && p.NowS < p.EndS {
		d.line("now", x(p.NowS), top, x(p.NowS), h-foot)
		d.text("now-word", "middle", x(p.NowS), h-5, "now")
	}
	for _, k := range []struct {
		class, text string
		at          float64
	}{{"curve-bath", "bath", 0}, {"curve-core", "core (estimate)", 100}, {"curve-bath ahead", "to come", 290}} {
		at := left + k.at
		d.line(k.class, at, 9, at+34, 9)
		d.text("axis", "start", at+40, 14, k.text)
	}
	return d.end()
}

// daySVG draws the day of the bench: a row for each flask, press and bath.
func daySVG(l timeline.DayBars, labels []string) template.HTML {
	const w, head, row, names = 1200.0, 22.0, 20.0, 170.0
	span := l.To.Sub(l.From)
	if span <= 0 || !slices.ContainsFunc(l.Rows, func(r timeline.Row) bool { return len(r.Bars) > 0 }) {
		return ""
	}
	h := head + row*float64(len(l.Rows)) + 28
	var d drawing
	d.begin("day", "what runs today, and until when", w, h)
	x := func(t time.Time) float64 {
		return names + math.Min(math.Max(float64(t.Sub(l.From))/float64(span), 0), 1)*(w-names-right)
	}
	every := 1
	for float64(span/time.Hour)/float64(every) > (w-names)/76 {
		every++
	}
	for i, t := 0, l.From; !t.After(l.To); i, t = i+1, t.Add(time.Hour) {
		if i%every != 0 {
			continue
		}
		d.line("rule", x(t), head-2, x(t), h-26)
		if at := x(t); at < w-30 && math.Abs(at-x(l.Now)) > 44 {
			d.text("axis", "middle", at, letter, t.Format("15:04"))
		}
	}
	for i, r := range l.Rows {
		y := head + row*(float64(i)+0.5)
		d.text("label", "start", 2, y+letter/3, clip(labels[i], 19))
		for _, b := range r.Bars {
			d.bar(b, x, y)
		}
		for _, b := range r.Bars {
			room := int((x(b.To) - x(b.From)) / 9)
			if s := chart.BarName(b, room); s != "" && len([]rune(s)) <= room {
				d.text("in-bar", "start", x(b.From)+5, y+letter/3, s)
			}
		}
	}
	d.line("now", x(l.Now), head-2, x(l.Now), h-26)
	d.text("now-word", "middle", x(l.Now), letter, "now")
	d.signs(names, h-9)
	return d.end()
}

// signs say what the signs of a line of the day mean.
func (d *drawing) signs(x, y float64) {
	for _, s := range []struct {
		draw func(x float64)
		text string
		wide float64
	}{
		{func(x float64) { d.box("wait", x, y-7, 30, 4) }, "before the earliest", 200},
		{func(x float64) { d.box("run", x, y-12, 30, 14) }, "time to do it", 155},
		{func(x float64) { d.box("mark", x+14, y-14, 3, 18) }, "earliest, latest", 175},
		{func(x float64) { d.diamond(x+15, y-5) }, "aim", 90},
		{func(x float64) { d.box("late", x, y-12, 30, 14) }, "late", 90},
		{func(x float64) { d.box("past", x, y-12, 30, 14) }, "over", 90},
	} {
		s.draw(x)
		d.text("axis", "start", x+36, y, s.text)
		x += s.wide
	}
}

func (d *drawing) diamond(x, y float64) {
	d.path("aim", []float64{x, y - 7, x + 6, y, x, y + 7, x - 6, y, x, y - 7})
}

// bar is thin up to where it is open to be used, thick from there on; its ends have signs of
// their own, and what is late is crossed.
func (d *drawing) bar(b timeline.Bar, x func(time.Time) float64, y float64) {
	const thin, thick = 4.0, 13.0
	from, to, solid := x(b.From), x(b.To), x(chart.OpenFrom(b))
	switch {
	case b.Ended:
		d.box("past", from, y-thick/2, math.Max(3, to-from), thick)
		return
	case solid < to:
		d.box("wait", from, y-thin/2, solid-from, thin)
		d.box("run", solid, y-thick/2, to-solid, thick)
	default:
		d.box("wait", from, y-thin/2, to-from, thin)
	}
	if b.Over {
		late := x(b.Latest)
		d.box("late", late, y-thick/2, math.Max(4, to-late), thick)
		d.text("late-word", "start", math.Min(to+4, d.w-60), y+letter/3, "! late")
	}
	for _, t := range []time.Time{b.Earliest, b.Latest} {
		if !t.IsZero() {
			d.box("mark", x(t)-1.5, y-thick/2-2, 3, thick+4)
		}
	}
	if !b.Aim.IsZero() {
		d.diamond(x(b.Aim), y)
	}
}

func clip(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}
