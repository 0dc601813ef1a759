package tui

import (
	"fmt"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/bath"
	"flaskside/logbook/cases"
	"flaskside/timers/cure"
)

// bathMenu is what can be asked on the page of the baths.
func (m *Model) bathMenu() tea.Cmd {
	list := []doing{{"out at a set hour: plan backwards", plainly(m.askPlan)}, {"bath temperature read", m.readBath}}
	if !m.cures.plan.IsZero() {
		list = append(list, doing{"drop the plan", plainly(func() { m.cures.plan = time.Time{} })})
	}
	return m.offer("baths", list...)
}

// askPlan asks when the flasks are to come out; the page then says what fits.
func (m *Model) askPlan() {
	f := &form{title: "plan backwards", fields: []*field{hourField("out")}}
	f.done = func(f *form) tea.Cmd {
		m.shut()
		m.setPlan(f.num("out"))
		return nil
	}
	m.open(f)
}

// setPlan keeps the hour, given in minutes of the day, at which flasks are to come
// out.
func (m *sight) setPlan(minute float64) {
	if out, err := cure.NextClock(m.now.Wall, int(minute)/60, int(minute)%60); err == nil {
		m.cures.plan = out
	}
}

// planSheet is the plan on the page of the baths.
func (m *sight) planSheet(s *sheet, w int) {
	out := m.cures.plan
	if !out.After(m.now.Wall) {
		return
	}
	if len(s.lines) > 0 {
		s.gap()
	}
	s.head(strong, "out at "+m.instant(out)+": what fits")
	for _, f := range bath.Plan(m.house(), m.now.Wall, out) {
		r := plain
		if !f.Fits {
			r = dim
		}
		s.add(r, fmt.Sprintf("%-16s %s", fit(f.Programme.Name, 16), f.Words(m.now.Wall)))
	}
	s.wrapped(dim, "Follow the resin maker's cycle; the bath's own way to temperature is not in this.", w)
}

// hourField asks for an hour of the day with the pad: 8, 7.30, 730 or 0730. Its
// number is in minutes of the day.
func hourField(name string) *field {
	return digits(name, "out at what hour, as 8 or 0730", "", "8", parseHour)
}

// parseHour reads an hour of the day as typed and gives minutes.
func parseHour(s string) (float64, error) {
	d, err := cases.ParseHour(s)
	if err != nil {
		return 0, fmt.Errorf("%q is not an hour: type 8, 7.30 or 0730", s)
	}
	return d.Minutes(), nil
}
