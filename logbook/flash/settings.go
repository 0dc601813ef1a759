package flash

import (
	"fmt"
	"math"
)

// TrendSettings are those of the trend: where one grade ends and the next begins, the noises, and what
// is expected of a base before anything was seen of it.
type TrendSettings struct {
	NoneBelowG  float64 `json:"none_below_g" toml:"none_below_g" comment:"grams of flash below which the grade is none"`
	HeavyAboveG float64 `json:"heavy_above_g" toml:"heavy_above_g" comment:"grams of flash above which the grade is heavy"`
	GradeSD     float64 `json:"grade_sd" toml:"grade_sd" comment:"noise of a grade, sd of ln grams"`
	WeighSD     float64 `json:"weigh_sd" toml:"weigh_sd" comment:"noise of a weighed trim, sd of ln grams"`
	FloorG      float64 `json:"floor_g,omitempty" toml:"floor_g" comment:"grams of flash that come however often the flask is closed, a film on the land (0: none; learned from weighed trims)"`
	Prior       priors  `json:"prior" toml:"prior"`
}

// priors by size of the base.
type priors struct {
	Small  Prior `json:"small" toml:"small"`
	Medium Prior `json:"medium" toml:"medium"`
	Large  Prior `json:"large" toml:"large"`
}

// Prior is what is expected of a base before its first trial closure.
type Prior struct {
	FirstG  float64 `json:"first_g" toml:"first_g" comment:"flash at the first trial closure, grams (median)"`
	FirstSD float64 `json:"first_sd" toml:"first_sd" comment:"its spread from flask to flask, sd of ln grams"`
	Kept    float64 `json:"kept" toml:"kept" comment:"fraction of the flash that remains from one closure to the next (median)"`
	KeptSD  float64 `json:"kept_sd" toml:"kept_sd" comment:"its spread from flask to flask, sd of ln"`
}

// HouseDefaults are invented house values (house default), chosen so that the closures
// they foretell agree with common practice: two to three as a rule, up to about six for
// a very large base. They are not published figures.
func HouseDefaults() TrendSettings {
	return TrendSettings{
		NoneBelowG: 0.15, HeavyAboveG: 1, GradeSD: 0.45, WeighSD: 0.25,
		Prior: priors{
			Small:  Prior{FirstG: 4, FirstSD: 0.6, Kept: 0.3, KeptSD: 0.35},
			Medium: Prior{FirstG: 8, FirstSD: 0.6, Kept: 0.3, KeptSD: 0.35},
			Large:  Prior{FirstG: 18, FirstSD: 0.6, Kept: 0.4, KeptSD: 0.35},
		},
	}
}

// limits of each setting: wide enough for any bench, narrow enough that every fit stays
// finite and quick (house default).
var (
	limitsGrams = [2]float64{0.001, 1000}
	limitsGrade = [2]float64{0.1, 2}
	limitsWeigh = [2]float64{0.05, 2}
	limitsFirst = [2]float64{0.05, 2}
	limitsKept  = [2]float64{0.01, 0.99}
	limitsKeptS = [2]float64{0.02, 1}
	limitsFloor = [2]float64{0.005, 20} // where there is one
)

// least ratio of the two house lines: a narrower slight could not be told apart.
const leastSlight = 1.2

// validate returns an error that names the first setting that cannot be, and its limits.
func (s TrendSettings) Validate() error {
	type check struct {
		name  string
		value float64
		lim   [2]float64
	}
	checks := []check{
		{"none_below_g", s.NoneBelowG, limitsGrams},
		{"heavy_above_g", s.HeavyAboveG, limitsGrams},
		{"grade_sd", s.GradeSD, limitsGrade},
		{"weigh_sd", s.WeighSD, limitsWeigh},
	}
	for _, z := range Sizes() {
		p, at := s.Prior.at(z), "prior."+string(z)+"."
		checks = append(checks,
			check{at + "first_g", p.FirstG, limitsGrams},
			check{at + "first_sd", p.FirstSD, limitsFirst},
			check{at + "kept", p.Kept, limitsKept},
			check{at + "kept_sd", p.KeptSD, limitsKeptS})
	}
	for _, c := range checks {
		if !(c.value >= c.lim[0] && c.value <= c.lim[1]) {
			return fmt.Errorf("trend settings: %s is %g: it must be from %g to %g", c.name, c.value, c.lim[0], c.lim[1])
		}
	}
	if s.FloorG != 0 && !(s.FloorG >= limitsFloor[0] && s.FloorG <= limitsFloor[1]) {
		return fmt.Errorf("trend settings: floor_g is %g: it must be 0 for none, or from %g to %g", s.FloorG, limitsFloor[0], limitsFloor[1])
	}
	if !(s.HeavyAboveG >= leastSlight*s.NoneBelowG) {
		return fmt.Errorf("trend settings: heavy_above_g %g must be at least %g times none_below_g %g", s.HeavyAboveG, leastSlight, s.NoneBelowG)
	}
	return nil
}

// PriorOf is the prior for a size of base; an error names the sizes.
func (s TrendSettings) PriorOf(z Size) (Prior, error) {
	if p := s.Prior.at(z); p != nil {
		return *p, nil
	}
	_, err := ParseSize(string(z))
	return Prior{}, err
}

// at points into p, nil for an unknown size.
func (p *priors) at(z Size) *Prior {
	switch z {
	case Small:
		return &p.Small
	case Medium:
		return &p.Medium
	case Large:
		return &p.Large
	}
	return nil
}

// GradeOf is the grade that a weight of flash in grams stands for.
func (s TrendSettings) GradeOf(grams float64) Grade {
	switch {
	case grams < s.NoneBelowG:
		return None
	case grams > s.HeavyAboveG:
		return Heavy
	}
	return Slight
}

// noneLog and heavyLog are the house lines in ln grams.
func (s TrendSettings) noneLog() float64  { return math.Log(s.NoneBelowG) }
func (s TrendSettings) heavyLog() float64 { return math.Log(s.HeavyAboveG) }
