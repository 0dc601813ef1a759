package dayplan

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
)

//go:embed plan.html.tmpl
var page string

// bar is one bar of the time line, in parts of its width.
type bar struct {
	X, W float64
	Kind string
	What string
}

// barRow is one row of the time line.
type barRow struct {
	Name string
	Y    int
	Bars []bar
}

// hourMark is a line of the time line.
type hourMark struct {
	X    float64
	Text string
}

const (
	chartW = 600.
	rowH   = 20
)

// HTML writes the plan as one page to print, with a time line of the day.
func (d *Day) HTML(w io.Writer) error {
	t, err := template.New("plan").Funcs(template.FuncMap{"clock": d.Clock, "by": d.By, "say": d.say, "minutes": d.minutes, "due": d.DueWords}).Parse(page)
	if err != nil {
		return fmt.Errorf("plan page: %w", err)
	}
	s := d.Show()
	rows, marks := d.bars(s)
	return t.Execute(w, struct {
		Shown
		Title    string
		Rows     []barRow
		Marks    []hourMark
		W, H     float64
		Leaflets string
	}{s, "day plan, " + s.At.Format("Mon 2 Jan 2006 15:04"), rows, marks, chartW, float64(rowH*(len(rows)+1) + 4), Leaflets})
}

// bars are the time line of the day in parts of its width.
func (d *Day) bars(s Shown) (rows []barRow, marks []hourMark) {
	h := &d.Made.House
	base := float64(d.today()) * 24 * 60
	from, to := base+math.Floor(d.open().OpensMin/60)*60, base+math.Ceil(d.open().OvertimeMin/60)*60
	x := func(t float64) float64 { return chartW * (max(from, min(to, t)) - from) / (to - from) }
	add := func(r *barRow, a, z float64, kind, what string) {
		if x(z) > x(a) {
			r.Bars = append(r.Bars, bar{x(a), x(z) - x(a), kind, what})
		}
	}
	keep := func(r barRow) {
		if len(r.Bars) > 0 {
			r.Y = rowH * (len(rows) + 1)
			rows = append(rows, r)
		}
	}
	for _, m := range s.Mixes {
		t, r := d.Made.Mixes[m.index], barRow{Name: fmt.Sprintf("mix %d", m.No)}
		add(&r, t.Coat.Middle, t.Start.Middle, "coat", "coated and drying")
		add(&r, t.Start.Middle, t.Closed.Middle, "press", "dough and press")
		keep(r)
	}
	for b, name := range d.Baths {
		r := barRow{Name: name}
		if b < len(h.BathFreeMin) {
			add(&r, from, h.BathFreeMin[b], "busy", "in it now")
		}
		for j, l := range d.Made.Plan.Loads {
			if t := d.Made.Loads[j]; l.Bath == b {
				add(&r, t.In.Middle, t.Out.Middle, "bath", d.programme(l.Long))
			}
		}
		keep(r)
	}
	for t := from; t <= to; t += 60 {
		marks = append(marks, hourMark{x(t), fmt.Sprintf("%02d", int(t/60)%24)})
	}
	return rows, marks
}
