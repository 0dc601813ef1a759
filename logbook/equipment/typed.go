package equipment

import (
	"fmt"

	"flaskside/logbook/action"
	"flaskside/logbook/asked"
	"flaskside/logbook/house"
	"flaskside/logbook/lot"
	"flaskside/logbook/units"
)

// TakenIn reads the rated load and the end of the scale of a piece as they were typed, "" for none; a
// number alone counts in the unit of the house.
func TakenIn(in action.EquipIn, rated, scale string, u house.Units) (action.EquipIn, error) {
	for _, f := range []struct {
		flag, typed string
		to          *float64
	}{{"rated", rated, &in.RatedPSI}, {"scale", scale, &in.ScalePSI}} {
		if f.typed == "" {
			continue
		}
		v, err := units.ParsePressure(f.typed, u.Pressure)
		if err != nil {
			return in, fmt.Errorf("--%s: %w", f.flag, err)
		}
		*f.to = v
	}
	return in, nil
}

// Checked reads what an instrument read when it was checked: typed has what was given of ice, boil,
// read, against and due, by these names. A number alone counts in the unit of the house.
func Checked(a action.EquipCheck, typed map[string]string, u house.Units) (action.EquipCheck, error) {
	parse, reads, other := func(s string) (float64, error) { return units.ParseTemp(s, u.Temperature) }, &a.ReadC, &a.AgainstC
	if a.Item == action.Gauge {
		parse, reads, other = func(s string) (float64, error) { return units.ParsePressure(s, u.Pressure) }, &a.ReadPSI, &a.AgainstPSI
	}
	for _, f := range []struct {
		name string
		to   **float64
	}{{"ice", &a.IceC}, {"boil", &a.BoilC}, {"read", reads}, {"against", other}} {
		text, given := typed[f.name]
		if !given {
			continue
		}
		if a.Item == action.Gauge && (f.to == &a.IceC || f.to == &a.BoilC) {
			return a, asked.Wrongly("--%s is of a thermometer; a gauge takes --read and --against", f.name)
		}
		v, err := parse(text)
		if err != nil {
			return a, fmt.Errorf("--%s: %w", f.name, err)
		}
		*f.to = &v
	}
	if due := typed["due"]; due != "" {
		d, err := lot.TypedDate(due)
		if err != nil {
			return a, fmt.Errorf("--due: %w", err)
		}
		a.Due = d.String()
	}
	return a, nil
}
