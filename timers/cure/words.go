package cure

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// EstimateNote goes wherever a figure of this package is shown.
const EstimateNote = "estimate; follow the resin maker's cycle"

// limitPct is the residual monomer ISO 20795-1 allows in a heat-cured base, wt%, as quoted in Int J Enhanced Res Sci Tech
// Eng 2016;5(5):19.
const limitPct = 2.2

// Where the model ends, and how wide its figures are taken. The widths come from 20 000 draws of the parameters inside
// their bands, weighted by the published figures the model was held against.
const (
	leastShownPct = 0.3 // below it evaporation and depropagation, which are left out, decide
	mostShownC    = 130 // above it boiling, which is left out, decides
	residualTimes = 1.6
	exothermEarly = 0.7
	exothermLate  = 1.4
	atBathEarly   = 0.75
	atBathLate    = 1.3
	exothermLeast = 0.5 // K above the bath; less is not spoken of
)

// Band is an estimate with its range.
type Band struct {
	Low   float64 `json:"low"`
	Value float64 `json:"value"`
	High  float64 `json:"high"`
}

// Range is what may be shown of a run: figures with their widths, the words for them, and notes on what lies outside the
// model. The numbers are for drawing; the texts say "< 0.3 %" and "> 130 °C" where the model ends.
type Range struct {
	Residual Band `json:"residual"` // wt%, mean over the thinnest section at the end
	Peak     Band `json:"peak"`     // °C, core of the thickest section

	Exotherm    bool `json:"exotherm"`     // the core rises above the bath by half a kelvin or more
	ExothermMin Band `json:"exotherm_min"` // when it is farthest above, minutes after going in
	OverK       Band `json:"over"`         // by how much

	AtBath    bool `json:"at_bath"`     // the core of the thickest section comes within 2 K of the bath
	AtBathMin Band `json:"at_bath_min"` // when, minutes after going in

	MayBoil bool    `json:"may_boil"` // the core may pass the monomer's boiling point: a caution
	BoilsC  float64 `json:"boils"`    // where monomer boils in the air of the place, °C

	ResidualText string   `json:"residual_text"`
	LimitText    string   `json:"limit_text"`
	PeakText     string   `json:"peak_text"`
	ExothermText string   `json:"exotherm_text"`
	AtBathText   string   `json:"at_bath_text"`
	CautionText  string   `json:"caution_text,omitempty"`
	Notes        []string `json:"notes"`
	Note         string   `json:"note"` // EstimateNote
}

// rangeOf is what may be shown of a load: the residual of its thinnest section, the peak of its thickest. For one section
// give the same result twice.
func rangeOf(thinnest, thickest *Result) Range {
	mm := thickest.Params.SectionMM()
	// The core at the moment it is farthest above the bath is what the exotherm makes; a peak that only follows a boiling
	// bath does not count towards the caution.
	halfWidth := peakHalfWidth(mm, thickest.OverCore-thickest.Over)
	r := Range{
		Residual: Band{thinnest.WMeanEnd / residualTimes, thinnest.WMeanEnd, thinnest.WMeanEnd * residualTimes},
		Peak:     Band{thickest.Peak - halfWidth, thickest.Peak, thickest.Peak + halfWidth},
		Exotherm: thickest.Over >= exothermLeast,
		OverK:    Band{math.Max(0, thickest.Over-halfWidth), math.Max(0, thickest.Over), math.Max(0, thickest.Over) + halfWidth},
		AtBath:   thickest.CoreAtBath,
		Note:     EstimateNote,
	}
	if r.Exotherm {
		m := thickest.TOverMin
		r.ExothermMin = Band{m * exothermEarly, m, m * exothermLate}
	}
	if r.AtBath {
		m := thickest.CoreAtBathMin
		r.AtBathMin = Band{m * atBathEarly, m, m * atBathLate}
	}
	air := thickest.Air
	r.BoilsC = air.MonomerBoilsC()
	// In thin air water boils hotter than monomer does. A core no hotter than the boiling bath then counts only where the
	// monomer left in it makes vapour of the air's pressure.
	followsBoil := thickest.Peak <= air.WaterBoilsC()+0.1 && thickest.BoilRatio <= 1
	r.MayBoil = r.Exotherm && thickest.OverCore+halfWidth > r.BoilsC || thickest.Peak > r.BoilsC && !followsBoil
	r.say(thickest)
	r.Notes = notes(thinnest, thickest)
	return r
}

// peakHalfWidth is half the range of the peak in K for a section of mm with the bath at bathC when the exotherm comes:
// 3 K up to 3 mm, 6 K at 6 mm in 70 to 74 °C and 10 K in boiling water, 17 K at 10 mm; straight between, and beyond.
func peakHalfWidth(mm, bathC float64) float64 {
	hot := math.Min(1, math.Max(0, (bathC-74)/(100-74)))
	at6 := 6 + 4*hot
	switch {
	case mm <= 3:
		return 3
	case mm <= 6:
		return 3 + (at6-3)*(mm-3)/3
	default:
		return at6 + (17-at6)*(mm-6)/4
	}
}

func (r *Range) say(thickest *Result) {
	r.ResidualText = "residual monomer " + percentRange(r.Residual)
	r.LimitText = fmt.Sprintf("for comparison, ISO 20795-1 allows %.1f %%; only a laboratory test shows conformity", limitPct)
	r.PeakText = "core peak " + peakRange(r.Peak)
	if r.Exotherm {
		r.ExothermText = "core farthest above the bath at " + minuteRange(r.ExothermMin)
	} else {
		r.ExothermText = "core hardly above the bath"
	}
	if r.AtBath {
		r.AtBathText = fmt.Sprintf("core within %d K of the bath at %s", coreAtBathK, minuteRange(r.AtBathMin))
	} else {
		r.AtBathText = fmt.Sprintf("core not within %d K of a bath of %d °C or more in this time", coreAtBathK, leastBathC)
	}
	switch {
	case !r.MayBoil:
	case thickest.BoilRatio > 1:
		r.CautionText = fmt.Sprintf("caution: core may pass %.1f °C, where monomer boils; its vapour alone reaches %.1f times the air's pressure",
			r.BoilsC, thickest.BoilRatio)
	default:
		r.CautionText = fmt.Sprintf("caution: core may pass %.1f °C, where monomer boils", r.BoilsC)
	}
}

// Text is the range in lines for a screen or a terminal, the estimate note last.
func (r *Range) Text() []string {
	lines := []string{r.ResidualText + "; " + r.LimitText, r.PeakText, r.ExothermText, r.AtBathText}
	if r.CautionText != "" {
		lines = append(lines, r.CautionText)
	}
	for _, n := range r.Notes {
		lines = append(lines, "note: "+n)
	}
	return append(lines, r.Note)
}

func (r *Range) String() string { return strings.Join(r.Text(), "\n") }

// percentRange words a residual: "1.5 to 3.7 %, about 2.3 %".
func percentRange(b Band) string {
	below := fmt.Sprintf("< %.1f", leastShownPct)
	switch {
	case b.High < leastShownPct:
		return below + " %"
	case b.Value < leastShownPct:
		return fmt.Sprintf("%s %% (up to %.1f %%)", below, b.High)
	case b.Low < leastShownPct:
		return fmt.Sprintf("%s to %.1f %%, about %.1f %%", below, b.High, b.Value)
	}
	return fmt.Sprintf("%.1f to %.1f %%, about %.1f %%", b.Low, b.High, b.Value)
}

// peakRange words a peak: "73 to 79 °C, about 76 °C".
func peakRange(b Band) string {
	switch {
	case b.Value > mostShownC:
		return fmt.Sprintf("> %d °C", mostShownC)
	case b.High > mostShownC:
		return fmt.Sprintf("%.0f to > %d °C, about %.0f °C", b.Low, mostShownC, b.Value)
	}
	return fmt.Sprintf("%.0f to %.0f °C, about %.0f °C", b.Low, b.High, b.Value)
}

// minuteRange words a time: "60 min (40 to 85 min)", the ends to 5 minutes outward.
func minuteRange(b Band) string {
	return fmt.Sprintf("about %.0f min (%.0f to %.0f min)", b.Value, math.Floor(b.Low/5)*5, math.Ceil(b.High/5)*5)
}

// notes says which inputs and results lie where the model was not tried or does not hold.
func notes(thinnest, thickest *Result) []string {
	out := []string{}
	for _, r := range []*Result{thinnest, thickest} {
		for _, n := range r.Params.outsideTried() {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	if thinnest.WMeanEnd < leastShownPct {
		out = append(out, "a residual below 0.3 % is outside the model: depropagation and loss into the gypsum are left out")
	}
	if thickest.Peak > mostShownC {
		out = append(out, "a peak above 130 °C is outside the model, which leaves out boiling; a hot thick core then looks falsely well cured")
	}
	if b := math.Max(thinnest.BathMaxC, thickest.BathMaxC); b > 100 {
		out = append(out, fmt.Sprintf("bath up to %.0f °C: water boiling out of the gypsum is not in the model", b))
	}
	if b := math.Min(thinnest.BathMaxC, thickest.BathMaxC); b < 60 {
		out = append(out, fmt.Sprintf("bath never above %.0f °C: under 60 °C the model was not tried, and cold-cured resin is not in it", b))
	}
	return out
}

// Limits is what must not be read out of this model, for an appendix.
func Limits() []string {
	return []string{
		"It is no measurement, no release test and no proof of conformity to ISO 20795-1 or of biocompatibility.",
		"Residuals below 0.3 % are outside it: depropagation and loss of monomer into the wet gypsum are left out.",
		"Peaks above 130 °C are too high: boiling and its latent heat are left out. A hot thick core then looks falsely well cured.",
		"Only boiling in the core is looked at. Pores from contraction, packing, mixing or at the surface are not; the pressure in the flask is not credited.",
		"Cross-linker, plasticiser, copolymer beads and accelerated resins are not in it; nor are cold cure, microwaves, dry heat and injection.",
		"Powder to liquid outside 1.8 to 3 by mass is not covered.",
		"The geometry is a flat layer. Use the thickest section for the peak and the thinnest for the residual.",
		"Water boiling out of the gypsum, gaps in the flask and heat through the clamp are not in it.",
		"The glass law, the inhibitor and the termination were fitted to a few published figures; a fitted figure is no evidence.",
		"No complete published temperature curve could be compared: the shape of the curve is not confirmed.",
	}
}
