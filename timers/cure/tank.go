package cure

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"flaskside/timers/each"
)

// Tank is the water bath as a body of water with a heater switched by a thermostat.
type Tank struct {
	Litres    float64 `json:"litres"`
	HeaterW   float64 `json:"heater_w"`
	LossWPerK float64 `json:"loss_w_per_k"` // to the room: about 4 covered, 10 to 15 open at 74 °C; an open boil loses far more
	MetalJPK  float64 `json:"metal_j_per_k"`
	SetC      float64 `json:"set"`
	RoomC     float64 `json:"room"`
	SwingK    float64 `json:"swing"` // the heater goes on half of this below SetC and off half above
}

// FlaskJPerK is the heat capacity of a flask with gypsum and clamp: 0.8 kg of wet gypsum at 1.6 kJ/(kg K) and the metal
// (house default).
const FlaskJPerK = 2000

// DefaultTank is a covered bath of 10 litres with 1 kW at setC (house default).
func DefaultTank(setC float64) Tank {
	return Tank{Litres: 10, HeaterW: 1000, LossWPerK: 4, MetalJPK: 4000, SetC: setC, RoomC: 22, SwingK: 0.5}
}

// Dip is what cold flasks do to a bath. Not validated by measurement; an early dip is in truth somewhat deeper, and an
// open boiling bath is not covered.
type Dip struct {
	Curve     []Knot  `json:"curve"`       // bath, from the flasks going in until it is back at the set point
	LowestC   float64 `json:"lowest"`      // °C
	DepthK    float64 `json:"depth"`       // set point minus LowestC
	LowestMin float64 `json:"lowest_min"`  // when
	Back      bool    `json:"back"`        // the bath came back within 1 K in the time looked at, 6 h
	BackMin   float64 `json:"back_min"`    // when; 0 if it never left
	BoundK    float64 `json:"bound"`       // the dip if the flasks took their heat at once with the heater off: no dip is deeper
	HeatKJ    float64 `json:"heat_kj"`     // what the flasks take
	HeaterMin float64 `json:"heater_min"`  // the least time the heater needs for that
	HeaterOK  bool    `json:"heater_able"` // false: the heater does not even make up the losses
}

// validate reports the first figure of the tank that cannot be.
func (tk Tank) validate() error {
	for _, f := range []struct {
		what      string
		v, lo, hi float64
		unit      string
	}{
		{"volume", tk.Litres, 0.1, 1000, "L"},
		{"heater", tk.HeaterW, 0, 100e3, "W"},
		{"loss", tk.LossWPerK, 0, 1000, "W/K"},
		{"heat capacity of the metal", tk.MetalJPK, 0, 1e6, "J/K"},
		{"set point", tk.SetC, MinBathC, MaxBathC, "°C"},
		{"room", tk.RoomC, -20, 60, "°C"},
		{"swing of the thermostat", tk.SwingK, 0.01, 20, "K"},
	} {
		if !(f.v >= f.lo && f.v <= f.hi) {
			return fmt.Errorf("bath: %s %g %s: it must be %g to %g", f.what, f.v, f.unit, f.lo, f.hi)
		}
	}
	return nil
}

// AddFlasks is what n flasks like p, at its starting temperature and of flaskJPerK heat capacity each, do to the bath
// standing at its set point. Each flask is the heat conduction of p without reaction, scaled to flaskJPerK.
func (tk Tank) AddFlasks(p Params, n int, flaskJPerK float64) (Dip, error) {
	if err := tk.validate(); err != nil {
		return Dip{}, err
	}
	if err := p.validate(); err != nil {
		return Dip{}, err
	}
	if n < 1 || n > 100 {
		return Dip{}, fmt.Errorf("%d flasks: give 1 to 100", n)
	}
	if !(flaskJPerK >= 10 && flaskJPerK <= 1e5) {
		return Dip{}, fmt.Errorf("flask of %g J/K: it must be 10 to 100000", flaskJPerK)
	}
	if tk.SetC <= p.Start-Kelvin {
		return Dip{}, errors.New("the flasks are not colder than the bath: there is no dip")
	}
	const (
		dtS     = 2.0
		lookS   = 6 * 3600
		withinK = 1.0
	)
	p.Reaction = 0
	e := newEngine(&p, 12, 8)
	e.factor(1 / dtS) // implicit Euler: factored once, swept every step

	bathJPK := tk.Litres*0.98*4190 + tk.MetalJPK // water near 70 °C, 0.98 kg/L and 4190 J/(kg K)
	flasksJPK := float64(n) * flaskJPerK
	rise := tk.SetC - (p.Start - Kelvin)
	d := Dip{
		LowestC: tk.SetC,
		BoundK:  flasksJPK * rise / (bathJPK + flasksJPK),
		HeatKJ:  flasksJPK * rise / 1000,
	}
	if spare := tk.HeaterW - tk.LossWPerK*(tk.SetC-tk.RoomC); spare > 0 {
		d.HeaterOK = true
		d.HeaterMin = d.HeatKJ * 1000 / spare / 60
	}
	layerJPM2K := 0.0
	for _, c := range e.cap {
		layerJPM2K += c
	}
	areaM2 := flasksJPK / layerJPM2K

	setK := tk.SetC + Kelvin
	t, side, on := setK, p.Start, false
	left := false
	curve := []Knot{{0, tk.SetC}}
	temp := e.u[:e.nT]
	for s := dtS; s <= lookS; s += dtS {
		switch {
		case t < setK-tk.SwingK/2:
			on = true
		case t > setK+tk.SwingK/2:
			on = false
		}
		for i := range temp {
			e.rhs[i] = e.cap[i]/dtS*temp[i] + e.bath[i]*t + e.side[i]*side
		}
		e.sweep(e.rhs, temp)
		side += dtS * (t - side) / (dtS + e.tau)
		q := 0.0
		for i, ti := range temp {
			q += e.bath[i]*(t-ti) + e.side[i]*(side-ti)
		}
		heater := 0.0
		if on {
			heater = tk.HeaterW
		}
		t += dtS / bathJPK * (heater - tk.LossWPerK*(t-Kelvin-tk.RoomC) - areaM2*q)

		c := t - Kelvin
		// Only thinned points reach a run, so the curve may hold every step.
		curve = append(curve, Knot{s, math.Min(math.Max(c, MinBathC), MaxBathC)})
		if c < d.LowestC {
			d.LowestC, d.LowestMin = c, s/60
		}
		switch {
		case c < tk.SetC-withinK:
			left, d.Back = true, false
		case left && !d.Back:
			d.Back, d.BackMin = true, s/60
		}
		// Back at the set point with the flasks nearly warm: from here on it is only the thermostat's swing.
		if c >= tk.SetC && areaM2*q < 0.05*math.Max(tk.HeaterW, 1) {
			curve = append(curve, Knot{s + dtS, tk.SetC})
			break
		}
	}
	if !left {
		d.Back = true
	}
	d.DepthK = tk.SetC - d.LowestC
	d.Curve = Thin(curve, 0.02)
	return d, nil
}

// Lower gives a bath, °C against seconds, with the dip from atS on, up to endS.
func (d Dip) Lower(bath []Knot, atS, endS float64) []Knot {
	if len(d.Curve) == 0 {
		return bath
	}
	times := each.Of(bath, func(k Knot) float64 { return k.TimeS })
	for _, k := range d.Curve {
		if s := atS + k.TimeS; s <= endS {
			times = append(times, s)
		}
	}
	slices.Sort(times)
	times = slices.Compact(times)
	out := make([]Knot, len(times))
	for i, s := range times {
		c := BathAt(bath, s)
		if s >= atS {
			c += BathAt(d.Curve, s-atS) - d.Curve[0].TempC
		}
		out[i] = Knot{TimeS: s, TempC: math.Min(math.Max(c, MinBathC), MaxBathC)}
	}
	return out
}
