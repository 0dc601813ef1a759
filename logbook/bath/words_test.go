package bath

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers/cure"
)

// TestWords holds what is said of a load, word for word.
func TestWords(t *testing.T) {
	late := func(toC float64, open bool) LoadCase {
		c := nineHours()
		c.ThinMM, c.ThickMM = 2, 8
		last := 400
		if open {
			last = 210
		}
		readings(&c, 0, last, func(m float64) float64 {
			if m >= 180 && m < 240 {
				return toC
			}
			return 74
		})
		c.Added = []bench.Added{{After: 390 * time.Minute, Flasks: 2}}
		return c
	}
	thick := nineHours()
	thick.ThickMM, thick.Assumed = 11, true
	thick.Programme, _ = cure.ParseProgramme("74C 2h, ramp 30min, 100C 1h")
	for _, c := range []struct {
		name string
		e    LoadEstimate
		unit units.TempUnit
		want string
	}{
		{"quiet", estimate(t, nineHours()), units.Celsius, `
count the hold from when the core is there: 74 °C bath at once, core about Wed 20:44 (30 to 60 min in)
core peak 73 to 79 °C, about 76 °C, at Wed 20:59 (40 to 85 min in), bath + 1.6 °C
residual monomer 1.5 to 3.7 %, about 2.3 %; for comparison, ISO 20795-1 allows 2.2 %; only a laboratory test shows conformity
information: a cooler bath takes longer for the same residual: 70 °C 16 h
worked out with powder to liquid 2:1 by mass, of mix A
estimate; follow the resin maker's cycle`},
		{"fell", estimate(t, late(60, false)), units.Celsius, `
bath read off 74 °C from Wed 23:00 to Thu 00:00, lowest 60 °C: about 1 h 7 min of curing time missing (estimate)
2 cold flasks went in at Thu 02:30: dip of about 0.3 °C (estimate)
in all 1 h 8 min more at 74 °C: out at Thu 06:08 (estimate; the maker's cycle decides)
count the hold from when the core is there: 74 °C bath at once, core about Wed 20:41 (30 to 55 min in)
core peak 75 to 98 °C, about 86 °C, at Wed 20:52
residual monomer 1.6 to 4.2 %, about 2.6 %; for comparison, ISO 20795-1 allows 2.2 %; only a laboratory test shows conformity
information: a cooler bath takes longer for the same residual: 70 °C 15 h 50 min
worked out with powder to liquid 2:1 by mass, of mix A
estimate; follow the resin maker's cycle`},
		{"off now", estimate(t, late(70, true)), units.Fahrenheit, `
bath read off 165 °F from Wed 23:00 to now, lowest 158 °F: about 16 min of curing time missing (estimate)
2 cold flasks went in at Thu 02:30: dip of about 0.5 °F; sets these back 1 min (estimate)
in all 19 min more at 165 °F: out at Thu 05:19 (estimate; the maker's cycle decides)
count the hold from when the core is there: 165 °F bath at once, core about Wed 20:41 (30 to 55 min in)
core peak 167 °F to 208 °F, about 187 °F, at Wed 20:52 (35 to 75 min in), bath + 22.1 °F
residual monomer 1.5 to 3.8 %, about 2.4 %; for comparison, ISO 20795-1 allows 2.2 %; only a laboratory test shows conformity
information: a cooler bath takes longer for the same residual: 158 °F 15 h 50 min
worked out with powder to liquid 2:1 by mass, of mix A
estimate; follow the resin maker's cycle`},
		{"thick", estimate(t, thick), units.Celsius, `
caution: core may pass 100.8 °C, where monomer boils; this says nothing about pores
count the hold from when the core is there: 74 °C bath at once, core about Wed 20:41 (30 to 55 min in); 100 °C bath Wed 22:30, core about Wed 22:54
core peak 85 to 124 °C, about 104 °C, at Wed 20:51 (35 to 75 min in), bath + 30.3 °C
residual monomer 0.3 to 0.9 %, about 0.5 %; for comparison, ISO 20795-1 allows 2.2 %; only a laboratory test shows conformity
worked out with powder to liquid 2:1 by mass, of mix A
note: sections not recorded, 3 to 11 mm assumed
estimate; follow the resin maker's cycle`},
		{"thick", estimate(t, thick), units.Fahrenheit, `
caution: core may pass 213 °F, where monomer boils; this says nothing about pores
count the hold from when the core is there: 165 °F bath at once, core about Wed 20:41 (30 to 55 min in); 212 °F bath Wed 22:30, core about Wed 22:54
core peak 184 °F to 255 °F, about 220 °F, at Wed 20:51 (35 to 75 min in), bath + 54.6 °F
residual monomer 0.3 to 0.9 %, about 0.5 %; for comparison, ISO 20795-1 allows 2.2 %; only a laboratory test shows conformity
worked out with powder to liquid 2:1 by mass, of mix A
note: sections not recorded, 3 to 11 mm assumed
estimate; follow the resin maker's cycle`},
	} {
		if got := lines(c.e, c.unit); got != strings.TrimSpace(c.want) {
			t.Errorf("%s: it is said\n%s\nwant\n%s", c.name, got, c.want)
		}
	}
}

// TestPlan plans back through the nights in which clocks change (tz database): nine
// hours before 08:00 it is 22:00 in the night that loses an hour, 00:00 in the night
// that gains one.
func TestPlan(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	h := house.Default()
	for _, c := range []struct {
		now  time.Time
		want []string
	}{
		{time.Date(2026, 11, 25, 17, 0, 0, 0, berlin), []string{
			"in from 20:00 to 23:00",
			"in from 20:00 to 22:30",
			"in from Thu 02:00 to Thu 04:30",
			"in from Thu 03:00 to Thu 05:30"}},
		{time.Date(2026, 3, 28, 21, 0, 0, 0, berlin), []string{
			"fits: in by 22:00, in 1 h",
			"fits: in by 21:30, in 30 min",
			"in from Sun 01:00 to Sun 04:30 (UTC+02:00)",
			"in from Sun 03:00 (UTC+02:00) to Sun 05:30 (UTC+02:00)"}},
		{time.Date(2026, 10, 25, 0, 1, 0, 0, berlin), []string{
			"too late: in by 00:00, 1 min ago",
			"too late: in by Sat 23:30, 31 min ago",
			"in from 02:00 (UTC+01:00) to 04:30 (UTC+01:00)",
			"in from 03:00 (UTC+01:00) to 05:30 (UTC+01:00)"}},
	} {
		out, err := cure.NextClock(c.now, 8, 0)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, f := range Plan(h, c.now, out) {
			got = append(got, f.Words(c.now))
		}
		if fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("at %s:\n%s\nwant\n%s", c.now, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
}

// Of a load that is out no hour is told at which it would come out, nor is anything to be done asked for: what was missing is.
func TestALoadThatIsOutHasNoHourToComeOut(t *testing.T) {
	cold := nineHours()
	cold.BathC = 23
	readings(&cold, 30, 120, func(float64) float64 { return 24 })
	dipped := nineHours()
	readings(&dipped, 0, 540, func(m float64) float64 {
		if m >= 180 && m < 240 {
			return 60
		}
		return 74
	})
	for _, row := range []struct {
		c           LoadCase
		out         time.Duration
		said, short string
	}{
		{cold, 2 * time.Hour, "and the load is out: only the programme from its beginning would make it up (estimate", "bath was off: a temperature of the programme was never there"},
		{dipped, 9 * time.Hour, "the load is out: about 1 h 7 min more in the bath would have been needed (estimate", "bath was off: about 1 h 7 min missing"},
	} {
		in := lines(estimate(t, row.c), units.Celsius)
		if !strings.Contains(in, ": out at ") && !strings.Contains(in, ", out at ") {
			t.Errorf("in the bath no hour is told:\n%s", in)
		}
		row.c.Out = row.out
		e := estimate(t, row.c)
		out := lines(e, units.Celsius)
		short := e.Short(Say{})
		if strings.Contains(out, "out at ") || strings.Contains(out, "start the programme again") || !strings.Contains(out, row.said) || !strings.Contains(short, row.short) {
			t.Errorf("out after %s:\n%s\n%s", row.out, out, short)
		}
	}
}
