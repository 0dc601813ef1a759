package dough

// grounds says how well a value is known.
type grounds string

// The grounds a value can rest on, best first.
const (
	published      grounds = "published"
	commonPractice grounds = "common practice" // no source
	fromMemory     grounds = "from memory"
	houseValue     grounds = "house default"
	ownMarks       grounds = "the lab's own marks"
	ownSetting     grounds = "the lab's own setting"
)

// Parameter is one value the estimates rest on.
type Parameter struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"` // "" for a pure number
	Source string  `json:"source"`
	Mark   grounds `json:"mark"`
}

// Parameters lists every value that stands behind the figures for r, for
// printing. A field of r that differs from HouseDefault is marked as the lab's
// own.
func Parameters(r Resin) []Parameter {
	const (
		densities = "density lines of doi 10.1080/10601325.2017.1312678 at 23 °C"
		cement    = "bone cement setting times, J Orthop Surg Res 2015;10:178"
	)
	h := HouseDefault()
	var out []Parameter
	field := func(name string, v, def float64, unit, source string, mark grounds, fitted bool) {
		switch {
		case fitted && v != def:
			source, mark = "fitted by least squares", ownMarks
		case v != def:
			source, mark = "set for this resin", ownSetting
		}
		out = append(out, Parameter{name, v, unit, source, mark})
	}
	fixed := func(name string, v float64, unit, source string, mark grounds) {
		out = append(out, Parameter{name, v, unit, source, mark})
	}
	timesFitted := r.MarksBehind > 0

	ratioUnit := map[Basis]string{ByMass: "g powder per g liquid", ByBulk: "cc poured powder per mL liquid", ByMassPerVolume: "g powder per mL liquid"}[r.RatioBy]
	ratioDef := h.Ratio
	if r.RatioBy != h.RatioBy {
		ratioDef = 0 // in other terms than the house's, so never its value
	}
	field("ratio", r.Ratio, ratioDef, ratioUnit, "21 to 24 g to 10 mL, 30 cc to 10 mL poured", commonPractice, false)
	field("powder_bulk_g_per_cc", r.PowderBulkGPerCC, h.PowderBulkGPerCC, "g/cc", "22.5 g fill 30 cc when poured", houseValue, false)
	field("polymer_g_per_cc", r.PolymerGPerCC, h.PolymerGPerCC, "g/cc", densities, published, false)
	field("liquid_g_per_ml", r.LiquidGPerML, h.LiquidGPerML, "g/mL", densities, published, false)
	field("unit_liquid_ml", r.UnitLiquidML, h.UnitLiquidML, "mL", "10 mL of liquid to an average base", commonPractice, false)
	field("ref_temp_c", r.RefTempC, h.RefTempC, "°C", "room for which leaflets give times", commonPractice, false)
	field("dough_from_min", r.DoughFromMin, h.DoughFromMin, "min", "dough reached in 5 to 10 (15) min", commonPractice, timesFitted)
	field("work_until_min", r.WorkUntilMin, h.WorkUntilMin, "min", "worked within 45 min of mixing at about 23 °C", commonPractice, timesFitted)
	field("q10", r.Q10, h.Q10, "", "assumption: no figures for heat-cured dough; "+cement+", give at least 1.5 to 1.9", houseValue, r.Q10Fitted)
	field("warm_tau_min", r.WarmTauMin, h.WarmTauMin, "min", "assumption, fitted with q10 to "+cement, houseValue, false)
	field("dough_ln_sd", r.DoughLnSD, h.DoughLnSD, "", "with mix_ln_sd spans 5 to 13 min", houseValue, timesFitted)
	field("work_ln_sd", r.WorkLnSD, h.WorkLnSD, "", "", houseValue, timesFitted)
	field("mix_ln_sd", r.MixLnSD, h.MixLnSD, "", "", houseValue, timesFitted)
	field("q10_ln_sd", r.Q10LnSD, h.Q10LnSD, "", "spans Q10 1.5 to 2.8 with 80 %", houseValue, r.Q10Fitted)

	fixed("room_sd", roomSDC, "K", "thermometer and place of the bench", houseValue)
	fixed("mark_ln_sd", markLnSD, "", "two people's judgement of the same dough", houseValue)
	fixed("trial_allowance", DefaultTrialAllowance, "of the mould", "dough over for trial closures", houseValue)
	fixed("shrinkage_low", shrinkageLow, "of the computed shrinkage", "bone cements measured at 5.1 to 6.5 %, at their usual 2:1", houseValue)
	fixed("usual_ratio_from", wetMassRatio, "g/g", "wettest ratio of Int J Dent Sci Res 2015;3(3)", houseValue)
	fixed("usual_ratio_to", dryMassRatio, "g/g", "", houseValue)
	return out
}
