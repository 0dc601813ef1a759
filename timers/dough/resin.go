// Package dough holds what the technician needs to know of one mix of powder
// and liquid: how much of both to take ([Proportion]), how much it will shrink,
// from when to when it can be packed in this room ([Estimate]), and what the
// lab's own marks say about a resin ([FitMarks]).
//
// Every figure is an estimate beside which the resin maker's leaflet stands.
// The values it rests on, with unit, source and how well each is known, are
// listed by [Parameters].
//
// The package is pure: no clock, disk or screen. Whatever goes in, no NaN or
// infinity comes out; input that cannot be is one clear error.
package dough

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Resin is one powder and liquid by a name of the lab's own choosing. Fields at
// zero mean "not given"; [Resin.WithDefaults] fills them from [HouseDefault].
//
// Times are minutes since powder met liquid with both parts and the room at
// RefTempC. Each _ln_sd is the standard deviation of the natural logarithm of a
// time: 0.1 is about 10 %.
type Resin struct {
	Name string `json:"name" toml:"name"`

	Ratio   float64 `json:"ratio" toml:"ratio"`       // powder to liquid, in the terms RatioBy says
	RatioBy Basis   `json:"ratio_by" toml:"ratio_by"` // "mass", "bulk_volume" or "mass_per_volume"

	PowderBulkGPerCC float64 `json:"powder_bulk_g_per_cc" toml:"powder_bulk_g_per_cc"` // poured powder, air included
	PolymerGPerCC    float64 `json:"polymer_g_per_cc" toml:"polymer_g_per_cc"`         // the beads themselves, and what the liquid becomes
	LiquidGPerML     float64 `json:"liquid_g_per_ml" toml:"liquid_g_per_ml"`
	UnitLiquidML     float64 `json:"unit_liquid_ml" toml:"unit_liquid_ml"` // liquid in one unit

	RefTempC     float64 `json:"ref_temp_c" toml:"ref_temp_c"`
	DoughFromMin float64 `json:"dough_from_min" toml:"dough_from_min"` // dough reached
	WorkUntilMin float64 `json:"work_until_min" toml:"work_until_min"` // too stiff to pack
	Q10          float64 `json:"q10" toml:"q10"`                       // how many times faster in a room 10 K warmer
	WarmTauMin   float64 `json:"warm_tau_min" toml:"warm_tau_min"`     // time constant of a jar coming to the room's temperature

	DoughLnSD float64 `json:"dough_ln_sd" toml:"dough_ln_sd"` // how well DoughFromMin is known for this resin
	WorkLnSD  float64 `json:"work_ln_sd" toml:"work_ln_sd"`   // how well WorkUntilMin is known
	MixLnSD   float64 `json:"mix_ln_sd" toml:"mix_ln_sd"`     // from mix to mix, shared by both times
	Q10LnSD   float64 `json:"q10_ln_sd" toml:"q10_ln_sd"`     // how well ln Q10 is known

	MarksBehind int  `json:"marks_behind,omitempty" toml:"marks_behind,omitempty"` // the lab's own marks behind the times; 0: none
	Q10Fitted   bool `json:"q10_fitted,omitempty" toml:"q10_fitted,omitempty"`     // Q10 is from those marks, not assumed
}

// HouseDefault is a general heat-cured denture base resin, by common practice
// and published densities; [Parameters] gives the source of each value.
func HouseDefault() Resin {
	const refTempC = 23
	return Resin{
		Name:             "heat-cured, general",
		Ratio:            2.4,
		RatioBy:          ByMass,
		PowderBulkGPerCC: 0.75,
		PolymerGPerCC:    round3(polymerDensityGPerCC(refTempC)),
		LiquidGPerML:     round3(monomerDensityGPerML(refTempC)),
		UnitLiquidML:     10,
		RefTempC:         refTempC,
		DoughFromMin:     8,
		WorkUntilMin:     45,
		Q10:              2,
		WarmTauMin:       30,
		DoughLnSD:        0.30,
		WorkLnSD:         0.10,
		MixLnSD:          0.20,
		Q10LnSD:          0.25,
	}
}

func round3(v float64) float64 { return math.Round(v*1000) / 1000 }

// WithDefaults fills every field that is not given from HouseDefault. A ratio
// is taken or left together with its basis; a ratio without one is by mass.
func (r Resin) WithDefaults() Resin {
	d := HouseDefault()
	r.Name = cmp.Or(r.Name, d.Name)
	if r.RatioBy == "" {
		r.RatioBy = ByMass
		r.Ratio = cmp.Or(r.Ratio, d.Ratio)
	}
	for _, f := range []struct {
		v   *float64
		def float64
	}{
		{&r.PowderBulkGPerCC, d.PowderBulkGPerCC}, {&r.PolymerGPerCC, d.PolymerGPerCC},
		{&r.LiquidGPerML, d.LiquidGPerML}, {&r.UnitLiquidML, d.UnitLiquidML}, {&r.RefTempC, d.RefTempC},
		{&r.DoughFromMin, d.DoughFromMin}, {&r.WorkUntilMin, d.WorkUntilMin}, {&r.Q10, d.Q10},
		{&r.WarmTauMin, d.WarmTauMin}, {&r.DoughLnSD, d.DoughLnSD}, {&r.WorkLnSD, d.WorkLnSD},
		{&r.MixLnSD, d.MixLnSD}, {&r.Q10LnSD, d.Q10LnSD},
	} {
		*f.v = cmp.Or(*f.v, f.def)
	}
	return r
}

// maxNameRunes is as long as a resin's name may be.
const maxNameRunes = 60

// Validate says in one line what is wrong with the resin and what would be
// right, or returns nil.
func (r Resin) Validate() error {
	if err := validName(r.Name); err != nil {
		return err
	}
	for _, f := range []struct {
		name, unit string
		v, min     float64
		max        float64
	}{
		{"powder_bulk_g_per_cc", "g/cc", r.PowderBulkGPerCC, 0.2, 1.3},
		{"polymer_g_per_cc", "g/cc", r.PolymerGPerCC, 1, 2},
		{"liquid_g_per_ml", "g/mL", r.LiquidGPerML, 0.8, 1.2},
		{"unit_liquid_ml", "mL", r.UnitLiquidML, 0.5, 500},
		{"ref_temp_c", "°C", r.RefTempC, minRoomC, maxRoomC},
		{"dough_from_min", "min", r.DoughFromMin, 0.5, 24 * 60},
		{"work_until_min", "min", r.WorkUntilMin, 1, 48 * 60},
		{"q10", "", r.Q10, 1, 5},
		{"warm_tau_min", "min", r.WarmTauMin, 1, 24 * 60},
		{"dough_ln_sd", "", r.DoughLnSD, 0.01, 1},
		{"work_ln_sd", "", r.WorkLnSD, 0.01, 1},
		{"mix_ln_sd", "", r.MixLnSD, 0.01, 1},
		{"q10_ln_sd", "", r.Q10LnSD, 0.01, 1},
	} {
		if !(f.v >= f.min && f.v <= f.max) { // also refuses NaN
			return fmt.Errorf("resin %q: %s is %g, must be %g to %g %s", r.Name, f.name, f.v, f.min, f.max, f.unit)
		}
	}
	switch {
	case r.PowderBulkGPerCC >= r.PolymerGPerCC:
		return fmt.Errorf("resin %q: poured powder (%g g/cc) cannot be denser than its beads (%g g/cc)", r.Name, r.PowderBulkGPerCC, r.PolymerGPerCC)
	case r.LiquidGPerML >= r.PolymerGPerCC:
		return fmt.Errorf("resin %q: the liquid (%g g/mL) must be lighter than the polymer (%g g/cc)", r.Name, r.LiquidGPerML, r.PolymerGPerCC)
	case r.DoughFromMin >= r.WorkUntilMin:
		return fmt.Errorf("resin %q: dough_from_min (%g) must be below work_until_min (%g)", r.Name, r.DoughFromMin, r.WorkUntilMin)
	case r.MarksBehind < 0:
		return fmt.Errorf("resin %q: marks_behind is %d, must be 0 or more", r.Name, r.MarksBehind)
	}
	if _, err := r.massRatio(Ratio{r.Ratio, r.RatioBy}); err != nil {
		return fmt.Errorf("resin %q: %w", r.Name, err)
	}
	return nil
}

// validName accepts one line of printable text.
func validName(name string) error {
	switch {
	case strings.TrimSpace(name) == "":
		return fmt.Errorf("resin without a name: give it one of the lab's own")
	case !utf8.ValidString(name):
		return fmt.Errorf("resin name is not valid UTF-8 text")
	case utf8.RuneCountInString(name) > maxNameRunes:
		return fmt.Errorf("resin name has %d characters, at most %d", utf8.RuneCountInString(name), maxNameRunes)
	case strings.ContainsFunc(name, func(c rune) bool { return !unicode.IsPrint(c) }):
		return fmt.Errorf("resin name %q has control characters: use printable text", name)
	}
	return nil
}
