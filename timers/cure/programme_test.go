package cure

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // zones for the tests wherever they run

	"pgregory.net/rapid"
)

func TestParseProgramme(t *testing.T) {
	const h, m = time.Hour, time.Minute
	for _, row := range []struct {
		text   string
		name   string
		stages []Stage
		canon  string
	}{
		{"74C 9h", "", []Stage{{74, 9 * h, 0}}, "74C 9h"},
		{" 74 °C  9 h ", "", []Stage{{74, 9 * h, 0}}, "74C 9h"},
		{"74 9h", "", []Stage{{74, 9 * h, 0}}, "74C 9h"},
		{"74C 8h + 100C 1h", "", []Stage{{74, 8 * h, 0}, {100, h, 30 * m}}, "74C 8h, ramp 30min, 100C 1h"},
		{"73C 90min + 100C 30min", "", []Stage{{73, 90 * m, 0}, {100, 30 * m, 30 * m}}, "73C 1h30min, ramp 30min, 100C 30min"},
		{"74C 8h, ramp 20min, 100C 1h", "", []Stage{{74, 8 * h, 0}, {100, h, 20 * m}}, "74C 8h, ramp 20min, 100C 1h"},
		{"74C 8h + ramp 0min + 100C 1h", "", []Stage{{74, 8 * h, 0}, {100, h, 0}}, "74C 8h, ramp 0min, 100C 1h"},
		{"ramp 1h, 100C 30min", "", []Stage{{100, 30 * m, h}}, "ramp 1h, 100C 30min"},
		{"74C 1h + 74C 1.5h", "", []Stage{{74, h, 0}, {74, 90 * m, 0}}, "74C 1h, 74C 1h30min"},
		{"74.5c 2h30min15s", "", []Stage{{74.5, 2*h + 30*m + 15*time.Second, 0}}, "74.5C 2h30min15s"},
		{"Over night: 74C 9h", "Over night", []Stage{{74, 9 * h, 0}}, "74C 9h"},
	} {
		p, err := ParseProgramme(row.text)
		if err != nil {
			t.Errorf("%q: %v", row.text, err)
			continue
		}
		if p.Name != row.name || !slices.Equal(p.Stages, row.stages) || p.Notation() != row.canon {
			t.Errorf("%q: %q %v as %q, want %q %v as %q", row.text, p.Name, p.Stages, p.Notation(), row.name, row.stages, row.canon)
		}
	}
	for text, says := range map[string]string{
		"":                               "empty",
		"  ":                             "empty",
		"night:":                         "empty",
		"+":                              "empty",
		"400C 1h":                        "0 to 130",
		"-5C 1h":                         "temperature and a time",
		"74C":                            "temperature and a time",
		"9h":                             "temperature and a time",
		"74C 0h":                         "1 minute",
		"74C 20s":                        "1 minute",
		"74C 400h":                       "temperature and a time",
		"74C 9 fortnights":               "temperature and a time",
		"74C -9h":                        "temperature and a time",
		"74C 9h, ramp 30min":             "ends with a ramp",
		"74C 9h, ramp 5min, ramp 30min,": "one ramp",
		"74C 9h, ramp, 100C 1h":          "one ramp",
		"NaNC 9h":                        "temperature and a time",
		"1e3C 9h":                        "temperature and a time",
		"a:b:74C 9h":                     "temperature and a time",
		strings.Repeat("74C 1h+", 21):    "stages",
		strings.Repeat("74C 100h+", 4):   "at most 14 days",
		strings.Repeat("7", 600):         "characters",
	} {
		if p, err := ParseProgramme(text); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, error %v, want one line with %q", text, p, err, says)
		}
	}
}

func TestCommon(t *testing.T) {
	want := []string{"74C 9h", "74C 8h, ramp 30min, 100C 1h", "74C 2h, ramp 30min, 100C 1h", "73C 1h30min, ramp 20min, 100C 30min"}
	total := []time.Duration{9 * time.Hour, 9*time.Hour + 30*time.Minute, 3*time.Hour + 30*time.Minute, 140 * time.Minute}
	names := map[string]bool{}
	for i, p := range Common() {
		if err := p.Validate(); err != nil {
			t.Error(err)
		}
		if p.Notation() != want[i] || p.Total() != total[i] || names[p.Name] || p.Name == "" {
			t.Errorf("programme %d: %q of %s, want %q of %s", i, p, p.Total(), want[i], total[i])
		}
		names[p.Name] = true
	}
	if len(names) != 4 {
		t.Errorf("%d programmes, want 4", len(names))
	}
}

func anyProgramme(t *rapid.T) Programme {
	p := Programme{Name: rapid.StringMatching(`([A-Za-zéß0-9°+, ]{0,20}[a-z])?`).Draw(t, "name")}
	p.Name = strings.TrimSpace(p.Name)
	for range rapid.IntRange(1, 5).Draw(t, "stages") {
		s := Stage{
			TempC: float64(rapid.IntRange(0, 13000).Draw(t, "temp")) / 100,
			Hold:  time.Duration(rapid.IntRange(60, 60000).Draw(t, "hold")) * time.Second,
			Ramp:  time.Duration(rapid.SampledFrom([]int{0, 1, 59, 1800, 3600, 7261}).Draw(t, "ramp")) * time.Second,
		}
		p.Stages = append(p.Stages, s)
	}
	return p
}

// A programme survives its own notation, in text and in JSON; its curve runs forward, begins at 0, ends with its total and
// holds what the programme holds.
func TestProgrammeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProgramme(t)
		back, err := ParseProgramme(p.String())
		if err != nil || back.Name != p.Name || !slices.Equal(back.Stages, p.Stages) {
			t.Fatalf("%q read back as %q, %v", p, back, err)
		}
		raw, err := json.Marshal(map[string]Programme{"p": p})
		if err != nil {
			t.Fatal(err)
		}
		var m map[string]Programme
		if err := json.Unmarshal(raw, &m); err != nil || m["p"].String() != p.String() {
			t.Fatalf("%s read back as %q, %v", raw, m["p"], err)
		}

		bath := p.Knots(22)
		if err := CheckBath(bath); err != nil {
			t.Fatalf("%q: %v", p, err)
		}
		if bath[0].TimeS != 0 || bath[len(bath)-1].TimeS != p.Total().Seconds() {
			t.Fatalf("%q runs from %g to %g s", p, bath[0].TimeS, bath[len(bath)-1].TimeS)
		}
		at := time.Duration(rapid.Int64Range(0, int64(p.Total())).Draw(t, "at"))
		if _, setC, holds := p.Hold(at); holds && BathAt(bath, at.Seconds()) != setC {
			// only the second that stands in for a ramp of no length may differ
			if BathAt(bath, at.Seconds()+1) != setC {
				t.Fatalf("%q holds %g at %s, its curve is at %g", p, setC, at, BathAt(bath, at.Seconds()))
			}
		}
	})
}

func TestHoldOfProgramme(t *testing.T) {
	p, err := ParseProgramme("74C 2h + ramp 30min + 100C 1h")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		at    time.Duration
		stage int
		setC  float64
		holds bool
	}{
		{-time.Second, 0, 74, false},
		{0, 0, 74, true},
		{2 * time.Hour, 0, 74, true},
		{2*time.Hour + time.Second, 1, 100, false},
		{150 * time.Minute, 1, 100, true},
		{210 * time.Minute, 1, 100, true},
		{211 * time.Minute, 1, 100, false},
	} {
		stage, setC, holds := p.Hold(row.at)
		if stage != row.stage || setC != row.setC || holds != row.holds {
			t.Errorf("at %s: stage %d, %g °C, %v, want %d, %g, %v", row.at, stage, setC, holds, row.stage, row.setC, row.holds)
		}
	}
}

// The end of a plan across the night the clocks change: the cure keeps its length, the wall shows another hour.
func TestPlanAcrossClockChange(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	nine := Common()[0]
	for _, row := range []struct {
		what  string
		start time.Time
		out   string
	}{
		{"an ordinary night", time.Date(2026, 11, 24, 22, 0, 0, 0, berlin), "07:00"},
		{"clocks go back", time.Date(2026, 10, 24, 22, 0, 0, 0, berlin), "06:00"},
		{"clocks go forward", time.Date(2026, 3, 28, 22, 0, 0, 0, berlin), "08:00"},
	} {
		out := nine.Out(row.start)
		if out.Sub(row.start) != 9*time.Hour || out.Format("15:04") != row.out {
			t.Errorf("%s: out at %s after %s, want %s after 9h", row.what, out.Format("15:04"), out.Sub(row.start), row.out)
		}
		if got := nine.latestStart(out); !got.Equal(row.start) {
			t.Errorf("%s: latest start %s, want %s", row.what, got, row.start)
		}
	}

	// "Out at 08:00": on the short night the long programmes no longer fit from 23:00, on the long night they do.
	for _, row := range []struct {
		what string
		now  time.Time
		fits []bool // 9 h, 9 h 30, 3 h 30, 2 h 20
	}{
		{"an ordinary night", time.Date(2026, 11, 24, 23, 0, 0, 0, berlin), []bool{true, false, true, true}},
		{"clocks go back", time.Date(2026, 10, 24, 23, 0, 0, 0, berlin), []bool{true, true, true, true}},
		{"clocks go forward", time.Date(2026, 3, 28, 23, 0, 0, 0, berlin), []bool{false, false, true, true}},
	} {
		out, err := NextClock(row.now, 8, 0)
		if err != nil {
			t.Fatal(err)
		}
		for i, f := range PlanBack(row.now, out, Common()) {
			if f.Fits != row.fits[i] || f.Slack != out.Sub(row.now)-f.Programme.Total() || f.Fits != (f.Slack >= 0) {
				t.Errorf("%s, %s: fits %v with %s to spare, want %v", row.what, f.Programme, f.Fits, f.Slack, row.fits[i])
			}
		}
	}
}

func TestNextClock(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct{ now, want string }{
		{"2026-11-25T22:00:00+01:00", "2026-11-26T02:30:00+01:00"},
		{"2026-11-25T02:30:00+01:00", "2026-11-26T02:30:00+01:00"},
		{"2026-11-25T02:29:59+01:00", "2026-11-25T02:30:00+01:00"},
		{"2026-10-25T00:00:00+02:00", "2026-10-25T02:30:00+02:00"}, // shown twice: the first
		{"2026-10-25T02:45:00+02:00", "2026-10-25T02:30:00+01:00"}, // then the second
		{"2026-10-25T02:45:00+01:00", "2026-10-26T02:30:00+01:00"},
		{"2026-12-31T23:00:00+01:00", "2027-01-01T02:30:00+01:00"},
	} {
		now, err := time.Parse(time.RFC3339, row.now)
		if err != nil {
			t.Fatal(err)
		}
		got, err := NextClock(now.In(berlin), 2, 30)
		if err != nil || got.Format(time.RFC3339) != row.want {
			t.Errorf("after %s: %s, %v, want %s", row.now, got.Format(time.RFC3339), err, row.want)
		}
	}
	// Skipped on the night the clocks go forward: a moment within an hour.
	eve := time.Date(2026, 3, 29, 0, 0, 0, 0, berlin)
	got, err := NextClock(eve, 2, 30)
	if d := got.Sub(eve); err != nil || d < 90*time.Minute || d > 150*time.Minute {
		t.Errorf("02:30 on a night without it: %s, %v", got, err)
	}
	for _, bad := range [][2]int{{24, 0}, {-1, 0}, {8, 60}, {8, -1}} {
		if _, err := NextClock(eve, bad[0], bad[1]); err == nil {
			t.Errorf("%d:%d was taken", bad[0], bad[1])
		}
	}
}
