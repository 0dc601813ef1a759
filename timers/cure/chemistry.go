package cure

import "math"

// chemistry is the kinetics of one resin cell with every constant worked out once.
//
// State of a cell: T in K, x the share of monomer converted, y the share of peroxide left. Bulk radical polymerisation
// in a dough so thick that radicals meet only as their ends grow: termination is carried by propagation (kt = Crd kp M +
// kt,min), the inhibitor is used up first (algebraically), and a glass depth factor g slows everything as the glass
// temperature of the mix (Fox equation) rises above that of the cell.
type chemistry struct {
	on, gel        bool
	wm0            float64 // monomer mass fraction at the start
	twoFI0         float64 // 2 f I0, mol/L of radicals the peroxide can give
	lnKd, edR      float64 // kd = exp(lnKd - edR/T)
	ap, epR        float64 // kp = ap exp(-epR/T)
	crdM0, ktMin   float64
	kz, z0         float64
	invTgp, dInvTg float64 // 1/Tg = invTgp + w dInvTg
	offset, invS   float64
}

func newChemistry(p *Params) chemistry {
	wm0 := 1 / (1 + p.PowderLiquid)
	m0 := p.RhoResin * wm0 / monomerKgMol / 1000
	i0 := p.RhoResin * (1 - wm0) * p.Peroxide / benzoylKgMol / 1000
	return chemistry{
		on: p.Reaction != 0, gel: p.Gel != 0,
		wm0: wm0, twoFI0: 2 * p.Efficiency * i0,
		lnKd: math.Log(p.Kd73) + p.Ed/gasJPerMolK/(73+Kelvin), edR: p.Ed / gasJPerMolK,
		ap: p.Ap, epR: p.Ep / gasJPerMolK,
		crdM0: p.Crd * m0, ktMin: p.KtMin,
		kz: p.Kz, z0: p.Inhibitor,
		invTgp: 1 / p.TgPolymer, dInvTg: 1/p.TgMonomer - 1/p.TgPolymer,
		offset: p.GlassOffset, invS: 1 / p.GlassWidth,
	}
}

// spent is a rate of radical supply, mol/(L s), below which the peroxide is taken as used up; it keeps quotients finite.
const spent = 1e-100

// rates are the time derivatives of one cell and their partials.
type rates struct {
	x, xT, xX, xY float64 // dx/dt and its partials by T, x, y
	kd, kdT       float64 // dy/dt = -kd y
}

// speed is dx/dt and kd, both in 1/s.
func (c *chemistry) speed(tK, x, y float64) (dx, kd float64) {
	if !c.on {
		return 0, 0
	}
	invT := 1 / tK
	kd = math.Exp(c.lnKd - c.edR*invT)
	ri := c.twoFI0 * kd * y
	open := 1 - x
	if ri <= spent || open <= 0 {
		return 0, kd
	}
	kp := c.ap * math.Exp(-c.epR*invT)
	if !c.gel {
		return kp * math.Sqrt(ri/c.ktMin) * open, kd
	}
	kt := c.crdM0*kp*open + c.ktMin
	a := c.kz * math.Max(0, c.z0-c.twoFI0*(1-y))
	rad := 2 * ri / (a + math.Sqrt(a*a+4*kt*ri))
	tg := 1 / (c.invTgp + c.wm0*open*c.dInvTg)
	g := 1 / (1 + math.Exp((tg-tK-c.offset)*c.invS))
	return g * kp * rad * open, kd
}

// linear is speed with its partials by T, x and y, written out by hand: cheaper than differences and without their
// cancellation.
func (c *chemistry) linear(tK, x, y float64) rates {
	if !c.on {
		return rates{}
	}
	invT := 1 / tK
	kd := math.Exp(c.lnKd - c.edR*invT)
	r := rates{kd: kd, kdT: kd * c.edR * invT * invT}
	ri := c.twoFI0 * kd * y
	open := 1 - x
	if ri <= spent || open <= 0 {
		return r
	}
	kp := c.ap * math.Exp(-c.epR*invT)
	dlnKp := c.epR * invT * invT
	dlnRi := c.edR * invT * invT
	if !c.gel {
		r.x = kp * math.Sqrt(ri/c.ktMin) * open
		r.xT = r.x * (dlnKp + dlnRi/2)
		r.xX = -r.x / open
		r.xY = r.x / (2 * y)
		return r
	}
	ktM := c.crdM0 * kp * open // the part of kt that moves with T and x
	kt := ktM + c.ktMin
	a, aY := 0.0, 0.0
	if left := c.z0 - c.twoFI0*(1-y); left > 0 {
		a, aY = c.kz*left, c.kz*c.twoFI0
	}
	q := math.Sqrt(a*a + 4*kt*ri)
	d := a + q
	rad := 2 * ri / d
	// d ln(rad) = d ln(ri) - dd/d, with dd = (2 kt dri + 2 ri dkt + d da)/q
	iqd := 1 / (q * d)
	radT := dlnRi - (2*kt*ri*dlnRi+2*ri*ktM*dlnKp)*iqd
	radX := 2 * ri * ktM / open * iqd
	radY := 1/y - (2*kt*ri/y+d*aY)*iqd

	tg := 1 / (c.invTgp + c.wm0*open*c.dInvTg)
	e := math.Exp((tg - tK - c.offset) * c.invS)
	g := 1 / (1 + e)
	// d ln(g) = -(1-g) dz, z = (Tg-T-offset)/s; Tg falls with w and w falls with x
	h := (1 - g) * c.invS
	r.x = g * kp * rad * open
	r.xT = r.x * (dlnKp + radT + h)
	r.xX = r.x * (radX - h*tg*tg*c.dInvTg*c.wm0 - 1/open)
	r.xY = r.x * radY
	return r
}

// boilC is the boiling point of methyl methacrylate at 1 atm in °C as teaching texts give it, taken where the air of the
// place is not given; [Air.MonomerBoilsC] has the measured one.
const boilC = 100.8
