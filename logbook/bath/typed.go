package bath

import (
	"errors"
	"fmt"

	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers/cure"
)

// typedCurve reads the curve of a bath. One that makes sense only in the unit that the house
// does not read in is asked about.
func typedCurve(text string, in units.TempUnit) ([]cure.Knot, error) {
	other := units.Fahrenheit
	if in == units.Fahrenheit {
		other = units.Celsius
	}
	u, _ := house.UsualOf("programmes.stages.temp_c")
	hottest := func(curve []cure.Knot) (c float64) {
		for _, k := range curve {
			c = max(c, k.TempC)
		}
		return c
	}
	curve, err := parseCurve(text, in)
	if too, oerr := parseCurve(text, other); oerr == nil && u.Has(hottest(too)) && (err != nil || !u.Has(hottest(curve)) && hottest(too) != hottest(curve)) {
		return nil, fmt.Errorf("--bath %s: in °%s, the unit of the house, this is not a usual cure; in °%s it would be: write the unit, as in 0:74C,540:74C or 0:165F,540:165F", text, in, other)
	}
	return curve, err
}

// typedProgramme reads a programme in its notation, a temperature without a unit in that of
// the house, or finds it by its name in the house settings. Temperatures without a unit
// that make sense only in the other unit are asked about. herr is why the settings could not be
// read; a programme written out needs none.
func typedProgramme(text string, h house.House, herr error) (cure.Programme, error) {
	inF := h.Units.Temperature == units.Fahrenheit
	p, err := cure.ParseProgrammeIn(text, inF)
	if other, oerr := cure.ParseProgrammeIn(text, !inF); oerr == nil && usualProgramme(other) && (err != nil || !usualProgramme(p) && p.Notation() != other.Notation()) {
		here, there := "°C", "F"
		if inF {
			here, there = "°F", "C"
		}
		return p, fmt.Errorf("%q: in %s, the unit of the house, this is not a usual cure; in °%s it would be: write the unit, as in %s", text, here, there, other.NotationIn(!inF))
	}
	if err == nil {
		return p, nil
	}
	if herr != nil {
		return cure.Programme{}, errors.Join(err, herr)
	}
	if named, ok := h.Programme(text); ok {
		p := named.Cure()
		return p, p.Validate()
	}
	return cure.Programme{}, fmt.Errorf("%w (and no programme of the house settings has that name)", err)
}

// usualProgramme tells whether all temperatures of a programme are usual ones.
func usualProgramme(p cure.Programme) bool {
	u, _ := house.UsualOf("programmes.stages.temp_c")
	for _, s := range p.Stages {
		if !u.Has(s.TempC) {
			return false
		}
	}
	return true
}
