package cure

import "math"

// engine holds the finite-volume model of one flask and every buffer a run needs, allocated once.
//
// The layers are metal wall | gypsum | resin | gypsum | metal wall. The state is one slice: temperatures in K of the
// nT nodes (wall, cells, wall), then converted share x and peroxide share y of the nr resin cells, then the heat taken
// from the bath so far in J/m2 (an audit), then the delayed side temperature in K. All balances are kept per area of the
// layer, so a node's row is its heat balance in W/m2.
type engine struct {
	chem   chemistry
	nT, nr int
	first  int // node of the first resin cell
	iX, iY int // where x and y start in the state
	iE, iF int // where heat and side temperature stand
	heat   float64
	tau    float64

	cap, invCap []float64 // J/(m2 K) and its inverse
	face        []float64 // W/(m2 K) between node i and i+1
	bath, side  []float64 // W/(m2 K) from node to the water, to the sides

	cell              []rates
	u, f0, f, v, mid  []float64
	k1, k2, k3, k4    []float64
	diag, low, rhs    []float64 // the factored matrix and a right side
	ay, ax, cellsByXY []float64
}

// newEngine builds the model with ng gypsum cells on each side and nr resin cells.
func newEngine(p *Params, ng, nr int) *engine {
	nT := 2*ng + nr + 2
	n := nT + 2*nr + 2
	e := &engine{
		chem: newChemistry(p), nT: nT, nr: nr, first: ng + 1,
		iX: nT, iY: nT + nr, iE: n - 2, iF: n - 1,
		cell: make([]rates, nr),
	}
	buf := make([]float64, 9*n+8*nT+3*nr)
	take := func(m int) []float64 {
		s := buf[:m:m]
		buf = buf[m:]
		return s
	}
	for _, s := range []*[]float64{&e.u, &e.f0, &e.f, &e.v, &e.mid, &e.k1, &e.k2, &e.k3, &e.k4} {
		*s = take(n)
	}
	for _, s := range []*[]float64{&e.cap, &e.invCap, &e.face, &e.bath, &e.side, &e.diag, &e.low, &e.rhs} {
		*s = take(nT)
	}
	e.ay, e.ax, e.cellsByXY = take(nr), take(nr), take(nr)

	// Side path: the first mode of the two other directions as a leak (1/m2), and the delay that gives it the right
	// late amplitude, 1 - pi^2/16.
	leak := 0.0
	if p.Lx > 0 {
		film := p.KGypsum / p.Film // +Inf without a film: no leak
		leak = math.Pi * math.Pi / 4 * (1/((p.Lx+film)*(p.Lx+film)) + 1/((p.Ly+film)*(p.Ly+film)))
	}
	e.tau = 1e9
	if t := (1 - math.Pi*math.Pi/16) / (leak * p.KGypsum / (p.RhoGypsum * p.CpGypsum)); t < e.tau {
		e.tau = t
	}

	layer := func(i int) (dx, k, rhoCp float64) {
		switch {
		case i <= ng:
			return p.GypsumLo / float64(ng), p.KGypsum, p.RhoGypsum * p.CpGypsum
		case i <= ng+nr:
			return 2 * p.HalfResin / float64(nr), p.KResin, p.RhoResin * p.CpResin
		default:
			return p.GypsumHi / float64(ng), p.KGypsum, p.RhoGypsum * p.CpGypsum
		}
	}
	half := 0.0 // resistance from the last node to the face
	for i := 1; i < nT-1; i++ {
		dx, k, rhoCp := layer(i)
		r := dx / (2 * k)
		e.face[i-1] = 1 / (half + r)
		half = r
		e.cap[i] = rhoCp * dx
		e.side[i] = leak * k * dx
	}
	e.face[nT-2] = 1 / half
	e.cap[0], e.cap[nT-1] = p.Wall, p.Wall
	e.bath[0], e.bath[nT-1] = p.Film, p.Film
	for i, c := range e.cap {
		e.invCap[i] = 1 / c
	}
	wm0 := 1 / (1 + p.PowderLiquid)
	e.heat = p.RhoResin * wm0 * p.Heat / monomerKgMol * 2 * p.HalfResin / float64(nr) * p.Reaction

	for i := range nT {
		e.u[i] = p.Start
	}
	for c := range nr {
		e.u[e.iY+c] = 1
	}
	e.u[e.iF] = p.Start
	return e
}

// linearise sets f0 to the time derivative of u at bath temperature tb in K and cell to the partials there.
func (e *engine) linearise(tb float64) {
	for c := range e.nr {
		r := e.chem.linear(e.u[e.first+c], e.u[e.iX+c], e.u[e.iY+c])
		e.cell[c] = r
		e.f0[e.iX+c] = r.x
		e.f0[e.iY+c] = -r.kd * e.u[e.iY+c]
	}
	e.flow(tb, e.u, e.f0)
}

// derive sets d to the time derivative of u at bath temperature tb in K.
func (e *engine) derive(tb float64, u, d []float64) {
	for c := range e.nr {
		x, kd := e.chem.speed(u[e.first+c], u[e.iX+c], u[e.iY+c])
		d[e.iX+c] = x
		d[e.iY+c] = -kd * u[e.iY+c]
	}
	e.flow(tb, u, d)
}

// flow fills in the temperatures, the heat and the side temperature of d, whose x part is there already.
func (e *engine) flow(tb float64, u, d []float64) {
	// Slices of one known length let the compiler drop its bounds checks in these inner loops.
	n := e.nT
	t, dt := u[:n], d[:n]
	bath, side, face, invCap := e.bath[:n], e.side[:n], e.face[:n], e.invCap[:n]
	tf := u[e.iF]
	sum, in, here := 0.0, 0.0, t[0]
	for i := range dt {
		next := here // the last face conducts nothing
		if i+1 < len(t) {
			next = t[i+1]
		}
		ext := bath[i]*(tb-here) + side[i]*(tf-here)
		out := face[i] * (here - next)
		sum += ext
		dt[i] = (ext + in - out) * invCap[i]
		in, here = out, next
	}
	d[e.iE] = sum
	d[e.iF] = (tb - tf) / e.tau
	for c := range e.nr {
		d[e.first+c] += e.heat * d[e.iX+c] * e.invCap[e.first]
	}
}

// factor prepares the sweep for stage matrix g I - J with g in 1/s: the cells' y and x are eliminated by hand, what is
// left is one symmetric tridiagonal matrix in the temperatures, factored in place (diag becomes the inverse pivots).
func (e *engine) factor(g float64) {
	left := 0.0
	for i := range e.nT {
		d := g*e.cap[i] + e.bath[i] + e.side[i] + left
		if i < e.nT-1 {
			d += e.face[i]
			left = e.face[i]
		}
		e.diag[i] = d
	}
	for c := range e.nr {
		r := &e.cell[c]
		y := e.u[e.iY+c]
		ay, ax := 1/(g+r.kd), 1/(g-r.xX)
		viaY := r.xY * (-r.kdT * y) * ay
		e.ay[c], e.ax[c] = ay, ax
		e.cellsByXY[c] = r.xY * ay
		e.diag[e.first+c] -= e.heat * (r.xT + viaY + r.xX*(r.xT+viaY)*ax)
	}
	e.diag[0] = 1 / e.diag[0]
	for i := 1; i < e.nT; i++ {
		g := e.face[i-1]
		e.low[i-1] = g * e.diag[i-1]
		e.diag[i] = 1 / (e.diag[i] - g*e.low[i-1])
	}
}

// solve puts the solution of (g I - J) k = v into k.
func (e *engine) solve(g float64, v, k []float64) {
	n := e.nT
	b, vt, kt, heatCap, side, bath := e.rhs[:n], v[:n], k[:n], e.cap[:n], e.side[:n], e.bath[:n]
	kf := v[e.iF] / (g + 1/e.tau)
	k[e.iF] = kf
	for i := range b {
		b[i] = heatCap[i]*vt[i] + side[i]*kf
	}
	for c := range e.nr {
		byY := e.cellsByXY[c] * v[e.iY+c]
		bx := v[e.iX+c] + byY
		b[e.first+c] += e.heat * (e.cell[c].xX*bx*e.ax[c] + byY)
	}
	e.sweep(b, k)
	for c := range e.nr {
		r := &e.cell[c]
		t := k[e.first+c]
		y := (v[e.iY+c] - r.kdT*e.u[e.iY+c]*t) * e.ay[c]
		k[e.iY+c] = y
		k[e.iX+c] = (v[e.iX+c] + r.xT*t + r.xY*y) * e.ax[c]
	}
	sum := v[e.iE]
	for i, ki := range kt {
		sum += side[i]*(kf-ki) - bath[i]*ki
	}
	k[e.iE] = sum / g
}

// sweep solves the factored tridiagonal system for right side b (spoilt) into t.
func (e *engine) sweep(b, t []float64) {
	n := e.nT
	b, t, diag, low := b[:n], t[:n], e.diag[:n], e.low[:n]
	carry := 0.0
	for i := range b {
		carry += b[i]
		b[i] = carry * diag[i]
		carry *= low[i]
	}
	carry = 0
	for i := n - 1; i >= 0; i-- {
		carry = b[i] + low[i]*carry
		t[i] = carry
	}
}

// try makes one Rodas3 step of h seconds from the linearised state with the bath at tb K rising by slope K/s. The new
// state is left in mid; the result is the error relative to tol (above 1: too large a step).
//
// Rodas3 (Sandu et al., Atmos. Environ. 1997;31:3459, coefficients from memory, confirmed by the order test) is a
// Rosenbrock method of four stages, order 3 with an order 2 estimate, L-stable, gamma 1/2. Being linear in the heat
// balance it keeps that balance to rounding.
func (e *engine) try(tb, slope, h, tol float64) float64 {
	g := 2 / h
	e.factor(g)
	c := 1 / h

	// stage 1
	copy(e.v, e.f0)
	e.bathDrift(0.5*h*slope, e.v)
	e.solve(g, e.v, e.k1)
	// stage 2, same derivative
	for i, k := range e.k1 {
		e.v[i] = e.f0[i] + 4*c*k
	}
	e.bathDrift(1.5*h*slope, e.v)
	e.solve(g, e.v, e.k2)
	// stage 3
	for i, k := range e.k1 {
		e.mid[i] = e.u[i] + 2*k
	}
	e.derive(tb+slope*h, e.mid, e.f)
	for i := range e.v {
		e.v[i] = e.f[i] + c*(e.k1[i]-e.k2[i])
	}
	e.solve(g, e.v, e.k3)
	// stage 4
	for i, k := range e.k3 {
		e.mid[i] += k
	}
	e.derive(tb+slope*h, e.mid, e.f)
	for i := range e.v {
		e.v[i] = e.f[i] + c*(e.k1[i]-e.k2[i]-8.0/3*e.k3[i])
	}
	e.solve(g, e.v, e.k4)
	for i, k := range e.k4 {
		e.mid[i] += k
	}

	errT, errXY := 0.0, 0.0
	for _, k := range e.k4[:e.nT] {
		errT = worse(errT, k)
	}
	for _, k := range e.k4[e.iX:e.iE] {
		errXY = worse(errXY, k)
	}
	// A step that converts more than all, or gives peroxide back, is too large whatever its estimate says.
	const hair, tooLarge = 5e-7, 10
	for _, x := range e.mid[e.iX:e.iY] {
		if x > 1+hair || x < -hair {
			return tooLarge
		}
	}
	for c, y := range e.mid[e.iY:e.iE] {
		if y < 0 || y > e.u[e.iY+c] {
			return tooLarge
		}
	}
	// A share of 1e-4 and 0.01 K weigh the same at tol 1e-4.
	return worse(errT/(100*tol), errXY/tol)
}

// worse is the larger of a and |b|; unlike a plain comparison it lets NaN through.
func worse(a, b float64) float64 {
	if b = math.Abs(b); b > a || math.IsNaN(b) {
		return b
	}
	return a
}

// bathDrift adds d = gamma h dT/dt of the bath times the partials by the bath temperature.
func (e *engine) bathDrift(d float64, v []float64) {
	if d == 0 {
		return
	}
	last := e.nT - 1
	v[0] += d * e.bath[0] * e.invCap[0]
	v[last] += d * e.bath[last] * e.invCap[last]
	v[e.iE] += d * (e.bath[0] + e.bath[last])
	v[e.iF] += d / e.tau
}

// core is the mean temperature in K and converted share of the two centre cells in s (a state or a derivative).
func (e *engine) core(s []float64) (t, x float64) {
	m := e.nr / 2
	return (s[e.first+m-1] + s[e.first+m]) / 2, (s[e.iX+m-1] + s[e.iX+m]) / 2
}

// meanX is the mean converted share, or its derivative, in s.
func (e *engine) meanX(s []float64) float64 {
	sum := 0.0
	for _, x := range s[e.iX:e.iY] {
		sum += x
	}
	return sum / float64(e.nr)
}

// enthalpy is the heat stored above 0 K in J/m2.
func (e *engine) enthalpy() float64 {
	sum := 0.0
	for i, c := range e.cap {
		sum += c * e.u[i]
	}
	return sum
}
