package chart

import (
	"math"

	"flaskside/timers/cure"
)

// The roles of a bath's chart, after those of the flash's.
const (
	Boil      Role = Faint + 1 + iota // the line of boiling water
	Now                               // where the present is
	BathAhead                         // bath, to come
	BathWas                           // bath, lived
	CoreAhead                         // core of the flask, to come
	CoreWas                           // core of the flask, lived
)

// BathPicture is what a bath and the core of a flask in it go through.
type BathPicture struct {
	Bath, Core []cure.Knot // °C over seconds since the flasks went in, each with at least one point
	NowS       float64     // lived up to here
	EndS       float64     // drawn up to here
	Ticks      []Tick      // for the time axis, rising; those that find room are written
	Holds      []float64   // °C of the programme, written on the temperature axis where there is room
	Temp       func(tempC float64) string
}

// Tick is a mark on the time axis.
type Tick struct {
	S     float64
	Label string
}

// boilC is where the line is drawn: water boils.
const boilC = 100

// Bath draws the picture in width × height cells, one slice of width cells for each
// line: bath and core against time, lived solid, to come dotted, the line of
// boiling water, the present. With less than MinWidth or MinHeight, or without an
// end, it draws nothing. With ascii all characters of its own are below 128.
func Bath(p BathPicture, width, height int, ascii bool) [][]Cell {
	if width < minWidth || height < minHeight || !(p.EndS > 0) || len(p.Bath) == 0 || len(p.Core) == 0 {
		return nil
	}
	const left = 7
	axis := 0
	if height >= 6 {
		axis = 1
	}
	c := newCanvas(width-left, height-axis)
	y := bathScale(p)
	plotBath(c, p, y)
	lines := make([][]Cell, height)
	for row := range lines {
		lines[row] = make([]Cell, width)
		for x := range lines[row] {
			lines[row][x] = Cell{Rune: ' ', Role: Blank}
			if row < c.h && x >= left {
				lines[row][x] = c.cell(x-left, row, ascii)
			}
		}
	}
	write := func(x, row int, s string, r Role) {
		for _, ch := range s {
			if x >= 0 && x < width && row >= 0 && row < height {
				lines[row][x] = Cell{Rune: ch, Role: r}
			}
			x++
		}
	}
	y.labels(c, p, write)
	nameCurves(c, p, y, func(x, row int, s string, r Role) { write(left+x, row, s, r) }, func(x, row int) bool {
		return row < c.h && lines[row][left+x].Role == Blank
	})
	if axis > 0 {
		timeAxis(c, p, func(x int, s string, r Role) { write(left+x, height-1, s, r) })
	}
	return lines
}

// scale puts temperatures on the canvas.
type scale struct{ low, high float64 }

// BathScale is the lowest and the highest temperature that the picture reaches, in °C.
func BathScale(p BathPicture) (lowC, highC float64) {
	s := bathScale(p)
	return s.low, s.high
}

func bathScale(p BathPicture) scale {
	s := scale{math.Inf(1), boilC + 4}
	for _, ks := range [][]cure.Knot{p.Bath, p.Core} {
		for _, k := range ks {
			s.low, s.high = math.Min(s.low, k.TempC), math.Max(s.high, k.TempC+2)
		}
	}
	s.low = math.Min(math.Floor(s.low/10)*10, boilC-20)
	return s
}

// dot is the row of dots of a temperature on a canvas tall dots high.
func (s scale) dot(tempC float64, tall int) int {
	return min(max(int((s.high-tempC)/(s.high-s.low)*float64(tall)), 0), tall-1)
}

// labels writes the temperatures that matter: boiling water, the holds, the lowest.
func (s scale) labels(c *canvas, p BathPicture, write func(x, row int, s string, r Role)) {
	taken := map[int]bool{}
	label := func(tempC float64, r Role) {
		row := s.dot(tempC, 4*c.h) / 4
		if taken[row-1] || taken[row] || taken[row+1] && c.h >= 12 {
			return
		}
		taken[row] = true
		text := []rune(p.Temp(tempC))
		write(max(0, 6-len(text)), row, string(text[:min(6, len(text))]), r)
	}
	label(boilC, Faint)
	for _, h := range p.Holds {
		label(h, Label)
	}
	label(s.low, Faint)
}

// plotBath puts everything on the canvas.
func plotBath(c *canvas, p BathPicture, y scale) {
	wide, tall := 2*c.w, 4*c.h
	for x := 0; x < wide; x += 2 {
		c.dot(x, y.dot(boilC, tall), Boil)
	}
	if p.NowS > 0 && p.NowS < p.EndS {
		for row := range tall {
			c.dot(int(p.NowS/p.EndS*float64(wide)), row, Now)
		}
	}
	for _, v := range []struct {
		ks         []cure.Knot
		was, ahead Role
	}{{p.Bath, BathWas, BathAhead}, {p.Core, CoreWas, CoreAhead}} {
		before := 0
		for x := range wide {
			t := (float64(x) + 0.5) / float64(wide) * p.EndS
			row, role := y.dot(cure.BathAt(v.ks, t), tall), v.was
			if t > p.NowS {
				role = v.ahead
			}
			if x == 0 {
				before = row
			}
			if role == v.was || x%4 < 2 {
				c.dot(x, row, role)
				for s := min(before, row) + 1; s < max(before, row); s++ {
					c.dot(x, s, role) // a steep line keeps together
				}
			}
			before = row
		}
	}
}

// nameCurves writes "bath" and "core" where they lie farthest apart and there is
// room, so that nobody needs colour to tell them.
func nameCurves(c *canvas, p BathPicture, y scale, write func(x, row int, s string, r Role), blank func(x, row int) bool) {
	tall := 4 * c.h
	put := func(name string, role Role, at int, rows ...int) {
		for _, row := range rows {
			for x := at; x < min(at+8, c.w-len(name)); x++ {
				free := row >= 0
				for i := -1; free && i <= len(name); i++ {
					free = x+i < 0 || x+i < c.w && blank(x+i, row)
				}
				if free {
					write(x, row, name, role)
					return
				}
			}
		}
	}
	apart, at := 0.0, 0
	for x := range c.w {
		t := (float64(x) + 0.5) / float64(c.w) * p.EndS
		if d := math.Abs(cure.BathAt(p.Bath, t) - cure.BathAt(p.Core, t)); d > apart {
			apart, at = d, x
		}
	}
	t := (float64(at) + 0.5) / float64(c.w) * p.EndS
	bath, core := y.dot(cure.BathAt(p.Bath, t), tall)/4, y.dot(cure.BathAt(p.Core, t), tall)/4
	role := func(was, ahead Role) Role {
		if t > p.NowS {
			return ahead
		}
		return was
	}
	if bath <= core {
		put("bath", role(BathWas, BathAhead), at, bath-1, bath-2, bath+1)
		put("core", role(CoreWas, CoreAhead), at+1, core, core-1, core+1)
		return
	}
	put("core", role(CoreWas, CoreAhead), at, core-1, core-2)
	put("bath", role(BathWas, BathAhead), at+1, bath, bath+1)
}

// timeAxis writes as many ticks as find room, evenly, and the present.
func timeAxis(c *canvas, p BathPicture, write func(x int, s string, r Role)) {
	col := func(s float64) int { return min(int(s/p.EndS*float64(c.w)), c.w-1) }
	now := -100
	if p.NowS > 0 && p.NowS < p.EndS {
		now = col(p.NowS)
	}
	for every := 1; every <= len(p.Ticks); every++ {
		room := true
		for i := every; room && i < len(p.Ticks); i += every {
			a, b := p.Ticks[i-every], p.Ticks[i]
			room = col(b.S)-col(a.S) > (len([]rune(a.Label))+len([]rune(b.Label)))/2+1
		}
		if !room {
			continue
		}
		for i := 0; i < len(p.Ticks); i += every {
			t := p.Ticks[i]
			n := len([]rune(t.Label))
			x := min(max(col(t.S)-n/2, 0), c.w-n)
			if x+n < now-1 || x > now+2 {
				write(x, t.Label, Faint)
			}
		}
		break
	}
	if now >= 0 {
		write(min(max(now-1, 0), c.w-3), "now", Label)
	}
}
