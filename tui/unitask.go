package tui

import (
	"fmt"
	"strconv"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/house"
	"flaskside/logbook/units"
)

// A number typed without its unit is in the unit of the house. Where it makes sense only
// in another (207 in a house of psi), one question asks which was meant.

// quantity gives the field of a pressure or a temperature, and the question that follows
// it where the unit is in doubt. key names its usual range.
func (m *sight) quantity(name, ask, key string) (fd, which *field) {
	in := m.house().Units
	u, _ := house.UsualOf(key)
	unit, parse, bare := string(in.Pressure), func(s string) (float64, error) { return units.ParsePressure(s, in.Pressure) }, in.Pressure.ToPSI
	if u.IsTemperature() {
		unit, parse, bare = "°"+string(in.Temperature), func(s string) (float64, error) { return units.ParseTemp(s, in.Temperature) }, in.Temperature.ToC
	}
	other := func(v float64) string { typed, _ := u.Other(v, in); return typed }
	fd = digits(name, ask, unit, "", func(s string) (float64, error) {
		v, err := parse(s)
		if n, nerr := strconv.ParseFloat(strings.TrimSpace(s), 64); err != nil && nerr == nil && other(bare(n)) != "" {
			return bare(n), nil // far out in the house's unit: the next question is which was meant
		}
		return v, err
	})
	doubt := func(f *form) bool { return units.Bare(first(f.get(name).typed)) && other(f.get(name).number) != "" }
	which = choose(name+unitAsked, "which unit was meant?", "", "").only(doubt).reached(func(f *form) tea.Cmd {
		v := f.get(name).number
		typed, stored := u.Other(v, in)
		f.get(name + unitAsked).options = []string{fmt.Sprintf("%s, which is %s", typed, u.Show(stored, in)), u.Show(v, in)}
		return nil
	})
	fd.reread = func(f *form) float64 {
		if w := f.get(name + unitAsked); doubt(f) && w.choice == 1 {
			_, stored := u.Other(fd.number, in)
			return stored
		}
		return fd.number
	}
	return fd, which
}

// first is what was typed before a stroke.
func first(typed string) string {
	s, _, _ := strings.Cut(typed, "/")
	return s
}

// unitAsked ends the name of the question for the unit of a field.
const unitAsked = ", unit"

// gaugeText is a pressure as it was typed with its unit, "" where it was typed in the
// house's.
func (m *sight) gaugeText(f *form, name string) string {
	fd := f.get(name)
	typed := strings.TrimSpace(fd.typed)
	if typed != "" && !units.Bare(typed) {
		return typed
	}
	if v := f.num(name); v != fd.number {
		u, _ := house.UsualOf("press-at.pressure_psi")
		text, _ := u.Other(fd.number, m.house().Units)
		return text
	}
	return ""
}
