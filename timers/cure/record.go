package cure

import "math"

// point is what a run looks like at the end of one step; a leading d is the derivative per second.
type point struct {
	t, bath, core, dCore, w, mean, dMean float64 // s, °C, °C, K/s, wt%, wt%, wt%/s
}

// recorder gathers a run's figures step by step. Between steps it uses the cubic through both ends and their slopes, so
// that a peak inside a long step is not missed.
type recorder struct {
	w0        float64
	boilsC    float64 // monomer, in the air of the place
	now, last point
	started   bool
	curve     bool
	res       *Result
}

func (r *recorder) add(e *engine, t, bathK float64) {
	core, x := e.core(e.u)
	dCore, _ := e.core(e.f0)
	r.last = r.now
	r.now = point{
		t: t, bath: bathK - Kelvin, core: core - Kelvin, dCore: dCore,
		// a share converted may pass 1 by less than a millionth
		w: math.Max(0, r.w0*(1-x)), mean: math.Max(0, r.w0*(1-e.meanX(e.u))), dMean: -r.w0 * e.meanX(e.f0),
	}
	res, now := r.res, &r.now
	if r.curve {
		c := &res.Curve
		c.TimeS = append(c.TimeS, t)
		c.BathC = append(c.BathC, now.bath)
		c.CoreC = append(c.CoreC, now.core)
		c.CorePct = append(c.CorePct, now.w)
		c.MeanPct = append(c.MeanPct, now.mean)
	}
	res.BoilRatio = math.Max(res.BoilRatio, boilRatio(r.boilsC, now.core, now.w))
	if !r.started {
		r.started = true
		res.Peak, res.PeakW, res.BathMaxC = now.core, now.w, now.bath
		res.Over, res.OverCore = now.core-now.bath, now.core
		if now.bath >= leastBathC && now.core >= now.bath-coreAtBathK {
			res.CoreAtBath = true
		}
		return
	}
	r.interval()
}

// interval takes in the step from last to now.
func (r *recorder) interval() {
	res, a, b := r.res, &r.last, &r.now
	res.BathMaxC = math.Max(res.BathMaxC, b.bath)
	h := b.t - a.t
	core := cubic{a.core, a.dCore * h, b.core, b.dCore * h}
	slope := b.bath - a.bath
	over := cubic{a.core - a.bath, a.dCore*h - slope, b.core - b.bath, b.dCore*h - slope}
	if s, v := core.top(); v > res.Peak {
		res.Peak, res.PeakMin = v, (a.t+s*h)/60
		res.PeakW = a.w + s*(b.w-a.w)
	}
	if s, v := over.top(); v > res.Over {
		res.Over, res.TOverMin = v, (a.t+s*h)/60
		res.OverCore = v + a.bath + s*slope
	}
	if !res.CoreAtBath && over.v1 >= -coreAtBathK && b.bath >= leastBathC {
		res.CoreAtBath = true
		at := over.rise(-coreAtBathK)
		if a.bath < leastBathC { // both came up together
			at = math.Max(at, (leastBathC-a.bath)/slope)
		}
		res.CoreAtBathMin = (a.t + at*h) / 60
	}
	if _, v := core.top(); v > r.boilsC {
		const parts = 16
		for i := range parts {
			v0, v1 := core.at(float64(i)/parts), core.at(float64(i+1)/parts)
			res.AboveBoilMin += h / 60 / parts * shareAbove(v0-r.boilsC, v1-r.boilsC)
		}
	}
}

// fallsTo is when, within the last step, the mean monomer fell to pct, or that of the core.
func (r *recorder) fallsTo(pct float64, core bool) (float64, bool) {
	if core {
		switch a, b := &r.last, &r.now; {
		case b.w > pct:
			return 0, false
		case a.w <= pct:
			return a.t, true
		default:
			return a.t + (a.w-pct)/(a.w-b.w)*(b.t-a.t), true
		}
	}
	if r.now.mean > pct {
		return 0, false
	}
	if r.last.mean <= pct {
		return r.last.t, true
	}
	h := r.now.t - r.last.t
	c := cubic{-r.last.mean, -r.last.dMean * h, -r.now.mean, -r.now.dMean * h}
	return r.last.t + c.rise(-pct)*h, true
}

func (r *recorder) finite() bool {
	sum := r.now.core + r.now.mean + r.now.w
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

// close fills in what is known only at the end, endS. stored is the enthalpy the run began with.
func (r *recorder) close(e *engine, bath []Knot, stored, endS float64) {
	res := r.res
	res.EndS = endS
	res.BathEndC = BathAt(bath, endS)
	res.WMeanEnd = r.now.mean
	least, gained := math.Inf(1), 0.0
	for _, x := range e.u[e.iX:e.iY] {
		least = math.Min(least, x)
		gained += e.heat * x
	}
	res.WMaxEnd = math.Max(0, r.w0*(1-least))
	end := e.enthalpy()
	res.EnergyErr = math.Abs(end-stored-gained-e.u[e.iE]) / math.Abs(end)
}

// shareAbove is the share of a straight line from a to b that is above 0.
func shareAbove(a, b float64) float64 {
	switch {
	case a > 0 && b > 0:
		return 1
	case a > 0 || b > 0:
		return math.Max(a, b) / math.Abs(a-b)
	}
	return 0
}

// cubic is a Hermite cubic on [0, 1]: values and slopes at both ends.
type cubic struct{ v0, d0, v1, d1 float64 }

func (c cubic) at(s float64) float64 {
	u := 1 - s
	return u*u*((1+2*s)*c.v0+s*c.d0) + s*s*((1+2*u)*c.v1-u*c.d1)
}

// top is where the cubic is highest and its value there. A top inside is looked for only when the slopes say there is
// one.
func (c cubic) top() (s, v float64) {
	s, v = 0, c.v0
	if c.v1 >= v {
		s, v = 1, c.v1
	}
	if c.d0 > 0 && c.d1 < 0 {
		// slope = d0 + 2 b s + 3 a s²
		a := 2*(c.v0-c.v1) + c.d0 + c.d1
		b := 3*(c.v1-c.v0) - 2*c.d0 - c.d1
		// the root where the slope goes from + to -, in a form without cancellation for small a
		if q := b*b - 3*a*c.d0; q >= 0 {
			if in := c.d0 / (-b + math.Sqrt(q)); in > 0 && in < 1 && c.at(in) > v {
				s, v = in, c.at(in)
			}
		}
	}
	return s, v
}

// rise is where a cubic that starts below v and ends at or above it first reaches v, by bisection.
func (c cubic) rise(v float64) float64 {
	lo, hi := 0.0, 1.0
	for range 50 {
		mid := (lo + hi) / 2
		if c.at(mid) < v {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}
