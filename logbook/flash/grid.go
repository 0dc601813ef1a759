package flash

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// farthest is how many sds of its prior a value is looked for at: so far that only where the
// density falls decides where the sum ends. Trials that contradict the size of a flask, a tenth
// of a gram where 18 are usual, pull its line 7 sds and more.
const farthest = 60

// precision says how finely and how far a grid goes.
type precision struct {
	nodes float64 // nodes of the rule for each narrowest scale of the density
	cut   float64 // ln of how far the density has fallen where the sum ends
	ahead int     // closures to look ahead, which the grid must resolve too
}

// A fit resolves small chances; evidence is only the integral itself.
var (
	forFit      = precision{nodes: 0.95, cut: 36, ahead: MaxAhead}
	forEvidence = precision{nodes: 0.65, cut: 26}
)

// guessNodes of a row, for room to be made.
const guessNodes = 48

// leastCut is how far each b is summed at least.
const leastCut = 8

// grid is the posterior of (a, b) at the nodes of a Gauss–Legendre rule in b and, for each
// b, of one in a.
type grid struct {
	table                *normTable
	noneZ, heavyZ, invSD float64 // house lines and 1/sd of a grade, in sds of grading noise
	lift                 lift
	rows                 []row
	a, weight            []float64 // nodes of the current segment, row after row; weights sum to 1
	logEvidence          float64
}

// row is one b.
type row struct {
	b       float64
	from, n int       // its nodes in a and weight
	mass    float64   // posterior of this b; masses sum to 1
	given   []moments // of a in each segment, given b
}

// moments of a given b.
type moments struct{ mean, variance float64 }

// newGrid integrates the segments of one flask; the last one is the current. Its nodes are
// kept only where prec looks ahead. r may be shared by grids made one after another.
func newGrid(s TrendSettings, p Prior, segs [][]obs, prec precision, r rules) *grid {
	g := &grid{table: sharedTable(), invSD: 1 / s.GradeSD, lift: s.lift()}
	g.noneZ, g.heavyZ = s.noneLog()*g.invSD, s.heavyLog()*g.invSD
	strips := make([]*strip, len(segs))
	meanB, precB := math.Log(p.Kept), 1/(p.KeptSD*p.KeptSD)
	curveB := precB
	for i, seg := range segs {
		fine := forEvidence // an earlier segment matters only by its integral for each b
		if i == len(segs)-1 {
			fine = prec
		}
		strips[i] = newStrip(g, s, p, seg, fine, r)
		curveB += strips[i].curveB
	}
	logB := func(b float64) float64 { return -precB * (b - meanB) * (b - meanB) / 2 }
	profile := func(b float64) float64 {
		v := logB(b)
		for _, s := range strips {
			s.along(b)
			v += s.top
		}
		return v
	}
	lo, hi := meanB-farthest*p.KeptSD, meanB+farthest*p.KeptSD
	at, top, curve := peak(profile, lo, hi, meanB, 1/math.Sqrt(curveB))
	over := around(profile, at, top, curve, lo, hi, prec.cut)
	rule := r.of(prec.nodes * (over.hi - over.lo) * math.Sqrt(curveB))
	g.rows = make([]row, len(rule.x))
	given := make([]moments, len(rule.x)*len(segs))
	logs := make([]float64, len(rule.x))
	best := math.Inf(-1)
	if prec.ahead > 0 {
		g.a, g.weight = make([]float64, 0, guessNodes*len(rule.x)), make([]float64, 0, guessNodes*len(rule.x))
	}
	var spareA, spareW []float64
	for k := range g.rows {
		r := &g.rows[k]
		r.given, given = given[:len(segs)], given[len(segs):]
		var scale float64
		r.b, scale = over.node(rule, k)
		cut := math.Max(prec.cut-(top-profile(r.b)), leastCut)
		logs[k] = logB(r.b) + math.Log(scale/p.KeptSD) - lnRoot2Pi
		r.from = len(g.a)
		for i, s := range strips {
			var log float64
			switch {
			case i < len(strips)-1:
				spareA, spareW, log, r.given[i] = s.sum(forEvidence.cut, spareA[:0], spareW[:0])
			case prec.ahead > 0:
				g.a, g.weight, log, r.given[i] = s.sum(cut, g.a, g.weight)
			default:
				spareA, spareW, log, r.given[i] = s.sum(cut, spareA[:0], spareW[:0])
			}
			logs[k] += log
		}
		r.n = len(g.a) - r.from
		best = math.Max(best, logs[k])
	}
	var sum float64
	for k, log := range logs {
		g.rows[k].mass = math.Exp(log - best)
		sum += g.rows[k].mass
	}
	g.logEvidence = best + math.Log(sum)
	for k := range g.rows {
		r := &g.rows[k]
		r.mass /= sum
		for n := r.from; n < r.from+r.n; n++ {
			g.weight[n] *= r.mass
		}
	}
	return g
}

// segment is the line of segment i, given all trials.
func (g *grid) segment(i int) segment {
	var s segment
	for _, r := range g.rows {
		s.aMean += r.mass * r.given[i].mean
		s.bMean += r.mass * r.b
	}
	for _, r := range g.rows {
		da, db := r.given[i].mean-s.aMean, r.b-s.bMean
		s.aVar += r.mass * (r.given[i].variance + da*da)
		s.bVar += r.mass * db * db
		s.cov += r.mass * da * db
	}
	return s
}

// next is the chances of the grades at trial k of the current segment.
func (g *grid) next(k int) chances {
	var c chances
	for _, r := range g.rows {
		for n := r.from; n < r.from+r.n; n++ {
			z := g.lift.of(g.a[n]+r.b*float64(k-1)) * g.invSD
			lo, hi := g.noneZ-z, g.heavyZ-z
			c.None += g.weight[n] * g.table.cdf(lo)
			c.Slight += g.weight[n] * g.table.between(lo, hi)
			c.Heavy += g.weight[n] * g.table.cdf(-hi)
		}
	}
	return c
}

// line is the mean and sd of the line at trial k of the current segment with the floor in it,
// ln grams.
func (g *grid) line(k int) (mean, sd float64) {
	each := func(f func(y, w float64)) {
		for _, r := range g.rows {
			for n := r.from; n < r.from+r.n; n++ {
				f(g.lift.of(g.a[n]+r.b*float64(k-1)), g.weight[n])
			}
		}
	}
	each(func(y, w float64) { mean += w * y })
	each(func(y, w float64) { sd += w * (y - mean) * (y - mean) })
	return mean, math.Sqrt(sd)
}

// first is the chance that the first closure at or under the house grade is the j-th from
// now, j = 0 … MaxAhead, where those before the least-th do not count; done trials of the
// current segment are behind.
func (g *grid) first(house Grade, least, done int) []float64 {
	line := g.heavyZ
	if house == None {
		line = g.noneZ
	}
	pmf := make([]float64, MaxAhead+1)
	for _, r := range g.rows {
		for n := r.from; n < r.from+r.n; n++ {
			m := g.a[n] + r.b*float64(done+least-1)
			w := g.weight[n]
			for j := least; j <= MaxAhead && w > negligible; j++ {
				z := line - g.lift.of(m)*g.invSD
				var under, over float64 // the smaller one from the table, so that neither loses digits
				if z < 0 {
					under = g.table.cdf(z)
					over = 1 - under
				} else {
					over = g.table.cdf(-z)
					under = 1 - over
				}
				pmf[j] += w * under
				w *= over
				m += r.b
			}
		}
	}
	return pmf
}

// negligible weight of a node: all nodes that are dropped there together move no chance
// in its first six digits.
const negligible = 1e-22

// rule is a quadrature rule on [−1, 1].
type rule struct{ x, w []float64 }

// newRule is Gauss–Legendre with its nodes moved apart by the odd polynomial of degree 9
// that begins the series of arcsin, scaled to end at ±1. Gauss–Legendre crowds its nodes
// towards the ends, where our densities have least to say; moved so it needs about a third
// fewer. (Hale and Trefethen, SIAM J. Numer. Anal. 46 (2008) 930; from memory.)
func newRule(n int) rule {
	xw := make([]float64, 2*n)
	r := rule{xw[:n], xw[n:]}
	quad.Legendre{}.FixedLocations(r.x, r.w, -1, 1)
	const whole = 40320 + 6720 + 3024 + 1800 + 1225
	for i, s := range r.x {
		q := s * s
		r.x[i] = s * (40320 + q*(6720+q*(3024+q*(1800+q*1225)))) / whole
		r.w[i] *= (40320 + q*(3*6720+q*(5*3024+q*(7*1800+q*9*1225)))) / whole
	}
	return r
}

// rules keeps the rules of one fit, by their number of nodes.
type rules map[int]rule

// mostNodes bounds the work whatever the settings.
const mostNodes = 800

// of returns a rule with at least n nodes.
func (r rules) of(n float64) rule {
	k := 8 + 4*int(math.Ceil(math.Min(n, mostNodes)/4))
	if _, ok := r[k]; !ok {
		r[k] = newRule(k)
	}
	return r[k]
}
