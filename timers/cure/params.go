package cure

import (
	"fmt"
	"math"
	"strings"
)

// Kelvin is 0 °C in kelvin (NIST SP 811).
const Kelvin = 273.15

const (
	gasJPerMolK  = 8.314462618 // molar gas constant, CODATA 2018 (exact)
	monomerKgMol = 0.10012     // methyl methacrylate, C5H8O2
	benzoylKgMol = 0.24223     // benzoyl peroxide, C14H10O4
)

// Params are the inputs of the model, all in SI units (m, kg, J, W, K, s) except concentrations, which are in mol/L as
// is usual for rate constants. The JSON names are the names [Params.Set] takes.
type Params struct {
	HalfResin float64 `json:"half_resin"` // m
	GypsumLo  float64 `json:"gyp_lo"`     // m
	GypsumHi  float64 `json:"gyp_hi"`     // m
	Lx        float64 `json:"Lx"`         // m, half length of the flask; 0 = a slab with no side path
	Ly        float64 `json:"Ly"`         // m, half width of the flask

	RhoResin  float64 `json:"rho_r"` // kg/m3
	KResin    float64 `json:"k_r"`   // W/(m K)
	CpResin   float64 `json:"cp_r"`  // J/(kg K)
	RhoGypsum float64 `json:"rho_g"`
	KGypsum   float64 `json:"k_g"`
	CpGypsum  float64 `json:"cp_g"`
	Wall      float64 `json:"cw"` // J/(m2 K)
	Film      float64 `json:"h"`  // W/(m2 K)

	PowderLiquid float64 `json:"pl"`     // by mass
	Peroxide     float64 `json:"bpo"`    // mass fraction of the powder
	Heat         float64 `json:"dH"`     // J/mol
	Efficiency   float64 `json:"f"`      // radicals that start a chain
	Kd73         float64 `json:"kd73"`   // 1/s at 73 °C
	Ed           float64 `json:"Ed"`     // J/mol
	Ap           float64 `json:"Ap"`     // L/(mol s)
	Ep           float64 `json:"Ep"`     // J/mol
	Crd          float64 `json:"Crd"`    // L/mol
	KtMin        float64 `json:"kt_min"` // L/(mol s)
	Inhibitor    float64 `json:"Z0"`     // mol/L
	Kz           float64 `json:"kz"`     // L/(mol s)
	TgMonomer    float64 `json:"Tgm"`    // K
	TgPolymer    float64 `json:"Tgp"`    // K
	GlassOffset  float64 `json:"z0"`     // K
	GlassWidth   float64 `json:"s"`      // K
	Gel          float64 `json:"gel"`    // 1, or 0 for constant termination without glass and inhibitor
	Reaction     float64 `json:"reac"`   // 1, or 0 for heat conduction alone

	Start float64 `json:"T0"` // K, flask and dough when they go in
}

// provenance says what a value rests on.
type provenance string

// The four marks, as printed beside every parameter.
const (
	published      provenance = "published"
	commonPractice provenance = "common practice"
	fromMemory     provenance = "from memory"
	houseDefault   provenance = "house default"
)

// Param is one line of the parameter table.
type Param struct {
	Name    string     `json:"name"`    // as Set takes it
	Symbol  string     `json:"symbol"`  // as the equations write it
	Meaning string     `json:"meaning"` // in words
	Value   float64    `json:"value"`
	Unit    string     `json:"unit"`
	Band    string     `json:"band"` // one standard deviation assumed for the range, or "fixed"
	Low     float64    `json:"low"`  // below Low or above High the model was not tried: a note is shown
	High    float64    `json:"high"`
	Source  string     `json:"source"`
	Mark    provenance `json:"mark"`
}

// entry is a Param with where it lives and the limits outside which it is refused.
type entry struct {
	Param
	min, max float64
	at       func(*Params) *float64
}

// Defaults is a medium flask with a 3 mm base: the calibrated model.
func Defaults() Params {
	return Params{
		HalfResin: 1.5e-3, GypsumLo: 25e-3, GypsumHi: 25e-3, Lx: 50e-3, Ly: 42e-3,
		RhoResin: 1090, KResin: 0.20, CpResin: 1800,
		RhoGypsum: 1750, KGypsum: 0.75, CpGypsum: 1600,
		Wall: 11e3, Film: 500,
		PowderLiquid: 2, Peroxide: 0.005, Heat: 55500, Efficiency: 0.5,
		Kd73: math.Ln2 / 36000, Ed: 124300, Ap: math.Pow(10, 6.427), Ep: 22360,
		Crd: 200, KtMin: 1e5, Inhibitor: 2e-4, Kz: 2e4,
		TgMonomer: 167, TgPolymer: 383, GlassOffset: -29, GlassWidth: 14,
		Gel: 1, Reaction: 1,
		Start: 22 + Kelvin,
	}
}

// gypsumMM is the stone on each side of 3 mm of resin by the size of the flask, mm (house defaults); "" is medium.
var gypsumMM = map[string]float64{"small": 18, "medium": 25, "large": 32, "": 25}

// ForSection is the default model of a resin section of the given thickness in mm in a flask of the given size ("small",
// "medium" or "large"; "" is medium). The flask's inner height is kept: gypsum shrinks as resin grows. At 3 mm the
// gypsum each side is 18, 25 or 32 mm (house defaults). The side path is that of the medium flask, because only that one
// was compared with an exact brick.
func ForSection(mm float64, size string) (Params, error) {
	p := Defaults()
	side, ok := gypsumMM[size]
	if !ok {
		return p, fmt.Errorf("flask size %q: give small, medium or large", size)
	}
	return p, p.setSection(mm, side+1.5)
}

// SetSection changes the resin's thickness to mm and takes the difference from the gypsum, half on each side, so that the
// flask's inner height stays as it was.
func (p *Params) SetSection(mm float64) error {
	inner := 2*p.HalfResin + p.GypsumLo + p.GypsumHi
	skew := (p.GypsumHi - p.GypsumLo) / 2
	if err := p.setSection(mm, inner/2*1000); err != nil {
		return err
	}
	p.GypsumLo -= skew
	p.GypsumHi += skew
	return p.validate()
}

func (p *Params) setSection(mm, halfInnerMM float64) error {
	const leastGypsumMM = 5 // house default: less stone than this would not hold the mould
	if !(mm >= 0.2) || mm > 2*(halfInnerMM-leastGypsumMM) {
		return fmt.Errorf("thickness %g mm: this flask takes 0.2 to %.0f mm of resin", mm, 2*(halfInnerMM-leastGypsumMM))
	}
	p.HalfResin = mm / 2000
	p.GypsumLo = (halfInnerMM - mm/2) / 1000
	p.GypsumHi = p.GypsumLo
	return nil
}

// SectionMM is the resin's thickness in mm.
func (p *Params) SectionMM() float64 { return 2000 * p.HalfResin }

// Table is every parameter with its present value, unit, source and mark, in the order of the equations.
func (p *Params) Table() []Param {
	es := entries()
	out := make([]Param, len(es))
	for i, e := range es {
		out[i] = e.Param
		out[i].Value = *e.at(p)
	}
	return out
}

// Set changes one parameter by its name, for instance "half_resin", "Crd" or "z0". An unknown name or a value that cannot
// be is an error and changes nothing.
func (p *Params) Set(name string, value float64) error {
	es := entries()
	names := make([]string, len(es))
	for i, e := range es {
		if e.Name == name {
			if err := e.check(value); err != nil {
				return err
			}
			*e.at(p) = value
			return nil
		}
		names[i] = e.Name
	}
	return fmt.Errorf("parameter %q is not one of %s", name, strings.Join(names, ", "))
}

// validate reports the first parameter that cannot be.
func (p *Params) validate() error {
	for _, e := range entries() {
		if err := e.check(*e.at(p)); err != nil {
			return err
		}
	}
	if p.Lx > 0 && p.Ly == 0 {
		return fmt.Errorf("parameter Ly is 0 while Lx is %g m: give both, or Lx 0 for a slab with no side path", p.Lx)
	}
	return nil
}

func (e *entry) check(v float64) error {
	if !(v >= e.min && v <= e.max) { // also catches NaN
		return fmt.Errorf("parameter %s (%s) is %g: it must be %g to %g %s", e.Name, e.Meaning, v, e.min, e.max, e.Unit)
	}
	switch e.Name {
	case "gel", "reac":
		if v != 0 && v != 1 {
			return fmt.Errorf("parameter %s (%s) is %g: it must be 0 or 1", e.Name, e.Meaning, v)
		}
	case "Lx", "Ly":
		if v > 0 && v < 1e-3 {
			return fmt.Errorf("parameter %s (%s) is %g m: it must be 0 or at least 0.001", e.Name, e.Meaning, v)
		}
	}
	return nil
}

// outsideTried lists, in words, the parameters outside the range in which the model was tried.
func (p *Params) outsideTried() []string {
	var notes []string
	for _, e := range entries() {
		v := *e.at(p)
		if v < e.Low || v > e.High {
			notes = append(notes, fmt.Sprintf("%s (%s) %.4g %s is outside %.4g to %.4g, where the model was tried",
				e.Name, e.Meaning, v, e.Unit, e.Low, e.High))
		}
	}
	return notes
}
