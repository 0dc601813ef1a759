package flash

import "math"

// strip is one segment as a function of a, for one b after another.
type strip struct {
	g                *grid
	meanA, precA     float64 // prior of a
	ends             [2]float64
	precW            float64 // of one weighed trim
	norm             float64 // ln of all the constant factors
	weighed, graded  []obs
	b                float64 // the one it is at
	prec             float64 // of a given b, from prior and weighed trims
	curveA, curveB   float64 // largest curvature of the log density along a, and along b with a summed out
	nodes            float64
	rules            rules
	mid, level       float64 // at this b: prior and weighed trims are level − prec·(a − mid)²/2
	peak, top, curve float64 // of the density along a at this b
	sides            []side
}

func newStrip(g *grid, s TrendSettings, p Prior, seg []obs, prec precision, r rules) *strip {
	t := &strip{g: g, meanA: math.Log(p.FirstG), nodes: prec.nodes, rules: r}
	t.precA, t.precW = 1/(p.FirstSD*p.FirstSD), 1/(s.WeighSD*s.WeighSD)
	t.ends = [2]float64{t.meanA - farthest*p.FirstSD, t.meanA + farthest*p.FirstSD}
	t.norm = -math.Log(p.FirstSD) - lnRoot2Pi
	t.prec = t.precA
	// Curvatures as of least squares: each trial weighs 1/sd² at its x; summing a out
	// leaves the spread of x about its weighted mean.
	sum, sumX, sumXX := t.precA, 0.0, 0.0
	look := func(x, w float64) { sum, sumX, sumXX = sum+w, sumX+w*x, sumXX+w*x*x }
	for _, o := range seg {
		if o.weighed {
			t.weighed = append(t.weighed, o)
			if !g.lift.on { // else it is no parabola in a
				t.prec += t.precW
			}
			t.norm -= math.Log(s.WeighSD) + lnRoot2Pi
			look(o.x, t.precW)
		} else {
			t.graded = append(t.graded, o)
			look(o.x, g.invSD*g.invSD)
		}
	}
	if g.lift.on { // the bend of the floor itself
		sum, sumX, sumXX = bend*sum, bend*sumX, bend*sumXX
	}
	t.curveA = sum
	if prec.ahead > 0 {
		t.curveA += aheadA * g.invSD * g.invSD
		look(float64(len(seg)), aheadB*g.invSD*g.invSD)
		look(float64(len(seg)+prec.ahead-1), aheadB*g.invSD*g.invSD)
	}
	t.curveB = sumXX - sumX*sumX/sum
	t.peak, t.sides = t.meanA, make([]side, len(t.graded))
	return t
}

// side is a grade at this b: the normal probability below lo + sign·a/sd, or for slight
// between lo − a/sd and hi − a/sd.
type side struct {
	lo, hi, sign float64
	slight       bool
}

// bend is how much more than without a floor the density may curve with one (found by trial
// against the reference cases).
const bend = 2

// How many grades bend the density as much as the whole forecast does: along a, and along b
// at the first and again at the furthest closure looked ahead to (found by trial against
// the reference cases).
const (
	aheadA = 3
	aheadB = 2.5
)

// along goes to another b: it finds the top of the density along a.
func (t *strip) along(b float64) {
	t.b = b
	t.level, t.mid = t.norm, t.meanA
	if !t.g.lift.on {
		t.mid = t.precA * t.meanA
		for _, o := range t.weighed {
			t.mid += t.precW * (o.y - b*o.x)
		}
		t.mid /= t.prec
		t.level -= t.precA * (t.mid - t.meanA) * (t.mid - t.meanA) / 2
		for _, o := range t.weighed {
			d := o.y - b*o.x - t.mid
			t.level -= t.precW * d * d / 2
		}
	}
	guess := t.peak
	if len(t.graded) == 0 {
		guess = t.mid
	}
	for i, o := range t.graded {
		z := b * o.x * t.g.invSD
		switch o.grade {
		case None:
			t.sides[i] = side{lo: t.g.noneZ - z, sign: -1}
		case Heavy:
			t.sides[i] = side{lo: z - t.g.heavyZ, sign: 1}
		default:
			t.sides[i] = side{lo: t.g.noneZ - z, hi: t.g.heavyZ - z, slight: true}
		}
	}
	t.peak, t.top, t.curve = peak(t.log, t.ends[0], t.ends[1], guess, 1/math.Sqrt(t.curveA))
}

// parabola is ln of what prior and weighed trims say of a, given this b.
func (t *strip) parabola(a float64) float64 {
	d := a - t.mid
	return t.level - t.prec*d*d/2
}

// log is ln of the joint density of a and the segment's trials, given this b.
func (t *strip) log(a float64) float64 {
	v := t.parabola(a)
	if t.g.lift.on {
		return v + t.liftedLog(a)
	}
	if len(t.graded) == 0 {
		return v
	}
	if c := t.chance(a); c > tiny {
		return v + math.Log(c)
	}
	z := a * t.g.invSD
	for _, s := range t.sides {
		if s.slight {
			v += logNormBetween(s.lo-z, s.hi-z)
		} else {
			v += logNormCDF(s.lo + s.sign*z)
		}
	}
	return v
}

// lifted is what the trials say of a, given this b, with the floor in the flash: ln of the
// weighed ones, and the chance of the grades.
func (t *strip) lifted(a float64) (log, chance float64) {
	for _, o := range t.weighed {
		d := o.y - t.g.lift.of(a+t.b*o.x)
		log -= t.precW * d * d / 2
	}
	chance = 1
	for _, o := range t.graded {
		z := t.g.lift.of(a+t.b*o.x) * t.g.invSD
		switch o.grade {
		case None:
			chance *= t.g.table.cdf(t.g.noneZ - z)
		case Heavy:
			chance *= t.g.table.cdf(z - t.g.heavyZ)
		default:
			chance *= t.g.table.between(t.g.noneZ-z, t.g.heavyZ-z)
		}
	}
	return log, chance
}

// liftedLog is ln of both, also where the chance is too small for a product.
func (t *strip) liftedLog(a float64) float64 {
	v, chance := t.lifted(a)
	if chance > tiny {
		return v + math.Log(chance)
	}
	for _, o := range t.graded {
		z := t.g.lift.of(a+t.b*o.x) * t.g.invSD
		switch o.grade {
		case None:
			v += logNormCDF(t.g.noneZ - z)
		case Heavy:
			v += logNormCDF(z - t.g.heavyZ)
		default:
			v += logNormBetween(t.g.noneZ-z, t.g.heavyZ-z)
		}
	}
	return v
}

// tiny is the chance below which grades are multiplied as logs, out of reach of underflow.
const tiny = 1e-250

// chance of the grades given a and this b.
func (t *strip) chance(a float64) float64 {
	chance, z := 1.0, a*t.g.invSD
	for _, s := range t.sides {
		if s.slight {
			chance *= t.g.table.between(s.lo-z, s.hi-z)
		} else {
			chance *= t.g.table.cdf(s.lo + s.sign*z)
		}
	}
	return chance
}

// sum integrates over a, as far as the density is within cut of its top: ln of the
// integral, and the moments of a. The nodes and their weights, which sum to 1, are added
// to a and w.
func (t *strip) sum(cut float64, a, w []float64) ([]float64, []float64, float64, moments) {
	over := around(t.log, t.peak, t.top, t.curve, t.ends[0], t.ends[1], cut)
	r := t.rules.of(t.nodes * (over.hi - over.lo) * math.Sqrt(t.curveA))
	from := len(a)
	var mass, first float64
	for k := range r.x {
		at, v := over.node(r, k)
		if t.g.lift.on {
			if log, c := t.lifted(at); c > tiny {
				v *= math.Exp(t.parabola(at)+log-t.top) * c
			} else {
				v *= math.Exp(t.log(at) - t.top)
			}
		} else if c := t.chance(at); c > tiny {
			v *= math.Exp(t.parabola(at)-t.top) * c
		} else {
			v *= math.Exp(t.log(at) - t.top)
		}
		a, w = append(a, at), append(w, v)
		mass += v
		first += v * at
	}
	top := t.top
	if !(mass > 0 && mass <= math.MaxFloat64) {
		mass, first, top = t.sumFromLogs(over, r, a[from:], w[from:])
	}
	m := moments{mean: first / mass}
	for k := from; k < len(a); k++ {
		w[k] /= mass
		d := a[k] - m.mean
		m.variance += w[k] * d * d
	}
	return a, w, top + math.Log(mass), m
}

// sumFromLogs weighs the nodes again by the logs of their densities, each against the highest of
// them: with a floor a density can have a plateau that is taken for its top and lies so far from
// it that all others are nothing beside it, or beyond all numbers.
func (t *strip) sumFromLogs(over span, r rule, a, w []float64) (mass, first, top float64) {
	top = math.Inf(-1)
	for k, at := range a {
		w[k] = t.log(at)
		top = math.Max(top, w[k])
	}
	for k, at := range a {
		_, v := over.node(r, k)
		w[k] = v * math.Exp(w[k]-top)
		mass += w[k]
		first += w[k] * at
	}
	return mass, first, top
}

// peak of a log-concave density, given as its log f on [lo, hi]: where it is, how high,
// and its curvature there. The search goes from guess in steps of the size of scale and
// ends within a part of a scale of the top.
func peak(f func(float64) float64, lo, hi, guess, scale float64) (x, top, curve float64) {
	x = math.Min(math.Max(guess, lo), hi)
	top = f(x)
	h, curve := scale, 1/(scale*scale)
	for range 200 {
		up, down := math.Min(x+h, hi), math.Max(x-h, lo)
		fu, fd := f(up), f(down)
		switch right, left := top-fu, top-fd; {
		case right < 0:
			x, top, h = up, fu, 1.7*h
		case left < 0:
			x, top, h = down, fd, 1.7*h
		case math.Max(left, right) > 6:
			h /= 3
		case up == hi || down == lo || left+right == 0:
			return x, top, curve
		default:
			curve = (left + right) / (h * h)
			v := x + (left-right)/(2*(left+right))*h
			if fv := f(v); fv > top {
				x, top = v, fv
			}
			return x, top, curve
		}
	}
	return x, top, curve
}

// fall is where f has fallen by about cut (0.9 to 1.3 times) from top at x, looking step
// away first and no further than end.
func fall(f func(float64) float64, x, top, end, step, cut float64) float64 {
	for range 40 {
		at := x + step
		if past := step > 0 && at >= end || step < 0 && at <= end; past {
			if top-f(end) < 1.3*cut {
				return end
			}
			step = 0.7 * (end - x)
			continue
		}
		d := top - f(at)
		if d > 0.9*cut && d < 1.3*cut {
			return at
		}
		step *= math.Min(math.Max(math.Sqrt(cut/math.Max(d, 1e-9)), 0.3), 3)
	}
	return end
}

// around is where f is worth summing: from where it has risen to within cut of its top at
// x to where it has fallen by cut again.
func around(f func(float64) float64, x, top, curve, lo, hi, cut float64) span {
	reach := math.Sqrt(2 * cut / curve)
	return span{fall(f, x, top, lo, -reach, cut), fall(f, x, top, hi, reach, cut)}
}

// span is an interval to be summed over.
type span struct{ lo, hi float64 }

// node is the k-th node of a rule laid over the span, and its weight.
func (s span) node(r rule, k int) (x, w float64) {
	half := (s.hi - s.lo) / 2
	return s.lo + half*(1+r.x[k]), half * r.w[k]
}
