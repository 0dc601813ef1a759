package dough

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Basis says in what terms a powder to liquid ratio is meant.
type Basis string

// The three ways makers' leaflets and teaching texts state a ratio.
const (
	ByMass          Basis = "mass"            // grams of powder to a gram of liquid
	ByBulk          Basis = "bulk_volume"     // cc of poured powder to a mL of liquid
	ByMassPerVolume Basis = "mass_per_volume" // grams of powder to a mL of liquid
)

// Ratio is powder to liquid in the terms of its basis.
//
// "3:1 by volume" is poured powder, a third of it air: it is about 2.4:1 by
// mass, and the liquid is then about a third of the true volume, not a quarter.
type Ratio struct {
	Value float64 `json:"value" toml:"value"`
	By    Basis   `json:"by" toml:"by"`
}

// Limits of a ratio by mass. Outside the wide ones nothing a bench mixes can
// lie (house default); outside the usual ones a caution is given (1.8 is the
// wettest ratio of Nisar et al., Int J Dent Sci Res 2015;3(3); 3 is a house
// default).
const (
	minMassRatio, maxMassRatio = 0.5, 6.0
	wetMassRatio, dryMassRatio = 1.8, 3.0
)

// How a ratio is typed.
const (
	maxRatioText = 48 // bytes
	ratioForms   = "2.4, 24:10, 3:1 by volume or 22 g : 10 mL"
	ratioNumber  = `(\d{1,6}(?:[.,]\d{1,18})?)`
	ratioUnit    = `(g|cc|ml|cm3)`
	ratioPattern = `^\s*` + ratioNumber + `\s*` + ratioUnit + `?\s*(?::\s*` + ratioNumber + `\s*` + ratioUnit +
		`?\s*)?(?:(?:by\s+)?(mass|weight|volume|bulk))?\s*$`
)

// String shows the ratio in a form ParseRatio reads.
func (r Ratio) String() string {
	v := strconv.FormatFloat(r.Value, 'f', -1, 64)
	switch r.By {
	case ByBulk:
		return v + ":1 by volume"
	case ByMassPerVolume:
		return v + " g : 1 mL"
	default:
		return v + ":1 by mass"
	}
}

// ParseRatio reads a ratio as typed. A bare "2.4" or "2.4:1" is by mass; "3:1
// by volume" is by bulk volume; units on both sides ("22 g : 10 mL", "30 cc :
// 10 mL") say for themselves which is meant. The ratio must be above zero;
// whether a resin can be mixed so is said by [Proportion].
func ParseRatio(s string) (Ratio, error) {
	if len(s) > maxRatioText {
		return Ratio{}, fmt.Errorf("ratio: %d bytes typed, at most %d are read", len(s), maxRatioText)
	}
	m := regexp.MustCompile(ratioPattern).FindStringSubmatch(strings.ToLower(s))
	if m == nil {
		return Ratio{}, fmt.Errorf("ratio %q is not understood; type for example %s", s, ratioForms)
	}
	powder, liquid := decimal(m[1]), 1.0
	if m[3] != "" {
		liquid = decimal(m[3])
	}
	by, ok := basisOf(m[2], m[4], m[5])
	if !ok {
		return Ratio{}, fmt.Errorf("ratio %q mixes its units; type for example %s", s, ratioForms)
	}
	v := powder / liquid
	if !(v > 0) || math.IsInf(v, 0) {
		return Ratio{}, fmt.Errorf("ratio %q: powder and liquid must both be above 0", s)
	}
	return Ratio{v, by}, nil
}

// decimal reads what ratioNumber matched, which is always a finite number.
func decimal(s string) float64 {
	v, _ := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	return v
}

// basisOf puts together the units of powder and liquid and a closing word.
func basisOf(powder, liquid, word string) (Basis, bool) {
	volume := func(u string) bool { return u == "cc" || u == "ml" || u == "cm3" }
	var units Basis
	switch {
	case powder == "" && liquid == "":
	case powder == "g" && liquid == "g":
		units = ByMass
	case powder == "g" && volume(liquid):
		units = ByMassPerVolume
	case volume(powder) && volume(liquid):
		units = ByBulk
	default:
		return "", false
	}
	var said Basis
	switch word {
	case "mass", "weight":
		said = ByMass
	case "volume", "bulk":
		said = ByBulk
	}
	switch {
	case units == "" && said == "":
		return ByMass, true
	case units == "":
		return said, true
	case said == "" || said == units:
		return units, true
	}
	return "", false
}

// MassRatio is the resin's own powder to liquid in grams to a gram.
func (r Resin) MassRatio() (float64, error) { return r.massRatio(Ratio{r.Ratio, r.RatioBy}) }

// massRatio turns a ratio into grams of powder to a gram of liquid by the
// resin's densities, and refuses what cannot be mixed.
func (r Resin) massRatio(q Ratio) (float64, error) {
	if !(q.Value > 0) || math.IsInf(q.Value, 0) {
		return 0, fmt.Errorf("ratio %g: must be above 0, usually 1.8 to 3 by mass", q.Value)
	}
	var m float64
	//exhaustive:enforce
	switch q.By {
	case ByMass:
		m = q.Value
	case ByBulk:
		m = q.Value * r.PowderBulkGPerCC / r.LiquidGPerML
	case ByMassPerVolume:
		m = q.Value / r.LiquidGPerML
	default:
		return 0, fmt.Errorf("ratio by %q is not known: use %q, %q or %q", q.By, ByMass, ByBulk, ByMassPerVolume)
	}
	if m < minMassRatio || m > maxMassRatio {
		return 0, fmt.Errorf("ratio %s is %.3g:1 by mass: nothing mixes outside %g to %g, usual is %g to %g",
			q, m, minMassRatio, maxMassRatio, wetMassRatio, dryMassRatio)
	}
	return m, nil
}
