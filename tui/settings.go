package tui

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers/cure"
	"flaskside/timers/each"
)

// setting is one house value that can be changed with the pad.
type setting struct {
	name string
	show func(h house.House) string
	ask  func() []*field // the first is the value
	set  func(h *house.House, f *form, fd *field)
}

// one is a setting asked for with one field.
func one(ask func() *field) func() []*field { return func() []*field { return []*field{ask()} } }

// settings lists the house values; the next flask is worked under the new ones.
func (m *Model) settings() tea.Cmd {
	if m.barred("settings") {
		return nil
	}
	all := m.allSettings()
	names := each.Of(all, func(s setting) string { return s.name + ": " + s.show(m.house()) })
	lines := []string{"Resins, programmes, baths and the rest: flaskside settings --export, --import"}
	return m.menu("house settings (each change is a record; flasks at work keep theirs)", lines, names, func(i int) tea.Cmd {
		s := all[i]
		fields := s.ask()
		f := &form{title: s.name + " is " + s.show(m.house()), fields: fields}
		f.done = func(f *form) tea.Cmd {
			h := m.house()
			s.set(&h, f, fields[0])
			return m.answer(f, action.Settings{House: h, From: "typed"}, "", func(logbook.Saved) tea.Cmd { return m.settings() })
		}
		m.open(f)
		return nil
	})
}

// span of seconds typed as minutes.
func secondsSetting(name, ask string, unit time.Duration, of func(h *house.House) *int) setting {
	return setting{name,
		func(h house.House) string { return units.FormatDuration(time.Duration(*of(&h)) * time.Second) },
		one(func() *field {
			u := "min"
			if unit == time.Second {
				u = "s"
			}
			return digits("v", ask, u, "", func(s string) (float64, error) {
				d, err := units.ParseDuration(s, unit)
				return d.Seconds(), err
			})
		}),
		func(h *house.House, f *form, fd *field) { *of(h) = int(fd.number) }}
}

func countSetting(name string, lo, hi int, of func(h *house.House) *int) setting {
	return setting{name,
		func(h house.House) string { return fmt.Sprint(*of(&h)) },
		one(func() *field { return digits("v", name, "", "", wholeNumber(lo, hi)) }),
		func(h *house.House, f *form, fd *field) { *of(h) = int(fd.number) }}
}

// pressureSetting is a pressure of the house; 0 where it is not set.
func (m *sight) pressureSetting(name, ask, key string, of func(h *house.House) *float64) setting {
	return setting{name,
		func(h house.House) string {
			if v := *of(&h); v > 0 {
				return units.FormatPressure(v, h.Units.Pressure)
			}
			if key == "press.max_psi" {
				return "not set: ask the makers"
			}
			return "as at trial closures"
		},
		func() []*field { fd, which := m.quantity("v", ask, key); return []*field{fd, which} },
		func(h *house.House, f *form, fd *field) { *of(h) = f.num("v") }}
}

func (m *sight) allSettings() []setting {
	return []setting{
		secondsSetting("separator dries at least", "minutes", time.Minute, func(h *house.House) *int { return &h.Separator.DryMinS }),
		m.pressureSetting("pressure at trial closures", "never above the rated load of press, flask and clamp", "press.pressure_psi", func(h *house.House) *float64 { return &h.Press.PressurePSI }),
		m.pressureSetting("pressure of the final closure", "0: as at trial closures", "press.final_psi", func(h *house.House) *float64 { return &h.Press.FinalPSI }),
		m.pressureSetting("rated load", "of the weakest of press, flask and clamp, by their makers", "press.max_psi", func(h *house.House) *float64 { return &h.Press.MaxPSI }),
		secondsSetting("hold at pressure", "seconds", time.Second, func(h *house.House) *int { return &h.Press.HoldS }),
		countSetting("minimum number of trial closures", 1, 20, func(h *house.House) *int { return &h.Press.MinTrials }),
		{"flash allowed at the last trial", func(h house.House) string { return h.Press.Grade }, one(func() *field { return choose("v", "", "none", "slight") }),
			func(h *house.House, f *form, fd *field) { h.Press.Grade = fd.options[fd.choice-1] }},
		{"clamp backed off", func(h house.House) string { return fmt.Sprintf("%.3g turn", h.Press.BackOffTurn) }, one(func() *field { return digits("v", "as the clamp's maker says", "turn", "", plainNumber(0, 4)) }),
			func(h *house.House, f *form, fd *field) { h.Press.BackOffTurn = fd.number }},
		secondsSetting("bench set at least", "minutes", time.Minute, func(h *house.House) *int { return &h.BenchSet.MinS }),
		secondsSetting("bench set at most", "minutes", time.Minute, func(h *house.House) *int { return &h.BenchSet.MaxS }),
		secondsSetting("cooling on the bench", "minutes", time.Minute, func(h *house.House) *int { return &h.Cooling.BenchS }),
		secondsSetting("cooling in water", "minutes", time.Minute, func(h *house.House) *int { return &h.Cooling.WaterS }),
		countSetting("presses", 1, 9, func(h *house.House) *int { return &h.Press.Presses }),
		countSetting("pairs of hands", 1, 9, func(h *house.House) *int { return &h.Press.Hands }),
		{"unit of pressure", func(h house.House) string { return string(h.Units.Pressure) }, one(func() *field { return choose("v", "", "psi", "bar", "MPa") }),
			func(h *house.House, f *form, fd *field) {
				h.Units.Pressure = units.PressureUnit(fd.options[fd.choice-1])
			}},
		{"unit of temperature", func(h house.House) string { return "°" + string(h.Units.Temperature) }, one(func() *field { return choose("v", "", "C", "F") }),
			func(h *house.House, f *form, fd *field) {
				h.Units.Temperature = units.TempUnit(fd.options[fd.choice-1])
			}},
		secondsSetting("snooze time of an alarm", "minutes", time.Minute, func(h *house.House) *int { return &h.Alarms.ShelveS }),
		secondsSetting("ask who is here when idle for (0 = never)", "minutes without a key", time.Minute, func(h *house.House) *int { return &h.CrewIdleS }),
		{"altitude of the place", func(h house.House) string {
			switch p := h.Place; {
			case p.AirHPa != 0:
				return fmt.Sprintf("air of %g hPa", p.AirHPa)
			case p.AltitudeM != 0:
				return fmt.Sprintf("%g m", p.AltitudeM)
			}
			return "not set"
		}, one(func() *field {
			return digits("v", "above the sea; 0: not set", "m", "", plainNumber(0, cure.MaxAltitudeM))
		}), func(h *house.House, f *form, fd *field) { h.Place = house.Site{AltitudeM: fd.number} }},
		{"warn about a pin opening above", func(h house.House) string { return units.FormatLength(h.Remount.PinLimit()) }, one(func() *field {
			return digits("v", "at the remount check; 0: the usual limit", "mm", "", plainNumber(0, 10))
		}), func(h *house.House, f *form, fd *field) { h.Remount.PinLimitMM = fd.number }},
		{"case numbers look like", func(h house.House) string {
			return cmp.Or(h.Cases, "up to 12 characters, a digit, no blank")
		}, one(func() *field {
			return line("v", `a regular expression, as K-\d{4}; empty: the usual one`, "", true).upTo(80).refusing(house.ValidCases)
		}), func(h *house.House, f *form, fd *field) { h.Cases = strings.TrimSpace(fd.typed) }},
		{"initials", func(h house.House) string { return orDash(strings.Join(h.Crew, " ")) }, one(func() *field { return line("v", "initials to add", "", false).upTo(8) }),
			func(h *house.House, f *form, fd *field) {
				h.Crew = append(append([]string(nil), h.Crew...), strings.TrimSpace(fd.typed))
			}},
	}
}
