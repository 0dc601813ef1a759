package cure

import (
	"fmt"
	"math"
	"time"
)

// Air is the pressure of the air where the bath stands, in hPa. 0 is not given: water is then taken to boil at 100 °C and
// monomer at [boilC].
type Air float64

// SeaLevel is the standard atmosphere at no altitude.
const SeaLevel Air = 1013.25

// Limits of altitude and pressure that are taken (house defaults): the lowest and the highest towns, with weather.
const (
	MinAltitudeM, MaxAltitudeM = -450, 5500
	MinAirHPa, MaxAirHPa       = 480, 1090
)

const (
	monomerBoilsC = 100.2 // at 1 atm, mean of ten determinations, 373.4 ± 0.5 K (NIST WebBook)
	monomerJPMol  = 36000 // heat of vaporisation of methyl methacrylate, J/mol (from memory)

	// capK is how far a set point may lie above boiling water before it is lowered: weather alone moves the boiling point by
	// 0.8 K either way (house default).
	capK = 0.5
)

// AtAltitude is the air of the standard atmosphere at an altitude in m: 101325 (1 - 2.25577e-5 h)^5.2559 Pa (ASHRAE
// Handbook Fundamentals 2017, chapter 1, equation 3).
func AtAltitude(m float64) (Air, error) {
	if !(m >= MinAltitudeM && m <= MaxAltitudeM) {
		return 0, fmt.Errorf("altitude %g m: it must be %d to %d m", m, MinAltitudeM, MaxAltitudeM)
	}
	return Air(float64(SeaLevel) * math.Pow(1-2.25577e-5*m, 5.2559)), nil
}

// Valid says what is wrong with a pressure; 0 is not given.
func (a Air) Valid() error {
	if a != 0 && !(a >= MinAirHPa && a <= MaxAirHPa) {
		return fmt.Errorf("air pressure %g hPa: it must be %d to %d hPa, as a barometer on the wall of the room shows it", float64(a), MinAirHPa, MaxAirHPa)
	}
	return nil
}

// WaterBoilsC is the boiling point of water in °C: the backward equation of region 4 of IAPWS-IF97, good to 0.03 K from
// 0.6 to 220,000 hPa.
func (a Air) WaterBoilsC() float64 {
	if a == 0 {
		return 100
	}
	const (
		n1, n2, n3, n4, n5  = 1167.0521452767, -724213.16703206, -17.073846940092, 12020.824702470, -3232555.0322333
		n6, n7, n8, n9, n10 = 14.915108613530, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798
	)
	const hPaPerMPa = 1e4
	beta := math.Pow(float64(a)/hPaPerMPa, 0.25)
	e := beta*beta + n3*beta + n6
	f := n1*beta*beta + n4*beta + n7
	g := n2*beta*beta + n5*beta + n8
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	return (n10+d-math.Sqrt((n10+d)*(n10+d)-4*(n9+n10*d)))/2 - Kelvin
}

// MonomerBoilsC is the boiling point of methyl methacrylate in °C: by Clausius and Clapeyron from 100.2 °C at 1 atm.
func (a Air) MonomerBoilsC() float64 {
	if a == 0 {
		return boilC
	}
	return 1/(1/(monomerBoilsC+Kelvin)-gasJPerMolK/monomerJPMol*math.Log(float64(a/SeaLevel))) - Kelvin
}

// boilRatio is the vapour pressure of monomer over resin at tempC holding monomerPct wt% of monomer, divided by that of
// the air, where it boils at boilsC: Flory-Huggins with chi 0.5 and Clausius-Clapeyron with 36 kJ/mol from the boiling
// point (both from memory). Above 1 the core could boil even without dissolved gas or water.
func boilRatio(boilsC, tempC, monomerPct float64) float64 {
	const monomerKgL, polymerKgL = 0.94, 1.18 // room temperature, textbook values
	w := math.Min(math.Max(monomerPct/100, 0), 1)
	ph := (w / monomerKgL) / (w/monomerKgL + (1-w)/polymerKgL)
	a := ph * math.Exp((1-ph)+0.5*(1-ph)*(1-ph))
	return a * math.Exp(-monomerJPMol/gasJPerMolK*(1/(tempC+Kelvin)-1/(boilsC+Kelvin)))
}

// Capped is a stage whose set point no open bath of the place reaches.
type Capped struct {
	Stage  int     `json:"stage"` // from 0
	SetC   float64 `json:"set"`   // as the programme has it
	BoilsC float64 `json:"boils"` // where water boils, and the bath stays
}

// Under is the programme as an open bath in this air can follow it: what lies more than half a kelvin above boiling water
// is lowered to it, with the ramps kept, and told.
func (p Programme) Under(a Air) (Programme, []Capped) {
	boils := a.WaterBoilsC()
	if a == 0 {
		return p, nil
	}
	out := Programme{Name: p.Name, Stages: append([]Stage(nil), p.Stages...)}
	var capped []Capped
	for i, s := range out.Stages {
		if s.TempC > boils+capK {
			out.Stages[i].TempC = boils
			capped = append(capped, Capped{i, s.TempC, boils})
		}
	}
	return out, capped
}

// Longer is for each stage that the air of a place caps how much longer it would be held there for the residual that the
// programme leaves at its end at sea level: never shorter, and nothing where nothing is capped. Stages before it are taken
// as the place has them.
func Longer(p Params, prog Programme, startC float64, a Air) ([]Extra, error) {
	here, capped := prog.Under(a)
	var out []Extra
	for _, c := range capped {
		_, endS := prog.span(c.Stage)
		o := RunOptions{EndS: endS, WithoutCurve: true}
		planned, err := Simulate(p, prog.Knots(startC), o)
		if err != nil {
			return nil, err
		}
		bath := hold(here.Knots(startC), endS, c.BoilsC)
		held, hit, err := holdUntil(p, bath, endS, until{on: true, fromS: endS, pct: planned.WMeanEnd})
		if err != nil {
			return nil, err
		}
		d := time.Duration(math.Max(0, held-endS) * float64(time.Second)).Round(time.Second)
		out = append(out, Extra{Stage: c.Stage, SetC: c.BoilsC, Hold: d, Minutes: d.Minutes(), Reached: hit, Planned: planned.WMeanEnd})
	}
	return out, nil
}
