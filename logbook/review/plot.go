package review

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
)

// Size of a chart drawn with characters.
const (
	plotW = 66
	plotH = 11
)

// perColumn is how many flasks share a column.
func (c controlChart) perColumn() int { return (len(c.Values) + plotW - 1) / plotW }

// span is what a chart shows from bottom to top: all values and both limits.
func (c controlChart) span() (low, high float64) {
	low, high = min(c.Low, slices.Min(c.Values)), max(c.High, slices.Max(c.Values))
	if high <= low { // all alike
		low, high = low-1, high+1
	}
	return low, high
}

// plot draws the chart with characters, one line a string.
func (c controlChart) plot() []string {
	low, high := c.span()
	row := func(v float64) int {
		return min(plotH-1, max(0, int(math.Round((high-v)/(high-low)*(plotH-1)))))
	}
	per := c.perColumn()
	w := (len(c.Values) + per - 1) / per
	grid := make([][]byte, plotH)
	for i := range grid {
		grid[i] = []byte(strings.Repeat(" ", w))
	}
	mark := map[int]string{}
	line := func(v float64, with string) {
		grid[row(v)] = []byte(strings.Repeat(with, w))
		mark[row(v)] = figure(v)
	}
	mark[row(high)], mark[row(low)] = figure(high), figure(low)
	if !c.Floor {
		line(c.Low, "-")
	}
	line(c.High, "-")
	line(c.Center, "=")
	for i, v := range c.Values {
		cell := &grid[row(v)][i/per]
		switch {
		case slices.Contains(c.Outside, i):
			*cell = 'X'
		case *cell != 'X':
			*cell = 'o'
		}
	}
	out := make([]string, plotH)
	for i, g := range grid {
		out[i] = strings.TrimRight(fmt.Sprintf("  %7s |%s", mark[i], g), " ")
	}
	return out
}

// Size of a chart drawn as SVG, in its own units.
const (
	svgW, svgH             = 720.0, 190.0
	svgLeft, svgRight      = 44.0, 64.0 // room for the scale, and for the names of the lines
	svgTop, svgBottom      = 10.0, 24.0
	svgPlotW               = svgW - svgLeft - svgRight
	svgPlotH               = svgH - svgTop - svgBottom
	mostDots               = 1500 // above, the line alone is drawn
	svgTicks               = 6
	svgFont                = 11
	outsideHalf, dotRadius = 4.0, 1.8
	numberRoom             = 30.0
)

// svg draws the chart; name is its title for those who do not see it. Points outside
// are told by their shape and their number, not by colour alone.
func (c controlChart) svg(name, unit string) template.HTML {
	low, high := c.span()
	x := func(i int) float64 {
		if len(c.Values) == 1 {
			return svgLeft + svgPlotW/2
		}
		return svgLeft + svgPlotW*float64(i)/float64(len(c.Values)-1)
	}
	y := func(v float64) float64 { return svgTop + svgPlotH*(high-v)/(high-low) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" role="img" font-size="%d"><title>%s</title>`, svgW, svgH, svgFont, template.HTMLEscapeString(name))
	for i := range svgTicks {
		v := low + (high-low)*float64(i)/(svgTicks-1)
		fmt.Fprintf(&b, `<path class="grid" d="M%.1f %.1fh%.1f"/><text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, svgLeft, y(v), svgPlotW, svgLeft-5, y(v)+4, figure(v))
	}
	level := func(class, word string, v float64) {
		fmt.Fprintf(&b, `<path class="%s" d="M%.1f %.1fh%.1f"/><text x="%.1f" y="%.1f">%s %s</text>`, class, svgLeft, y(v), svgPlotW, svgLeft+svgPlotW+5, y(v)+4, word, figure(v))
	}
	level("mean", "mean", c.Center)
	if c.Limits && c.High > c.Center {
		level("limit", "limit", c.High)
		if !c.Floor {
			level("limit", "limit", c.Low)
		}
	}
	b.WriteString(`<path class="run" d="`)
	for i, v := range c.Values {
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		fmt.Fprintf(&b, "%s%.1f %.1f", letter, x(i), y(v))
	}
	b.WriteString(`"/>`)
	if len(c.Values) <= mostDots {
		fmt.Fprintf(&b, `<path class="dots" stroke-width="%g" d="`, 2*dotRadius)
		for i, v := range c.Values {
			fmt.Fprintf(&b, "M%.1f %.1fh0", x(i), y(v))
		}
		b.WriteString(`"/>`)
	}
	named := math.Inf(-1) // where the last number stands: they must not run into each other
	for _, i := range c.Outside {
		fmt.Fprintf(&b, `<path class="out" d="M%.1f %.1fh%gv%gh-%gz"/>`, x(i)-outsideHalf, y(c.Values[i])-outsideHalf, 2*outsideHalf, 2*outsideHalf, 2*outsideHalf)
		if x(i)-named >= numberRoom {
			named = x(i)
			fmt.Fprintf(&b, `<text class="no" x="%.1f" y="%.1f" text-anchor="middle">%d</text>`, x(i), y(c.Values[i])+15, c.Flasks[i])
		}
	}
	first, last := c.Flasks[0], c.Flasks[len(c.Flasks)-1]
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f">flask %d</text><text x="%.1f" y="%.1f" text-anchor="end">flask %d</text>`, svgLeft, svgH-6, first, svgLeft+svgPlotW, svgH-6, last)
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text></svg>`, svgLeft+svgPlotW/2, svgH-6, template.HTMLEscapeString(strings.TrimSpace("in order"+unit)))
	return template.HTML(b.String()) //nolint:gosec // numbers and escaped words only
}
