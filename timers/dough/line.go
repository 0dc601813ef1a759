package dough

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// line is y = Intercept[g] + Slope x by ordinary least squares, where every
// group g of points has an intercept of its own and all share the slope.
type line struct {
	Slope, SlopeSE         float64
	Intercept, InterceptSE []float64 // by group
	ResidSD                float64
	DF                     int // degrees of freedom left
}

// points is one group.
type points struct{ x, y []float64 }

// fitLine fits points of one or more groups. None may be empty, one must have two
// different x, and there must be two points more than groups. With one group it
// is the plain straight line.
func fitLine(groups []points) line {
	var l line
	// A group's own intercept drops out when its means are taken off, which leaves
	// one line through the origin.
	var dx, dy []float64
	for _, g := range groups {
		mx, my := stat.Mean(g.x, nil), stat.Mean(g.y, nil)
		for i := range g.x {
			dx, dy = append(dx, g.x[i]-mx), append(dy, g.y[i]-my)
		}
	}
	var sxx float64
	for _, v := range dx {
		sxx += v * v
	}
	l.DF = len(dx) - len(groups) - 1
	_, l.Slope = stat.LinearRegression(dx, dy, nil, true)
	var sse float64
	for i := range dx {
		e := dy[i] - l.Slope*dx[i]
		sse += e * e
	}
	l.ResidSD = math.Sqrt(sse / float64(l.DF))
	l.SlopeSE = l.ResidSD / math.Sqrt(sxx)
	for _, g := range groups {
		mx, my := stat.Mean(g.x, nil), stat.Mean(g.y, nil)
		l.Intercept = append(l.Intercept, my-l.Slope*mx)
		l.InterceptSE = append(l.InterceptSE, l.ResidSD*math.Sqrt(1/float64(len(g.x))+mx*mx/sxx))
	}
	return l
}
