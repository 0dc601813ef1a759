// Package chart draws the flash of a flask over its trial closures in the cells of a
// screen: the grades as zones from heavy down to none, a mark for each trial, the estimate
// as a line that breaks where dough was added, its 80 % band as shade, and the forecast as
// rings with the chance of a closure at most slight by then.
// It is a pure function of the picture and the size; it knows roles, not colours.
package chart

import (
	"fmt"
	"math"
	"strconv"

	"flaskside/logbook/flash"
	"flaskside/logbook/words"
)

// Role says what a cell shows, for the caller to colour. A later role hides an earlier one
// in the same cell.
type Role uint8

// The roles.
const (
	Blank    Role = iota
	House         // a house line, between two bands
	Band          // within the 80 % band of the trend
	Forecast      // the trend ahead
	Trend         // the trend so far
	Break         // where dough was added
	Ahead         // mark of a forecast trial
	Graded        // mark of a trial that was graded by eye
	Weighed       // mark of a trial whose flash was weighed
	Label         // name of a band, number of a trial
	Faint         // number of a trial to come, grams of a house line
)

// Cell is one character of width 1.
type Cell struct {
	Rune   rune
	Role   Role
	InBand bool // the band lies behind what stands here
}

// glyph of a mark or a break.
func glyph(r Role, ascii bool) Cell {
	pair := [2]rune{}
	switch r {
	case Ahead:
		pair = [2]rune{'○', 'o'}
	case Graded:
		pair = [2]rune{'●', '*'}
	case Weighed:
		pair = [2]rune{'◆', '#'}
	case Break:
		pair = [2]rune{'┊', '|'}
	}
	if ascii {
		return Cell{Rune: pair[1], Role: r}
	}
	return Cell{Rune: pair[0], Role: r}
}

// Least size that can be read.
const (
	minWidth  = 24
	minHeight = 4
)

// canvas is the plot in dots, 2 across and 4 down in each cell, and marks over them.
type canvas struct {
	w, h  int // cells
	dots  []Role
	marks []Cell
}

func newCanvas(w, h int) *canvas {
	return &canvas{w: w, h: h, dots: make([]Role, 8*w*h), marks: make([]Cell, w*h)}
}

// dot sets a dot unless it is outside or already of a later role.
func (c *canvas) dot(x, y int, r Role) {
	if x >= 0 && x < 2*c.w && y >= 0 && y < 4*c.h {
		if d := &c.dots[y*2*c.w+x]; r > *d {
			*d = r
		}
	}
}

// band shades a dot, but not over a house line.
func (c *canvas) band(x, y int) {
	if x >= 0 && x < 2*c.w && y >= 0 && y < 4*c.h && c.dots[y*2*c.w+x] == Blank {
		c.dots[y*2*c.w+x] = Band
	}
}

func (c *canvas) mark(x, y int, m Cell) {
	if x >= 0 && x < c.w && y >= 0 && y < c.h && m.Role >= c.marks[y*c.w+x].Role {
		c.marks[y*c.w+x] = m
	}
}

// braille dots of a cell by row and column.
var braille = [4][2]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

// cell is what stands at a cell: its mark, or its dots of the latest role.
func (c *canvas) cell(x, y int, ascii bool) Cell {
	out := c.front(x, y, ascii)
	out.InBand = c.behind(x, y)
	return out
}

// front is what stands at a cell, without what lies behind it.
func (c *canvas) front(x, y int, ascii bool) Cell {
	if m := c.marks[y*c.w+x]; m.Role != Blank {
		return m
	}
	var top Role
	for i := range 8 {
		top = max(top, c.dots[(4*y+i/2)*2*c.w+2*x+i%2])
	}
	if top == Blank {
		return Cell{Rune: ' '}
	}
	if top == Band {
		if c.shaded(x, y) {
			return Cell{Rune: shade(ascii), Role: Band}
		}
		if top = c.under(x, y, Band); top == Blank {
			return Cell{Rune: ' '}
		}
	}
	keep := top // a line stands alone, so that it stays thin
	var bits rune
	var rows [2][]int
	for i := range 8 {
		if r := c.dots[(4*y+i/2)*2*c.w+2*x+i%2]; r >= keep && (r != Band || keep == Band) {
			bits |= braille[i/2][i%2]
			rows[i%2] = append(rows[i%2], i/2)
		}
	}
	if ascii {
		if (top == House || top == Boil) && x%2 == 1 {
			return Cell{Rune: ' '}
		}
		return Cell{Rune: asciiOf(top, rows), Role: top}
	}
	return Cell{Rune: 0x2800 + bits, Role: top}
}

// behind tells whether the band lies behind a cell: what of it no line hides, and the lines,
// fill most of it.
func (c *canvas) behind(x, y int) bool {
	bands, full := 0, 0
	for i := range 8 {
		switch c.dots[(4*y+i/2)*2*c.w+2*x+i%2] {
		case Blank:
		case Band:
			bands++
			full++
		default:
			full++
		}
	}
	return bands > 0 && full >= 4
}

// shaded tells whether the band fills most of a cell that no house line runs through.
func (c *canvas) shaded(x, y int) bool {
	n := 0
	for i := range 8 {
		if c.dots[(4*y+i/2)*2*c.w+2*x+i%2] == Band {
			n++
		}
	}
	return n >= 4 && c.under(x, y, Band) == Blank
}

// under is the latest role in a cell beneath another.
func (c *canvas) under(x, y int, r Role) (top Role) {
	for i := range 8 {
		if d := c.dots[(4*y+i/2)*2*c.w+2*x+i%2]; d < r {
			top = max(top, d)
		}
	}
	return top
}

func shade(ascii bool) rune {
	if ascii {
		return ':'
	}
	return '░'
}

// zoneRune is how heavy a grade looks beside the chart.
func zoneRune(name string, ascii bool) rune {
	if ascii {
		return map[string]rune{"heavy": '#', "slight": '=', "none": '.'}[name]
	}
	return map[string]rune{"heavy": '█', "slight": '▒', "none": '░'}[name]
}

// asciiOf is a character of about the same shape.
func asciiOf(r Role, rows [2][]int) rune {
	switch r {
	case House, Boil:
		return '-'
	case Band:
		return ':'
	case Now:
		return '|'
	case BathAhead:
		return '.'
	case CoreAhead:
		return 'o'
	case CoreWas:
		return '*'
	}
	mean := func(v []int) float64 {
		sum := 0.0
		for _, y := range v {
			sum += float64(y)
		}
		return sum / float64(len(v))
	}
	l, t := rows[0], rows[1]
	if len(l) > 0 && len(t) > 0 {
		switch d := mean(t) - mean(l); {
		case d > 0.9:
			return '\\'
		case d < -0.9:
			return '/'
		}
	}
	switch m := mean(append(append([]int(nil), l...), t...)); {
	case m < 1:
		return '\''
	case m > 2:
		return '.'
	}
	return '-'
}

// Draw draws the picture in width × height cells, one slice of width cells for each line.
// With less than MinWidth or MinHeight, or of a zero picture, it draws nothing. With ascii
// all characters are below 128.
func Draw(p flash.Picture, width, height int, ascii bool) [][]Cell {
	if width < minWidth || height < minHeight || len(p.Curves) == 0 {
		return nil
	}
	const left = 7
	axis := 0
	if height >= 6 {
		axis = 1
	}
	right := 0
	if width >= 48 {
		right = 7
	}
	c := newCanvas(width-left-right, height-axis)
	if most := c.w / 2; p.Last-p.First+1 > most {
		p.First = p.Last - most + 1
	}
	plot(c, p, ascii)
	lines := make([][]Cell, height)
	for y := range lines {
		lines[y] = make([]Cell, width)
		for x := range lines[y] {
			lines[y][x] = Cell{Rune: ' '}
			if y < c.h && x >= left && x < left+c.w {
				lines[y][x] = c.cell(x-left, y, ascii)
			}
		}
	}
	write := func(x, y int, s string, r Role) {
		for _, ch := range s {
			if x >= 0 && x < width && y >= 0 && y < height {
				lines[y][x].Rune, lines[y][x].Role = ch, r
			}
			x++
		}
	}
	zones(c, p, ascii, func(x, y int, s string, r Role) { write(left+x, y, s, r) })
	if right > 0 {
		for _, l := range []float64{p.None, p.Heavy} {
			write(left+c.w+1, rowOf(c, p, l), grams(l), Faint)
		}
	}
	if roomy := c.w/(p.Last-p.First+1) >= 9 && c.h >= 10; roomy {
		for _, d := range p.Points {
			if d.Weighed && d.Trial >= p.First {
				col, row := spot(c, p, float64(d.Trial), d.Y)
				write(left+col+2, row-1, grams(d.Y), Faint)
			}
		}
	}
	rings(c, p, func(x, y int, s string) { write(left+x, y, s, Chance) })
	if axis > 0 {
		trialAxis(c, p, func(x int, s string, r Role) { write(left+x, height-1, s, r) })
	}
	return lines
}

// rowOf is the row of the canvas on which so much flash stands.
func rowOf(c *canvas, p flash.Picture, logG float64) int {
	return min(max(int((1-p.Y(logG))*float64(c.h)), 0), c.h-1)
}

// zones writes the grades beside the canvas, each over its rows.
func zones(c *canvas, p flash.Picture, ascii bool, write func(x, y int, s string, r Role)) {
	for _, b := range []struct {
		name   string
		lo, hi float64
	}{{"heavy", p.Heavy, p.High}, {"slight", p.None, p.Heavy}, {"none", p.Low, p.None}} {
		for y := rowOf(c, p, b.hi); y <= rowOf(c, p, b.lo); y++ {
			write(-1, y, string(zoneRune(b.name, ascii)), Zone)
		}
		write(-1-len(b.name), rowOf(c, p, (b.lo+b.hi)/2), b.name, Label)
	}
}

// trialAxis writes the numbers of the closures, and where dough was added.
func trialAxis(c *canvas, p flash.Picture, write func(x int, s string, r Role)) {
	every := 1 // numbers keep a blank between them
	for (c.w*every)/(p.Last-p.First+1) < len(fmt.Sprint(p.Last))+1 {
		every++
	}
	for t := p.Last; t >= p.First; t -= every {
		s := fmt.Sprint(t)
		r := Label
		if t > p.Done {
			r = Faint
		}
		write(int(p.X(float64(t))*float64(c.w))-len(s)/2, s, r)
	}
	for _, v := range p.Curves[1:] {
		if v.From > p.First {
			write(breakAt(c, p, v), "+", Break)
		}
	}
}

// rings writes the chances beside the rings of the forecast, where there is room: above, for
// the line falls.
func rings(c *canvas, p flash.Picture, write func(x, y int, s string)) {
	if c.w/(p.Last-p.First+1) < 5 || c.h < 6 {
		return
	}
	now := p.Curves[len(p.Curves)-1]
	free := make([]int, c.h) // by row: from what column on nothing is written yet
	for j, chance := range p.Chances {
		t := float64(p.Done + 1 + j)
		mean, _, _ := now.At(t)
		col, row := spot(c, p, t, mean)
		s := words.Percent(chance)
		x := min(col+1, c.w-len(s))
		if row > 0 && x > col-len(s)+1 && x >= free[row-1] {
			write(x, row-1, s)
			free[row-1] = x + len(s) + 1
		}
	}
}

// grams writes ln grams in two figures.
func grams(logG float64) string {
	g, _ := strconv.ParseFloat(fmt.Sprintf("%.2g", math.Exp(logG)), 64)
	return strconv.FormatFloat(g, 'f', -1, 64) + " g"
}

// plotCurve puts one stretch of the trend on the canvas, its band under it.
func plotCurve(c *canvas, p flash.Picture, v flash.Curve) {
	shade := c.h >= 6 // in fewer lines the band would hide the rest
	wide := float64(2 * c.w)
	before, drawn := 0, false
	for x := range 2 * c.w {
		t := (float64(x)+0.5)/wide*float64(p.Last-p.First+1) + float64(p.First) - 0.5 // at the middle of a dot
		if t < float64(v.From)-0.5 || t > float64(v.To)+0.5 {
			continue
		}
		mean, low, high := v.At(t)
		for y := max(dotY(c, p, high), 0); shade && y <= min(dotY(c, p, low), 4*c.h); y++ {
			c.band(x, y)
		}
		role, y := Trend, dotY(c, p, mean)
		if t > float64(p.Done) && v.To > p.Done {
			role = Forecast
		}
		if !drawn {
			before = y
		}
		if role == Trend || x%6 < 4 {
			c.dot(x, y, role)
			for s := min(before, y) + 1; s < max(before, y); s++ {
				c.dot(x, s, role) // a steep line keeps together
			}
		}
		before, drawn = y, true
	}
}

// dotY is the row of dots on which so much flash stands.
func dotY(c *canvas, p flash.Picture, logG float64) int { return int((1 - p.Y(logG)) * float64(4*c.h)) }

// plot puts everything on the canvas.
func plot(c *canvas, p flash.Picture, ascii bool) {
	for _, l := range []float64{p.None, p.Heavy} {
		y := dotY(c, p, l)
		for x := 0; x < 2*c.w; x += 2 {
			c.dot(x, y, House)
		}
	}
	for _, v := range p.Curves {
		plotCurve(c, p, v)
	}
	for _, v := range p.Curves[1:] {
		for r := range c.h {
			c.mark(breakAt(c, p, v), r, glyph(Break, ascii))
		}
	}
	for _, d := range p.Points {
		col, row := spot(c, p, float64(d.Trial), d.Y)
		role := Graded
		if d.Weighed {
			role = Weighed
		}
		c.mark(col, row, glyph(role, ascii))
	}
	now := p.Curves[len(p.Curves)-1]
	for t := max(p.Done+1, p.First); t <= p.Done+len(p.Chances); t++ {
		mean, _, _ := now.At(float64(t))
		col, row := spot(c, p, float64(t), mean)
		c.mark(col, row, glyph(Ahead, ascii))
	}
}

// spot is the cell of a mark. Marks stand in the middle of their cells; one that shares its cell with a house line goes to its own side of
// it.
func spot(c *canvas, p flash.Picture, trial, logG float64) (col, row int) {
	row = dotY(c, p, logG) / 4
	for _, l := range []float64{p.None, p.Heavy} {
		y := dotY(c, p, l)
		switch {
		case y/4 != row:
		case logG < l && y%4 >= 2:
			row++
		case logG >= l && y%4 < 2:
			row--
		}
	}
	return int(p.X(trial) * float64(c.w)), min(max(row, 0), c.h-1)
}

// breakAt is the column where dough was added before a segment.
func breakAt(c *canvas, p flash.Picture, v flash.Curve) int {
	return int(p.X(float64(v.From)-0.5) * float64(c.w))
}
