package dough

import (
	"fmt"
	"math"
)

// DefaultTrialAllowance is how much dough is made over, as a fraction of the
// mould's volume, for what the trial closures squeeze out and what is added
// (house default).
const DefaultTrialAllowance = 0.3

// shrinkageLow is the low end of the shrinkage shown, as a fraction of the
// computed one. Measured shrinkage of like mixes, 5.1 to 6.5 % by volume for
// acrylic bone cements (quoted in Biologically Responsive Biomaterials), lies at
// 0.7 to 0.9 of what their usual 2:1 gives: pores, and monomer left over.
const shrinkageLow = 0.7

// Measure says what a Request's amount counts.
type Measure string

// The three ways to say how much to mix.
const (
	InUnits    Measure = "units"     // of the resin's own unit
	InLiquidG  Measure = "liquid_g"  // grams of liquid
	InMouldCM3 Measure = "mould_cm3" // volume of the mould, the trial allowance coming on top
)

// Amounts beyond these are slips of the key (house defaults).
const (
	maxUnits          = 100
	maxLiquidG        = 2000
	maxMouldCM3       = 2000
	maxTrialAllowance = 3
)

// Request is what to mix.
type Request struct {
	Amount float64 // above 0
	In     Measure

	Ratio *Ratio // nil: the resin's own

	// MouldCM3 is the volume of the mould where the amount is given otherwise; 0
	// where it is not known. What is left over is then counted against it.
	MouldCM3 float64

	// TrialAllowance is the fraction of the mould's volume to have over for
	// trials, 0 to 3; see DefaultTrialAllowance.
	TrialAllowance float64
}

// Proportions is what to take, and what becomes of it.
type Proportions struct {
	Resin     string  `json:"resin"`
	Units     float64 `json:"units"`      // in units of the resin
	MassRatio float64 `json:"mass_ratio"` // grams of powder to a gram of liquid

	PowderG      float64 `json:"powder_g"`
	PowderBulkCC float64 `json:"powder_bulk_cc"` // poured, air included
	LiquidG      float64 `json:"liquid_g"`
	LiquidML     float64 `json:"liquid_ml"`

	DoughG   float64 `json:"dough_g"`
	DoughML  float64 `json:"dough_ml"`  // true volume of both parts, without air
	MouldCM3 float64 `json:"mould_cm3"` // the mould given, else the largest this mix fills with the allowance over

	// What is left when the mould is full, for trials; below 0 what is wanting.
	LeftoverML float64 `json:"leftover_ml"`
	LeftoverG  float64 `json:"leftover_g"`

	// Shrinkage by volume from dough to fully cured at room temperature, as
	// fractions: computed, and the low end of what is measured on like mixes.
	// FreeLinear is what a free body would show in length; held by mould and
	// cast, bases show 0.2 to 0.5 % (textbooks, from memory).
	LiquidVolumeFrac float64 `json:"liquid_volume_frac"`
	Shrinkage        float64 `json:"shrinkage"`
	ShrinkageLow     float64 `json:"shrinkage_low"`
	FreeLinear       float64 `json:"free_linear"`

	Cautions []string `json:"cautions,omitempty"`
	// OfVolume is the one of them that the leftover tells already, "" for none.
	OfVolume string `json:"-"`
}

// Proportion works out the masses and volumes of both parts. It refuses an
// amount, ratio or allowance that cannot be meant, and a resin that does not
// validate.
func Proportion(r Resin, q Request) (Proportions, error) {
	if err := r.Validate(); err != nil {
		return Proportions{}, err
	}
	ratio := Ratio{r.Ratio, r.RatioBy}
	if q.Ratio != nil {
		ratio = *q.Ratio
	}
	m, err := r.massRatio(ratio)
	if err != nil {
		return Proportions{}, err
	}
	if !(q.TrialAllowance >= 0 && q.TrialAllowance <= maxTrialAllowance) {
		return Proportions{}, fmt.Errorf("trial allowance %g: must be 0 to %d of the mould's volume (0.3 is the house default)", q.TrialAllowance, maxTrialAllowance)
	}
	if q.MouldCM3 != 0 {
		if err := inRange("mould", q.MouldCM3, maxMouldCM3, "cm3"); err != nil {
			return Proportions{}, err
		}
	}

	mlPerLiquidG := 1/r.LiquidGPerML + m/r.PolymerGPerCC // dough from a gram of liquid
	var liquidG float64
	mould := q.MouldCM3
	//exhaustive:enforce
	switch q.In {
	case InUnits:
		err = inRange("units", q.Amount, maxUnits, "")
		liquidG = q.Amount * r.UnitLiquidML * r.LiquidGPerML
	case InLiquidG:
		err = inRange("liquid", q.Amount, maxLiquidG, "g")
		liquidG = q.Amount
	case InMouldCM3:
		err = inRange("mould", q.Amount, maxMouldCM3, "cm3")
		if err == nil && q.MouldCM3 != 0 {
			err = fmt.Errorf("the mould's volume is given twice: once as the amount is enough")
		}
		mould = q.Amount
		liquidG = mould * (1 + q.TrialAllowance) / mlPerLiquidG
	default:
		err = fmt.Errorf("amount in %q is not known: use %q, %q or %q", q.In, InUnits, InLiquidG, InMouldCM3)
	}
	if err != nil {
		return Proportions{}, err
	}

	p := Proportions{
		Resin:            r.Name,
		Units:            liquidG / (r.UnitLiquidML * r.LiquidGPerML),
		MassRatio:        m,
		PowderG:          liquidG * m,
		PowderBulkCC:     liquidG * m / r.PowderBulkGPerCC,
		LiquidG:          liquidG,
		LiquidML:         liquidG / r.LiquidGPerML,
		DoughG:           liquidG * (1 + m),
		DoughML:          liquidG * mlPerLiquidG,
		MouldCM3:         mould,
		LiquidVolumeFrac: 1 / r.LiquidGPerML / mlPerLiquidG,
	}
	if p.MouldCM3 == 0 {
		p.MouldCM3 = p.DoughML / (1 + q.TrialAllowance)
	}
	p.LeftoverML = p.DoughML - p.MouldCM3
	p.LeftoverG = p.LeftoverML * p.DoughG / p.DoughML
	p.Shrinkage = volumeShrinkage(p.LiquidVolumeFrac, r.LiquidGPerML, r.PolymerGPerCC)
	p.ShrinkageLow = shrinkageLow * p.Shrinkage
	p.FreeLinear = freeLinearShrinkage(p.Shrinkage)
	p.Cautions, p.OfVolume = p.ofRatio(), p.ofVolume(q)
	if p.OfVolume != "" {
		p.Cautions = append(p.Cautions, p.OfVolume)
	}
	return p, nil
}

// ofRatio says in plain words what is unusual about the powder to liquid of a mix.
func (p Proportions) ofRatio() []string {
	switch {
	case p.MassRatio < wetMassRatio:
		return []string{fmt.Sprintf("wet mix, %.2g:1 by mass (usual %g to %g): more shrinkage, longer to dough", p.MassRatio, wetMassRatio, dryMassRatio)}
	case p.MassRatio > dryMassRatio:
		return []string{fmt.Sprintf("dry mix, %.2g:1 by mass (usual %g to %g): beads may stay unwetted", p.MassRatio, wetMassRatio, dryMassRatio)}
	}
	return nil
}

// ofVolume says so where less is left than the house sets aside for trials.
func (p Proportions) ofVolume(q Request) string {
	switch want := q.TrialAllowance * p.MouldCM3; {
	case p.LeftoverML < 0:
		return fmt.Sprintf("%.1f mL short of filling the mould", -p.LeftoverML)
	case p.LeftoverML < want*(1-1e-9):
		return fmt.Sprintf("%.1f mL over for trials, less than the %.1f mL the house sets aside", p.LeftoverML, want)
	}
	return ""
}

// inRange refuses what is not above 0 and at most max.
func inRange(name string, v, most float64, unit string) error {
	if unit != "" {
		unit = " " + unit
	}
	if !(v > 0) || math.IsInf(v, 0) {
		return fmt.Errorf("%s %g%s: must be above 0", name, v, unit)
	}
	if v > most {
		return fmt.Errorf("%s %g%s: more than one mix can be, at most %g%s", name, v, unit, most, unit)
	}
	return nil
}
