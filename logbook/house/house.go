// Package house holds the house settings: the times, pressures, programmes and
// resins that a laboratory works by. They live in the logbook as records; every
// flask keeps the values it was worked under. The defaults are common practice
// without a source unless a field says otherwise, and the maker's instructions
// come first. Stored units: seconds, psi, °C, grams, millimetres.
package house

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"flaskside/logbook/flash"
	"flaskside/logbook/route"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/cure"
	"flaskside/timers/dough"
	"flaskside/timers/each"
)

// House is all settings. The comments stand in the exported file too.
type House struct {
	Lab        string              `json:"lab,omitempty" toml:"lab" comment:"name of the laboratory, for the day sheet"`
	Crew       []string            `json:"crew,omitempty" toml:"crew" comment:"initials of those who work here, chosen by number on the bench"`
	People     []Person            `json:"people,omitempty" toml:"people" comment:"who may do what at a screen, by their initials; nobody named: everybody all. Whoever is not named looks only"`
	Cases      string              `json:"case_numbers,omitempty" toml:"case_numbers" comment:"what a case number looks like, a regular expression that all of it fits, as in 'K-\\d{4}';\n'': at most 12 characters, at least one digit, no blank. Outside it the number is asked about: no name belongs there"`
	NoNotes    bool                `json:"take_no_notes,omitempty" toml:"take_no_notes" comment:"true: the bench records no notes, remarks or reasons in words of your own, so that none can leave the house\n(see mirror.no_notes, which records them and keeps them out of the mirror)"`
	CrewIdleS  int                 `json:"crew_idle_s,omitempty" toml:"crew_idle_s" comment:"ask who is at the bench after so long without a key; 0: never"`
	Units      Units               `json:"units" toml:"units"`
	Separator  separator           `json:"separator" toml:"separator" comment:"separator (common practice, no source: 10 to 15 min drying)"`
	Press      pressWork           `json:"press" toml:"press" comment:"press (common practice, no source: 3000 psi on the gauge, hold 1 to 2 min,\n2 to 3 trial closures as a rule, about 6 for a very large base, clamp backed off a quarter turn)"`
	Work       Work                `json:"work" toml:"work" comment:"durations the press order reckons with (house defaults until the book has taught better)"`
	BenchSet   benchSet            `json:"bench_set" toml:"bench_set" comment:"bench set after the final closure (published teaching value: 30 to 60 min)"`
	Cooling    cooling             `json:"cooling" toml:"cooling" comment:"cooling (common practice, no source: 30 min on the bench, then 15 min in tap water)"`
	Remount    RemountRule         `json:"remount,omitzero" toml:"remount" comment:"the check back on the articulator"`
	Alarms     alarms              `json:"alarms" toml:"alarms" comment:"alarms (house defaults)"`
	Backup     Backup              `json:"backup" toml:"backup" comment:"a backup each day, when the bench is left or at an hour (house defaults)"`
	Mirror     Mirror              `json:"mirror,omitzero" toml:"mirror" comment:"a copy of every record elsewhere, see flaskside mirror"`
	Flash      flash.TrendSettings `json:"flash" toml:"flash" comment:"the flash trend (house defaults, invented so that they agree with common practice, until the book\nhas taught better; not published figures)"`
	Plan       Planning            `json:"plan,omitzero" toml:"plan" comment:"the day plan, \"flaskside plan\" (common practice, no source, or invented; 0 and '' stand for the house default named)"`
	Place      Site                `json:"place,omitzero" toml:"place" comment:"where the baths stand: high up water boils cooler, and so does monomer. Give one of the two; 0 for neither"`
	Baths      []Bath              `json:"baths" toml:"baths"`
	Programmes []Programme         `json:"programmes" toml:"programmes" comment:"programmes by the lab's own names: stages of °C, hold and the ramp that leads to them\n(published teaching cycles; the resin maker's cycle comes first)"`
	Pots       int                 `json:"pots,omitempty" toml:"pots" comment:"how many pressure pots; 0 for 1. Where all of them are closed, a further case for the pot is asked about"`
	Ovens      int                 `json:"ovens,omitempty" toml:"ovens" comment:"how many ovens; 0 for 1"`
	Resins     []dough.Resin       `json:"resins" toml:"resins" comment:"resins by the lab's own names (times are estimates at ref_temp_c; common practice, no source:\nworked within 45 min of mixing at about 23 °C)"`
	Routes     []route.Route       `json:"routes,omitempty" toml:"routes,omitempty" comment:"ways of work, step by step: those that the house changed, and its own. 'flaskside routes' lists all and prints\nthose of the program with what each value rests on. In a file, give the name of a route and of a step and what is to\nchange of it; off = true switches a step off, so that it costs no key; anew = true says that a route is written whole"`
}

// Units in which people read and type; stored values never change.
type Units struct {
	Pressure    units.PressureUnit `json:"pressure" toml:"pressure" comment:"psi, bar or MPa"`
	Temperature units.TempUnit     `json:"temperature" toml:"temperature" comment:"C or F"`
}

// separator drying.
type separator struct {
	DryMinS int `json:"dry_min_s" toml:"dry_min_s" comment:"not before"`
	DryMaxS int `json:"dry_max_s" toml:"dry_max_s" comment:"not after; 0 for none"`
}

// pressWork work.
type pressWork struct {
	Presses     int     `json:"presses" toml:"presses" comment:"how many presses"`
	Hands       int     `json:"hands" toml:"hands" comment:"how many pairs of hands"`
	PressurePSI float64 `json:"pressure_psi" toml:"pressure_psi" comment:"on the gauge, at trial closures; never above max_psi"`
	FinalPSI    float64 `json:"final_psi,omitempty" toml:"final_psi" comment:"at the final closure, metal to metal; 0: as pressure_psi"`
	MaxPSI      float64 `json:"max_psi,omitempty" toml:"max_psi" comment:"rated load of the weakest of press, flask and clamp; 0: not set, ask the maker. Above it nothing is recorded"`
	HoldS       int     `json:"hold_s" toml:"hold_s" comment:"how long at pressure"`
	MinTrials   int     `json:"min_trials" toml:"min_trials" comment:"minimum number of trial closures"`
	Grade       string  `json:"grade" toml:"grade" comment:"flash allowed at the last trial: none or slight"`
	BackOffTurn float64 `json:"back_off_turn" toml:"back_off_turn" comment:"clamp backed off, turns; as the clamp's maker says"`
}

// Final is the pressure of the final closure, in psi.
func (p pressWork) Final() float64 {
	return cmp.Or(p.FinalPSI, p.PressurePSI)
}

// RemountRule is what the house asks at the check back on the articulator.
type RemountRule struct {
	PinLimitMM float64 `json:"pin_limit_mm,omitempty" toml:"pin_limit_mm" comment:"a larger pin opening is pointed out before the outcome, mm; 0 for 1 (common practice, no source)"`
}

// defaultPinMM is the pin opening above which it is told (common practice, no source).
const defaultPinMM = 1

// PinLimit is the pin opening above which it is told, in mm.
func (r RemountRule) PinLimit() float64 {
	return cmp.Or(r.PinLimitMM, defaultPinMM)
}

// Work is how long the work at press and bench takes, in seconds: what the press
// order reckons with.
type Work struct {
	RaiseS int `json:"raise_s" toml:"raise_s" comment:"into the press and up to pressure"`
	OpenS  int `json:"open_s" toml:"open_s" comment:"press down, flask open, flash judged"`
	TrimS  int `json:"trim_s" toml:"trim_s" comment:"trim and new sheet"`
	FinalS int `json:"final_s" toml:"final_s" comment:"final closure, sheet out to clamped"`
	MixS   int `json:"mix_s" toml:"mix_s" comment:"weigh and stir a mix"`
}

// benchSet is the rest under the clamp.
type benchSet struct {
	MinS int `json:"min_s" toml:"min_s"`
	MaxS int `json:"max_s" toml:"max_s" comment:"0 for none"`
}

// cooling after the bath.
type cooling struct {
	BenchS int `json:"bench_s" toml:"bench_s"`
	WaterS int `json:"water_s" toml:"water_s"`
}

// alarms: how soon an unacknowledged one sounds again, and how long the shelf is.
type alarms struct {
	HighS   int `json:"high_s" toml:"high_s" comment:"unacknowledged high alarms sound again after"`
	MediumS int `json:"medium_s" toml:"medium_s"`
	LowS    int `json:"low_s" toml:"low_s"`
	ShelveS int `json:"shelve_s" toml:"shelve_s" comment:"how long an alarm is snoozed"`
	WarnS   int `json:"warn_s" toml:"warn_s" comment:"warning before the end of a timer"`
}

// Backup is the daily copy of the logbook.
type Backup struct {
	Keep   int    `json:"keep" toml:"keep" comment:"backups of so many of the last days are kept; 0 for none"`
	At     string `json:"at,omitempty" toml:"at" comment:"the hour at which the day's backup is made while the bench runs, as in 18:30; \"\" for only when it is left"`
	Folder string `json:"folder" toml:"folder" comment:"where: a whole path, best on another disk, or a folder beside the logbook"`
}

const hourMinute = "15:04"

// Due tells whether the hour of the backup has come since an instant, on the clock of
// now; where no hour is set, never.
func (b Backup) Due(since, now time.Time) bool {
	at, err := time.Parse(hourMinute, b.At)
	if err != nil || b.Keep < 1 {
		return false
	}
	y, m, d := now.Date()
	hour := time.Date(y, m, d, at.Hour(), at.Minute(), 0, 0, now.Location())
	if hour.After(now) {
		hour = time.Date(y, m, d-1, at.Hour(), at.Minute(), 0, 0, now.Location())
	}
	return hour.After(since)
}

// Site is how high the laboratory lies, or what its barometer shows.
type Site struct {
	AltitudeM float64 `json:"altitude_m,omitempty" toml:"altitude_m" comment:"above the sea, metres"`
	AirHPa    float64 `json:"air_hpa,omitempty" toml:"air_hpa" comment:"what a barometer on the wall shows, hPa, not brought down to the sea"`
}

// Air is the pressure of the air there; 0 where it is not given. What is not valid gives 0.
func (p Site) Air() cure.Air {
	switch {
	case p.AirHPa != 0 && cure.Air(p.AirHPa).Valid() == nil:
		return cure.Air(p.AirHPa)
	case p.AltitudeM != 0:
		a, err := cure.AtAltitude(p.AltitudeM)
		if err == nil {
			return a
		}
	}
	return 0
}

func (p Site) valid() error {
	if p.AltitudeM != 0 && p.AirHPa != 0 {
		return errors.New("settings: place: give altitude_m or air_hpa, not both")
	}
	if _, err := cure.AtAltitude(p.AltitudeM); err != nil {
		return fmt.Errorf("settings: place.altitude_m must be %d to %d m, not %g", cure.MinAltitudeM, cure.MaxAltitudeM, p.AltitudeM)
	}
	if err := cure.Air(p.AirHPa).Valid(); err != nil {
		return fmt.Errorf("settings: place.air_hpa must be %d to %d hPa, as a barometer on the wall of the room shows it, or 0, not %g", cure.MinAirHPa, cure.MaxAirHPa, p.AirHPa)
	}
	return nil
}

// Bath is one water bath.
type Bath struct {
	Name    string  `json:"name" toml:"name"`
	Litres  float64 `json:"litres" toml:"litres"`
	HeaterW float64 `json:"heater_w" toml:"heater_w"`
	BandK   float64 `json:"band_k,omitempty" toml:"band_k" comment:"a reading farther off the programme than this, in kelvin, raises an alarm; 0 for 2"`
	SilentS int     `json:"silent_s,omitempty" toml:"silent_s" comment:"a probe that reads nothing for longer raises an alarm; 0 for 5 min"`
}

// Band is how far a reading may lie off the programme, in kelvin.
func (b Bath) Band() float64 {
	return cmp.Or(b.BandK, cure.DefaultBandK)
}

// Silent is how long a probe may read nothing.
func (b Bath) Silent() time.Duration {
	if b.SilentS == 0 {
		return cure.DefaultSilent
	}
	return time.Duration(b.SilentS) * time.Second
}

// Programme is a cure by the lab's own name.
type Programme struct {
	Name   string  `json:"name" toml:"name"`
	Stages []Stage `json:"stages" toml:"stages"`
	MaxS   int     `json:"max_s" toml:"max_s" comment:"longest stay in all; 0 for none"`
}

// Stage of a programme: a ramp to a temperature, then a hold there.
type Stage struct {
	TempC float64 `json:"temp_c" toml:"temp_c"`
	RampS int     `json:"ramp_s,omitempty" toml:"ramp_s,omitempty"`
	HoldS int     `json:"hold_s" toml:"hold_s"`
}

// Cure is the programme as package cure takes it. It is not validated: a hold of
// less than a minute, which a house may have, is refused there.
func (p Programme) Cure() cure.Programme {
	out := cure.Programme{Name: p.Name, Stages: make([]cure.Stage, len(p.Stages))}
	for i, s := range p.Stages {
		out.Stages[i] = cure.Stage{TempC: s.TempC, Hold: time.Duration(s.HoldS) * time.Second, Ramp: time.Duration(s.RampS) * time.Second}
	}
	return out
}

// notation writes the stages as they are typed, "165F 9h": in degrees Fahrenheit, or
// Celsius, as the house reads them.
func (p Programme) notation(in units.TempUnit) string {
	return p.Cure().NotationIn(in == units.Fahrenheit)
}

// LengthS is the length of all stages in seconds.
func LengthS(stages []Stage) int {
	n := 0
	for _, s := range stages {
		n += s.RampS + s.HoldS
	}
	return n
}

// Default is common practice, to be changed to the house's own.
func Default() House {
	h := func(hours float64) int { return int(hours * 3600) }
	return House{
		Units:     Units{"psi", "C"},
		Separator: separator{DryMinS: 600},
		Press:     pressWork{Presses: 1, Hands: 1, PressurePSI: 3000, HoldS: 60, MinTrials: 2, Grade: "slight", BackOffTurn: 0.25},
		Work:      Work{RaiseS: 42, OpenS: 18, TrimS: 90, FinalS: 120, MixS: 180},
		Flash:     flash.HouseDefaults(),
		BenchSet:  benchSet{MinS: 1800, MaxS: 3600},
		Cooling:   cooling{BenchS: 1800, WaterS: 900},
		Alarms:    alarms{HighS: 30, MediumS: 90, LowS: 300, ShelveS: 300, WarnS: 300},
		Backup:    Backup{Keep: 7, Folder: "backups"},
		Baths:     []Bath{{Name: "bath 1", Litres: 10, HeaterW: 1000, BandK: cure.DefaultBandK, SilentS: int(cure.DefaultSilent / time.Second)}},
		Programmes: []Programme{
			{"long, 9 h", []Stage{{TempC: 74, HoldS: h(9)}}, h(12)},
			{"long and boil", []Stage{{TempC: 74, HoldS: h(8)}, {TempC: 100, RampS: h(0.5), HoldS: h(1)}}, h(12)},
			{"short and boil", []Stage{{TempC: 74, HoldS: h(2)}, {TempC: 100, RampS: h(0.5), HoldS: h(1)}}, h(6)},
			{"quick and boil", []Stage{{TempC: 73, HoldS: h(1.5)}, {TempC: 100, RampS: h(0.5), HoldS: h(0.5)}}, h(5)},
		},
		Resins: []dough.Resin{dough.HouseDefault()},
	}
}

// validity keeps the first thing that is wrong with settings.
type validity struct{ err error }

func (v *validity) check(ok bool, format string, a ...any) {
	if v.err == nil && !ok {
		v.err = fmt.Errorf(format, a...)
	}
}

// within takes what a part says of itself.
func (v *validity) within(part string, err error) { v.check(err == nil, "%s: %w", part, err) }

func (v *validity) in(name string, is, lo, hi float64) {
	v.check(!math.IsNaN(is) && is >= lo && is <= hi, "settings: %s must be %g to %g, not %g", name, lo, hi, is)
}

func (v *validity) sec(name string, is, lo int) { v.in(name, float64(is), float64(lo), 14*24*3600) }

func (v *validity) label(name, s string, most int) {
	v.check(strings.TrimSpace(s) != "" && utf8.RuneCountInString(s) <= most && words.Plain(s), "settings: %s must be 1 to %d plain characters, not %s", name, most, words.Quoted(s))
}

// Valid says what is wrong with the settings, if anything.
func (h House) Valid() error {
	var v validity
	v.check(utf8.RuneCountInString(h.Lab) <= 60 && words.Plain(h.Lab), "settings: lab has at most 60 plain characters")
	v.check(len(h.Crew) <= 40, "settings: crew has at most 40 entries")
	for _, c := range h.Crew {
		v.label("crew", c, 8)
	}
	v.people(h.People)
	v.sec("crew_idle_s", h.CrewIdleS, 0)
	v.check(h.Units.Pressure == "psi" || h.Units.Pressure == "bar" || h.Units.Pressure == "MPa", "settings: units.pressure must be psi, bar or MPa, not %s", words.Quoted(h.Units.Pressure))
	v.check(h.Units.Temperature == "C" || h.Units.Temperature == "F", "settings: units.temperature must be C or F, not %s", words.Quoted(h.Units.Temperature))
	v.sec("separator.dry_min_s", h.Separator.DryMinS, 0)
	v.sec("separator.dry_max_s", h.Separator.DryMaxS, 0)
	v.check(h.Separator.DryMaxS == 0 || h.Separator.DryMaxS >= h.Separator.DryMinS, "settings: separator.dry_max_s is before dry_min_s")
	v.in("press.presses", float64(h.Press.Presses), 1, 9)
	v.in("press.hands", float64(h.Press.Hands), 1, 9)
	v.in("press.pressure_psi", h.Press.PressurePSI, 1, 20000)
	v.in("press.final_psi", h.Press.FinalPSI, 0, 20000)
	v.in("press.max_psi", h.Press.MaxPSI, 0, 20000)
	if m := h.Press.MaxPSI; m > 0 {
		psi := func(v float64) string { return units.FormatPressure(v, h.Units.Pressure) }
		v.check(h.Press.PressurePSI <= m, "settings: press.pressure_psi is %s, above the rated load press.max_psi %s", psi(h.Press.PressurePSI), psi(m))
		v.check(h.Press.FinalPSI <= m, "settings: press.final_psi is %s, above the rated load press.max_psi %s", psi(h.Press.FinalPSI), psi(m))
	}
	v.sec("press.hold_s", h.Press.HoldS, 1)
	v.in("press.min_trials", float64(h.Press.MinTrials), 1, 20)
	v.check(h.Press.Grade == "none" || h.Press.Grade == "slight", "settings: press.grade must be none or slight, not %s", words.Quoted(h.Press.Grade))
	for _, w := range []struct {
		name string
		s    int
	}{{"raise_s", h.Work.RaiseS}, {"open_s", h.Work.OpenS}, {"trim_s", h.Work.TrimS}, {"final_s", h.Work.FinalS}, {"mix_s", h.Work.MixS}} {
		v.in("work."+w.name, float64(w.s), 0, 3600)
	}
	v.within("settings: flash", h.Flash.Validate())
	v.in("press.back_off_turn", h.Press.BackOffTurn, 0, 4)
	v.sec("bench_set.min_s", h.BenchSet.MinS, 0)
	v.sec("bench_set.max_s", h.BenchSet.MaxS, 0)
	v.check(h.BenchSet.MaxS == 0 || h.BenchSet.MaxS >= h.BenchSet.MinS, "settings: bench_set.max_s is before min_s")
	v.sec("cooling.bench_s", h.Cooling.BenchS, 0)
	v.sec("cooling.water_s", h.Cooling.WaterS, 0)
	v.in("remount.pin_limit_mm", h.Remount.PinLimitMM, 0, 20)
	v.err = cmp.Or(v.err, ValidCases(h.Cases))
	v.sec("alarms.high_s", h.Alarms.HighS, 5)
	v.sec("alarms.medium_s", h.Alarms.MediumS, 5)
	v.sec("alarms.low_s", h.Alarms.LowS, 5)
	v.in("alarms.shelve_s", float64(h.Alarms.ShelveS), 10, 24*3600)
	v.sec("alarms.warn_s", h.Alarms.WarnS, 0)
	v.in("backup.keep", float64(h.Backup.Keep), 0, 1000)
	if h.Backup.Keep > 0 {
		v.label("backup.folder", h.Backup.Folder, 200)
	}
	_, noHour := time.Parse(hourMinute, h.Backup.At)
	v.check(h.Backup.At == "" || noHour == nil, "settings: backup.at must be an hour of the day, as in 18:30, or empty, not %s", words.Quoted(h.Backup.At))
	v.err = cmp.Or(v.err, h.Place.valid(), h.Plan.valid(h.Programmes), h.Mirror.valid())
	v.check(len(h.Baths) >= 1 && len(h.Baths) <= 9, "settings: give 1 to 9 baths, not %d", len(h.Baths))
	v.in("pots", float64(h.Pots), 0, 20)
	v.in("ovens", float64(h.Ovens), 0, 20)
	v.within("settings", route.Valid(h.Routes))
	v.lists(h)
	return v.err
}

// lists holds the baths, programmes and resins.
func (v *validity) lists(h House) {
	for _, b := range h.Baths {
		v.label("baths.name", b.Name, 40)
		v.in("baths.litres", b.Litres, 1, 1000)
		v.in("baths.heater_w", b.HeaterW, 0, 50000)
		v.in("baths.band_k", b.BandK, 0, 50)
		v.check(b.BandK == 0 || b.BandK >= 0.2, "settings: baths.band_k must be 0.2 to 50 kelvin, or 0 for 2, not %g", b.BandK)
		v.in("baths.silent_s", float64(b.SilentS), 0, 24*3600)
		v.check(b.SilentS == 0 || b.SilentS >= 90, "settings: baths.silent_s must be 90 seconds to a day, or 0 for 300, not %d", b.SilentS)
	}
	v.check(len(h.Programmes) >= 1 && len(h.Programmes) <= 40, "settings: give 1 to 40 programmes, not %d", len(h.Programmes))
	seen := map[string]bool{}
	for _, p := range h.Programmes {
		v.label("programmes.name", p.Name, 60)
		v.check(!seen["p"+p.Name], "settings: two programmes are called %q", p.Name)
		seen["p"+p.Name] = true
		v.within(fmt.Sprintf("settings: programme %q", p.Name), ValidStages(p.Stages))
		v.sec("programmes.max_s", p.MaxS, 0)
		v.check(p.MaxS == 0 || p.MaxS >= LengthS(p.Stages), "settings: programme %q: max_s is shorter than its stages", p.Name)
	}
	v.check(len(h.Resins) >= 1 && len(h.Resins) <= 40, "settings: give 1 to 40 resins, not %d", len(h.Resins))
	for _, r := range h.Resins {
		v.label("resins.name", r.Name, 40)
		v.check(!seen["r"+r.Name], "settings: two resins are called %q", r.Name)
		seen["r"+r.Name] = true
		v.within(fmt.Sprintf("settings: resin %q", r.Name), r.Validate())
	}
}

// ValidStages says what is wrong with the stages of a programme.
func ValidStages(stages []Stage) error {
	if len(stages) < 1 || len(stages) > 20 {
		return fmt.Errorf("a programme has 1 to 20 stages, not %d", len(stages))
	}
	for i, s := range stages {
		switch {
		case math.IsNaN(s.TempC) || s.TempC < 20 || s.TempC > 105:
			return fmt.Errorf("stage %d: temp_c must be 20 to 105 °C, not %g", i+1, s.TempC)
		case s.RampS < 0 || s.HoldS < 0 || s.RampS+s.HoldS > 7*24*3600:
			return fmt.Errorf("stage %d: ramp_s and hold_s must be 0 to a week", i+1)
		}
	}
	if LengthS(stages) == 0 {
		return errors.New("a programme cannot be empty: give hold_s")
	}
	return nil
}

// Resin finds a resin by its name.
func (h House) Resin(name string) (dough.Resin, bool) {
	return each.First(h.Resins, func(r dough.Resin) bool { return r.Name == name })
}

// ResinNames lists the resins.
func (h House) ResinNames() []string {
	out := make([]string, len(h.Resins))
	for i, r := range h.Resins {
		out[i] = r.Name
	}
	return out
}

// Programme finds a programme by its name.
func (h House) Programme(name string) (Programme, bool) {
	return each.First(h.Programmes, func(p Programme) bool { return p.Name == name })
}

// ProgrammeNames lists the programmes.
func (h House) ProgrammeNames() []string {
	out := make([]string, len(h.Programmes))
	for i, p := range h.Programmes {
		out[i] = p.Name
	}
	return out
}

// RoomC is the room temperature assumed where none is given: that of the first
// resin's times.
func (h House) RoomC() float64 { return h.Resins[0].RefTempC }
