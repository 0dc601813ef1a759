package house

import (
	"fmt"
	"strings"

	"flaskside/logbook/units"
	"flaskside/timers/dough"
)

// ReadTemp reads a temperature in the unit of the house, or in the one it is written with.
// A bare number that makes sense only in the other unit is asked about.
func ReadTemp(flag, key, text string, in Units) (float64, error) {
	c, err := units.ParseTemp(text, in.Temperature)
	if err != nil {
		return c, fmt.Errorf("%s: %w", flag, err)
	}
	if u, ok := UsualOf(key); ok && units.Bare(text) {
		if typed, stored := u.Other(c, in); typed != "" {
			n := strings.TrimSpace(text)
			return c, fmt.Errorf("%s %s: in the unit of the house this is %s, and %s would be %s: write %sC or %sF", flag, n, units.FormatTemp(c, in.Temperature), typed, units.FormatTemp(stored, in.Temperature), n, n)
		}
	}
	return c, nil
}

// PickResin finds a resin by its name, the first for none, with what it leaves out as the house
// default has it.
func (h House) PickResin(name string) (dough.Resin, error) {
	if name == "" {
		return h.Resins[0].WithDefaults(), nil
	}
	r, ok := h.Resin(name)
	if !ok {
		return dough.Resin{}, fmt.Errorf("the settings have no resin %q: they name %s", name, strings.Join(h.ResinNames(), ", "))
	}
	return r.WithDefaults(), nil
}
