package day

import (
	"fmt"
	"html"
	"html/template"
	"strconv"
	"strings"
)

// ink is what a shape of a drawing is drawn with. No meaning hangs on it alone:
// dashes and shapes say the same in black and white.
type ink int

const (
	black  ink = iota
	faint      // rules, scales
	accent     // the one accent, that of the screen on a light background
	pale       // a broad line under others
	wash       // the ground of a band
)

// rgb of an ink. Against white: black 21:1, faint 6.7:1, accent 6.9:1 (WCAG 2.2 asks
// for 4.5:1 of text); pale and wash carry no text.
func (i ink) rgb() (r, g, b int) {
	switch i {
	case faint:
		return 0x5c, 0x5c, 0x5c
	case accent:
		return 0x00, 0x60, 0x7a
	case pale:
		return 0xb4, 0xbc, 0xc0
	case wash:
		return 0xdf, 0xe4, 0xe6
	}
	return 0, 0, 0
}

func (i ink) hex() string {
	r, g, b := i.rgb()
	return fmt.Sprintf("#%02x%02x%02x", r, g, b)
}

// point of a drawing, mm from its left upper corner.
type point struct{ x, y float64 }

// form is what a shape is.
type form int

const (
	stroke    form = iota // a line through its points, size mm wide
	area                  // the inside of its points
	disc                  // a full mark about its point, size mm in radius
	hollow                // an empty one
	diamond               // a full one that stands on its corner
	lettering             // text, size mm high
)

// shape is one piece of a drawing.
type shape struct {
	form form
	ink  ink
	at   []point
	size float64 // mm: width, radius or height
	dash float64 // mm on and off; zero for a full line
	text string
	side int // of a text: -1 begins at its point, 0 stands about it, 1 ends there
}

// drawing is a picture for paper in mm, drawn alike as SVG and in a PDF.
type drawing struct {
	w, h   float64
	name   string // what it shows, for who does not see it
	shapes []shape
}

func (d *drawing) line(i ink, width, dash float64, at ...point) {
	d.shapes = append(d.shapes, shape{form: stroke, ink: i, at: at, size: width, dash: dash})
}

func (d *drawing) fill(i ink, at ...point) {
	d.shapes = append(d.shapes, shape{form: area, ink: i, at: at})
}

func (d *drawing) mark(f form, i ink, radius float64, at point) {
	d.shapes = append(d.shapes, shape{form: f, ink: i, at: []point{at}, size: radius})
}

func (d *drawing) write(i ink, high float64, //nolint:unparam // small is the one size so far
	side int, at point, text string) {
	d.shapes = append(d.shapes, shape{form: lettering, ink: i, at: []point{at}, size: high, side: side, text: text})
}

// corners of a diamond.
func corners(p point, r float64) []point {
	return []point{{p.x, p.y - r}, {p.x + r, p.y}, {p.x, p.y + r}, {p.x - r, p.y}}
}

// mm writes a length to a hundredth.
func mm(v float64) string {
	s := strconv.FormatFloat(v, 'f', 2, 64)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".")
}

func pairs(at []point) string {
	out := make([]string, len(at))
	for i, p := range at {
		out[i] = mm(p.x) + "," + mm(p.y)
	}
	return strings.Join(out, " ")
}

// SVG is the drawing as an inline SVG element; the template asks for it by this name.
func (d drawing) SVG() template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg role="img" aria-label="%s" width="%smm" height="%smm" viewBox="0 0 %s %s">`, html.EscapeString(d.name), mm(d.w), mm(d.h), mm(d.w), mm(d.h))
	for _, s := range d.shapes {
		p := s.at[0]
		//exhaustive:enforce
		switch s.form {
		case stroke:
			dash := ""
			if s.dash > 0 {
				dash = fmt.Sprintf(` stroke-dasharray="%s"`, mm(s.dash))
			}
			fmt.Fprintf(&b, `<polyline points="%s" fill="none" stroke="%s" stroke-width="%s"%s/>`, pairs(s.at), s.ink.hex(), mm(s.size), dash)
		case area:
			fmt.Fprintf(&b, `<polygon points="%s" fill="%s"/>`, pairs(s.at), s.ink.hex())
		case disc:
			fmt.Fprintf(&b, `<circle cx="%s" cy="%s" r="%s" fill="%s"/>`, mm(p.x), mm(p.y), mm(s.size), s.ink.hex())
		case hollow:
			fmt.Fprintf(&b, `<circle cx="%s" cy="%s" r="%s" fill="#ffffff" stroke="%s" stroke-width="0.3"/>`, mm(p.x), mm(p.y), mm(s.size), s.ink.hex())
		case diamond:
			fmt.Fprintf(&b, `<polygon points="%s" fill="%s"/>`, pairs(corners(p, s.size)), s.ink.hex())
		case lettering:
			anchor := map[int]string{-1: "start", 0: "middle", 1: "end"}[s.side]
			fmt.Fprintf(&b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="%s">%s</text>`, mm(p.x), mm(p.y), mm(s.size), anchor, s.ink.hex(), html.EscapeString(s.text))
		}
	}
	b.WriteString("</svg>")
	return template.HTML(b.String()) // every text in it is escaped above
}
