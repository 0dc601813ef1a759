package units

import (
	"fmt"
	"math"
	"strings"
)

// Pascals in one unit of pressure, exact by definition (NIST SP 811, B.8):
// the pound-force is 4.4482216152605 N and the inch 0.0254 m.
const (
	pascalPerPSI   = 4.4482216152605 / (0.0254 * 0.0254)
	pascalPerBar   = 1e5
	pascalPerMPa   = 1e6
	pascalPerKPa   = 1e3
	pascalPerKgfCM = 98066.5
)

// maxPressurePSI is beyond the gauge of any bench press (house default).
const maxPressurePSI = 20000

// PressureUnit is the unit in which a house reads its press gauge.
type PressureUnit string

// The units a house may choose. Kilopascals and kgf/cm2 can be typed, but are
// never shown.
const (
	PSI PressureUnit = "psi"
	Bar PressureUnit = "bar"
	MPa PressureUnit = "MPa"
)

// parsePressureUnit reads the name of a unit, in any case.
func parsePressureUnit(s string) (PressureUnit, error) {
	for _, u := range []PressureUnit{PSI, Bar, MPa} {
		if strings.EqualFold(strings.TrimSpace(s), string(u)) {
			return u, nil
		}
	}
	return "", fmt.Errorf("pressure unit %q is not known; use psi, bar or MPa", s)
}

// UnmarshalText reads a unit from a settings file; see ParsePressureUnit.
func (u *PressureUnit) UnmarshalText(b []byte) error {
	v, err := parsePressureUnit(string(b))
	if err != nil {
		return err
	}
	*u = v
	return nil
}

func (u PressureUnit) pascal() float64 {
	switch u {
	case Bar:
		return pascalPerBar
	case MPa:
		return pascalPerMPa
	default:
		return pascalPerPSI
	}
}

// FromPSI turns a stored pressure into this unit.
func (u PressureUnit) FromPSI(pressurePSI float64) float64 {
	return pressurePSI * (pascalPerPSI / u.pascal())
}

// ToPSI turns a pressure in this unit into the stored unit.
func (u PressureUnit) ToPSI(v float64) float64 {
	return v * (u.pascal() / pascalPerPSI)
}

// FormatPressure shows a stored pressure in unit u: whole psi, three significant
// digits of bar and MPa ("3000 psi", "207 bar", "20.7 MPa"). A unit other than
// the three is taken for psi.
func FormatPressure(pressurePSI float64, u PressureUnit) string {
	if u != Bar && u != MPa {
		return trimmed(pressurePSI, 0) + " psi"
	}
	v := u.FromPSI(pressurePSI)
	decimals := 2
	if a := math.Abs(v); a >= 99.95 {
		decimals = 0
	} else if a >= 9.995 {
		decimals = 1
	}
	return trimmed(v, decimals) + " " + string(u)
}

// ParsePressure reads a gauge pressure as typed, def being the unit where none
// is typed, and returns psi. It takes psi, bar, MPa, kPa and kgf/cm2, from 0 to
// 20000 psi.
func ParsePressure(s string, def PressureUnit) (pressurePSI float64, err error) {
	return quantity{
		name: "pressure", unit: "psi", min: 0, max: maxPressurePSI, example: "3000 psi or 207 bar",
		scales: []scale{
			{names: []string{"psi", "psig", "lbf/in2", "lb/in2"}, factor: 1},
			{names: []string{"bar", "barg"}, factor: pascalPerBar / pascalPerPSI},
			{names: []string{"mpa", "n/mm2", "n/mm²"}, factor: pascalPerMPa / pascalPerPSI},
			{names: []string{"kpa"}, factor: pascalPerKPa / pascalPerPSI},
			{names: []string{"kgf/cm2", "kgf/cm²", "kg/cm2", "kg/cm²", "kp/cm2", "kp/cm²"}, factor: pascalPerKgfCM / pascalPerPSI},
		},
	}.parse(s, string(def))
}
