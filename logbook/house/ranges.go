package house

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"flaskside/logbook/units"
)

// quantity is what a number measures, in its stored unit.
type quantity int

// The quantities of the bench. Span is a difference of temperatures.
const (
	unitless quantity = iota
	psi
	tempC
	spanK
	seconds
	minutes
	grams
	ml
	mm
	turns
	watts
	litres
)

// unitOf is the unit of a quantity that a house writes in one way.
var unitOf = map[quantity]string{minutes: "min", grams: "g", ml: "mL", mm: "mm", turns: "turns", watts: "W", litres: "L"}

// Where a usual range comes from. None is a limit of a standard; the maker's
// instructions come first.
const (
	practice  = "common practice, no source"
	houseSays = "house default"
	taught    = "published teaching value"
)

// Usual is the range that a number usually lies in. Outside it the number is asked
// about once; it is not refused.
type Usual struct {
	Key       string // act or table and field, as in press-at.pressure_psi
	Words     string
	Low, High float64 // in the stored unit
	Of        quantity
	Source    string
	Zero      bool // 0 stands for "not given", "none" or "as the house has it"
}

// usual is the one table of usual ranges. Those of the actions stand first, then the
// settings, then what is worked out of several numbers.
var usual = []Usual{
	{"coat.dry_min_s", "separator dries at least", 300, 3600, seconds, practice, true},
	{"coat.dry_max_s", "separator dries at most", 600, 86400, seconds, houseSays, true},
	{"mix.powder_g", "powder", 2, 500, grams, houseSays, true},
	{"mix.liquid_g", "liquid", 1, 250, grams, houseSays, true},
	{"mix.room_c", "room temperature", 15, 32, tempC, houseSays, true},
	{"mix.jar_c", "temperature of the refrigerator", -25, 15, tempC, houseSays, true},
	{"mix.dough_s", "dough expected after", 60, 3 * 3600, seconds, houseSays, true},
	{"mix.work_s", "workable until", 300, 8 * 3600, seconds, houseSays, true},
	{"press-at.pressure_psi", "pressure", 1000, 5000, psi, practice, true},
	{"press-at.hold_s", "hold at pressure", 30, 900, seconds, practice, true},
	{"metal-to-metal.pressure_psi", "pressure of the final closure", 1000, 5000, psi, practice, true},
	{"flash.grams", "flash weighed", 0.01, 80, grams, houseSays, true},
	{"flash-more.grams", "flash weighed", 0.01, 80, grams, houseSays, true},
	{"clamp.backed_off_turn", "clamp backed off", 0, 1, turns, practice, true},
	{"clamp.bench_min_s", "bench set at least", 600, 4 * 3600, seconds, taught, true},
	{"clamp.bench_max_s", "bench set at most", 1200, 86400, seconds, houseSays, true},
	{"bath-load.bath_c", "bath when the flasks go in", 10, 101, tempC, houseSays, true},
	{"bath-load.max_s", "longest stay in the bath", 3600, 2 * 86400, seconds, houseSays, true},
	{"bath-load.stages.temp_c", "temperature of a hold", 60, 101, tempC, taught, false},
	{"bath-load.stages.ramp_s", "ramp", 0, 3 * 3600, seconds, houseSays, true},
	{"bath-load.stages.hold_s", "hold in the bath", 900, 86400, seconds, taught, false},
	{"case-step.min_s", "step lasts at least", 5, 14 * 86400, seconds, houseSays, true},
	{"case-step.aim_s", "aim of a step", 5, 14 * 86400, seconds, houseSays, true},
	{"case-step.max_s", "step lasts at most", 5, 14 * 86400, seconds, houseSays, true},
	{"case-delivered.wet_h", "hours in water", 1, 336, unitless, houseSays, true},
	{"bath-load.sections.thin_mm", "thinnest resin", 1, 8, mm, houseSays, false},
	{"bath-load.sections.thick_mm", "thickest resin", 1, 15, mm, houseSays, false},
	{"bath-reading.temp_c", "bath temperature", 5, 102, tempC, houseSays, false},
	{"bath-unload.bench_s", "cooling on the bench", 600, 86400, seconds, practice, true},
	{"cool-water.water_s", "cooling in water", 300, 2 * 3600, seconds, practice, true},
	{"remount.pin_mm", "pin opening", 0, 3, mm, houseSays, false},
	{"equip-in.rated_psi", "rated load", 2000, 10000, psi, houseSays, true},
	{"equip-in.scale_psi", "end of the scale", 30, 15000, psi, houseSays, true},
	{"equip-in.class_pct", "class of the gauge, per cent", 0.1, 4, unitless, "EN 837-1, as quoted by makers of gauges", true},
	{"equip-in.litres", "water in it", 1, 100, litres, houseSays, true},
	{"equip-in.every_days", "days between", 1, 400, unitless, houseSays, true},
	{"equip-check.ice_c", "reading in ice", -5, 5, tempC, houseSays, false},
	{"equip-check.boil_c", "reading in boiling water", 82, 105, tempC, houseSays, false},
	{"equip-check.air_hpa", "air pressure, hPa", 550, 1060, unitless, houseSays, true},
	{"equip-check.read_c", "reading", 0, 105, tempC, houseSays, false},
	{"equip-check.against_c", "reading of the other", 0, 105, tempC, houseSays, false},
	{"equip-check.read_psi", "reading", 15, 10000, psi, houseSays, false},
	{"equip-check.against_psi", "reading of the other", 15, 10000, psi, houseSays, false},
	{"timer-start.min_s", "timer, not before", 5, 86400, seconds, houseSays, true},
	{"timer-start.aim_s", "timer, aim", 5, 86400, seconds, houseSays, true},
	{"timer-start.max_s", "timer, not after", 5, 86400, seconds, houseSays, true},
	{"alarm-shelve.for_s", "alarm snoozed for", 60, 3600, seconds, houseSays, false},

	{"crew_idle_s", "ask who is here after", 60, 2 * 3600, seconds, houseSays, true},
	{"separator.dry_min_s", "separator dries at least", 300, 3600, seconds, practice, false},
	{"separator.dry_max_s", "separator dries at most", 600, 86400, seconds, houseSays, true},
	{"press.presses", "presses", 1, 6, unitless, houseSays, false},
	{"press.hands", "pairs of hands", 1, 6, unitless, houseSays, false},
	{"press.pressure_psi", "pressure at trial closures", 1000, 5000, psi, practice, false},
	{"press.final_psi", "pressure of the final closure", 1000, 5000, psi, practice, true},
	{"press.max_psi", "rated load of the weakest of press, flask and clamp", 2000, 10000, psi, houseSays, true},
	{"press.hold_s", "hold at pressure", 30, 900, seconds, practice, false},
	{"press.min_trials", "minimum number of trial closures", 1, 6, unitless, practice, false},
	{"press.back_off_turn", "clamp backed off", 0, 1, turns, practice, false},
	{"work.raise_s", "into the press and up to pressure", 5, 300, seconds, houseSays, false},
	{"work.open_s", "press down, flask open, flash judged", 5, 300, seconds, houseSays, false},
	{"work.trim_s", "trim and new sheet", 10, 900, seconds, houseSays, false},
	{"work.final_s", "final closure", 10, 900, seconds, houseSays, false},
	{"work.mix_s", "weigh and stir a mix", 10, 900, seconds, houseSays, false},
	{"bench_set.min_s", "bench set at least", 600, 4 * 3600, seconds, taught, false},
	{"bench_set.max_s", "bench set at most", 1200, 86400, seconds, houseSays, true},
	{"cooling.bench_s", "cooling on the bench", 600, 86400, seconds, practice, false},
	{"cooling.water_s", "cooling in water", 300, 2 * 3600, seconds, practice, false},
	{"remount.pin_limit_mm", "warn about a pin opening from", 0.2, 3, mm, practice, true},
	{"alarms.high_s", "high alarms sound again after", 10, 600, seconds, houseSays, false},
	{"alarms.medium_s", "medium alarms sound again after", 10, 1800, seconds, houseSays, false},
	{"alarms.low_s", "low alarms sound again after", 10, 3600, seconds, houseSays, false},
	{"alarms.shelve_s", "snooze time of an alarm", 60, 3600, seconds, houseSays, false},
	{"alarms.warn_s", "warning before the end of a window", 30, 3600, seconds, houseSays, false},
	{"backup.keep", "days of backups kept", 1, 60, unitless, houseSays, false},
	{"flash.none_below_g", "grams below which flash is none", 0.02, 1, grams, houseSays, false},
	{"flash.heavy_above_g", "grams above which flash is heavy", 0.2, 10, grams, houseSays, false},
	{"flash.floor_g", "film that flash never falls below", 0.01, 3, grams, houseSays, true},
	{"flash.grade_sd", "noise of a grade", 0.15, 1.2, unitless, houseSays, false},
	{"flash.weigh_sd", "noise of a weighed trim", 0.05, 0.8, unitless, houseSays, false},
	{"flash.prior.*.first_g", "flash at the first trial closure", 0.5, 80, grams, houseSays, false},
	{"flash.prior.*.first_sd", "spread of the first flash", 0.1, 1.2, unitless, houseSays, false},
	{"flash.prior.*.kept", "flash kept from one closure to the next", 0.05, 0.9, unitless, houseSays, false},
	{"flash.prior.*.kept_sd", "spread of the flash kept", 0.05, 0.8, unitless, houseSays, false},
	{"plan.lunch_s", "the break", 600, 5400, seconds, houseSays, true},
	{"plan.bath_places", "flasks in a bath", 1, 24, unitless, houseSays, true},
	{"plan.coat_s", "separator on both halves", 60, 1200, seconds, practice, true},
	{"plan.bath_in_s", "a load put in", 60, 1200, seconds, houseSays, true},
	{"plan.bath_out_s", "a load taken out", 60, 1200, seconds, houseSays, true},
	{"plan.finish_s", "from deflasking to finished", 600, 4 * 3600, seconds, practice, true},
	{"plan.clean_s", "a mould cleaned of lost dough", 300, 3600, seconds, houseSays, true},
	{"plan.rush_weight", "how much more a rush case counts", 1, 10, unitless, houseSays, true},
	{"plan.cost_late", "points for a late case", 1, 100, unitless, houseSays, true},
	{"plan.cost_late_hour", "points for each hour late", 0.1, 20, unitless, houseSays, true},
	{"plan.cost_lost_dough", "points for a lost dough", 0.1, 50, unitless, houseSays, true},
	{"plan.cost_overtime_hour", "points for an hour of overtime", 0.1, 50, unitless, houseSays, true},
	{"plan.cost_mix", "points for a mix", 0.01, 20, unitless, houseSays, true},
	{"plan.cost_day_programme", "points for a flask in the day programme", 0.01, 20, unitless, houseSays, true},
	{"place.altitude_m", "height of the place, m", 1, 4500, unitless, houseSays, true},
	{"place.air_hpa", "air pressure of the place, hPa", 550, 1060, unitless, houseSays, true},
	{"baths.litres", "water in the bath", 3, 100, litres, houseSays, false},
	{"baths.heater_w", "heater of the bath", 200, 6000, watts, houseSays, false},
	{"baths.band_k", "band about the programme", 0.5, 6, spanK, houseSays, true},
	{"baths.silent_s", "probe silent for", 90, 1800, seconds, houseSays, true},
	{"programmes.stages.temp_c", "temperature of a hold", 60, 101, tempC, taught, false},
	{"programmes.stages.ramp_s", "ramp", 0, 3 * 3600, seconds, houseSays, true},
	{"programmes.stages.hold_s", "hold in the bath", 900, 86400, seconds, taught, false},
	{"programmes.max_s", "longest stay in the bath", 3600, 2 * 86400, seconds, houseSays, true},
	{"pots", "pressure pots", 1, 6, unitless, houseSays, true},
	{"ovens", "ovens", 1, 6, unitless, houseSays, true},
	{"routes.steps.min_s", "step lasts at least", 5, 14 * 86400, seconds, houseSays, true},
	{"routes.steps.aim_s", "aim of a step", 5, 14 * 86400, seconds, houseSays, true},
	{"routes.steps.max_s", "step lasts at most", 5, 14 * 86400, seconds, houseSays, true},
	{"routes.steps.hands_s", "step keeps the hands for", 10, 2 * 3600, seconds, houseSays, true},
	{"resins.ratio", "powder to liquid", 1.5, 4.5, unitless, practice, false},
	{"resins.powder_bulk_g_per_cc", "poured powder", 0.5, 0.95, unitless, houseSays, false},
	{"resins.polymer_g_per_cc", "density of the beads", 1.1, 1.3, unitless, houseSays, false},
	{"resins.liquid_g_per_ml", "density of the liquid", 0.9, 1.02, unitless, houseSays, false},
	{"resins.unit_liquid_ml", "liquid in one unit", 3, 60, ml, houseSays, false},
	{"resins.ref_temp_c", "temperature that the resin's times are for", 18, 30, tempC, houseSays, false},
	{"resins.dough_from_min", "dough reached after", 1, 40, minutes, practice, false},
	{"resins.work_until_min", "too stiff after", 5, 180, minutes, practice, false},
	{"resins.q10", "times faster in a room 10 K warmer", 1.2, 3.5, unitless, houseSays, false},
	{"resins.warm_tau_min", "a jar warms in", 5, 180, minutes, houseSays, false},
	{"resins.dough_ln_sd", "spread of the dough time", 0.02, 0.7, unitless, houseSays, false},
	{"resins.work_ln_sd", "spread of the working time", 0.02, 0.7, unitless, houseSays, false},
	{"resins.mix_ln_sd", "spread from mix to mix", 0.02, 0.7, unitless, houseSays, false},
	{"resins.q10_ln_sd", "spread of the temperature factor", 0.02, 0.7, unitless, houseSays, false},

	{"mix.ratio", "powder to liquid by mass", 1.5, 3.5, unitless, practice, false},
	{"programme.length_s", "the whole programme", 3600, 86400, seconds, taught, false},
}

var usualByKey = sync.OnceValue(func() map[string]Usual {
	m := map[string]Usual{}
	for _, u := range usual {
		m[u.Key] = u
	}
	return m
})

// counted are numbers that name or count things, or that the program writes itself:
// they have no usual range, the bench knows which there are.
var counted = map[string]bool{
	"flask": true, "made": true, "flasks": true, "place": true, "mix": true, "load": true, "press": true, "bath": true, "timer": true,
	"by_s": true, "marks_behind": true, "people": true, "presses": true, "gate_min": true, "late_percent": true,
	"off": true, "keys": true, "value": true,
}

// UsualOf gives the usual range of a number by its key; ok is false for one that has
// none.
func UsualOf(key string) (u Usual, ok bool) {
	if rest, is := strings.CutPrefix(key, "flash.prior."); is {
		if _, field, two := strings.Cut(rest, "."); two {
			key = "flash.prior.*." + field
		}
	}
	u, ok = usualByKey()[key]
	return u, ok
}

// Counted tells whether a number names or counts something, so that it has no usual
// range.
func Counted(key string) bool { return counted[key[strings.LastIndexByte(key, '.')+1:]] }

// IsTemperature tells whether the number is a temperature, and not a span of them.
func (u Usual) IsTemperature() bool { return u.Of == tempC }

// Has tells whether a number lies in the range, or stands for none.
func (u Usual) Has(v float64) bool {
	return u.Zero && v == 0 || v >= u.Low-1e-9 && v <= u.High+1e-9
}

// With is the range made wide enough for what the house itself has.
func (u Usual) With(v float64) Usual {
	if v == 0 && u.Zero || math.IsNaN(v) {
		return u
	}
	u.Low, u.High = min(u.Low, v), max(u.High, v)
	return u
}

// Show writes a number in the units of the house.
func (u Usual) Show(v float64, in Units) string {
	switch u.Of {
	case psi:
		return units.FormatPressure(v, in.Pressure)
	case tempC:
		return units.FormatTemp(v, in.Temperature)
	case spanK:
		return units.FormatTempSpan(v, in.Temperature)
	case seconds:
		return units.FormatDuration(time.Duration(v) * time.Second)
	}
	return strings.TrimSpace(strconv.FormatFloat(v, 'g', 5, 64) + " " + unitOf[u.Of])
}

// Outside is the question about a number outside its range, in the units of the house;
// where the same number in another unit lies inside, it says so.
func (u Usual) Outside(v float64, in Units) string {
	s := fmt.Sprintf("%s %s is outside the usual %s to %s", u.Words, u.Show(v, in), u.Show(u.Low, in), u.Show(u.High, in))
	if typed, stored := u.Other(v, in); typed != "" {
		s += fmt.Sprintf(" (%s would be %s)", typed, u.Show(stored, in))
	}
	return s
}

// Other reads a number given in the house's unit as one in another unit, where it lies
// inside the range there: typed is it with that unit, stored its value in the stored unit. typed
// is "" where there is no such unit.
func (u Usual) Other(v float64, in Units) (typed string, stored float64) {
	if u.Has(v) {
		return "", 0
	}
	number := func(x float64) string { return strconv.FormatFloat(math.Round(x*1e4)/1e4, 'f', -1, 64) }
	switch u.Of {
	case psi:
		n := in.Pressure.FromPSI(v)
		for _, other := range []units.PressureUnit{units.PSI, units.Bar, units.MPa} {
			if psi := other.ToPSI(n); other != in.Pressure && u.Has(psi) {
				return number(n) + " " + string(other), psi
			}
		}
	case tempC:
		n := in.Temperature.FromC(v)
		for _, other := range []units.TempUnit{units.Celsius, units.Fahrenheit} {
			if c := other.ToC(n); other != in.Temperature && u.Has(c) {
				return number(n) + " °" + string(other), c
			}
		}
	}
	return "", 0
}
