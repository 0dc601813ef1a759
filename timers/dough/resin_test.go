package dough

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"
)

// shared is a file of the repository's testdata/dough.
func shared(name string) string { return filepath.Join("..", "..", "testdata", "dough", name) }

// table reads a CSV of shared cases without its heading; an empty cell is NaN.
func table(t testing.TB, name string) [][]float64 {
	t.Helper()
	f, err := os.Open(shared(name))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	for _, row := range rows[1:] {
		vals := make([]float64, len(row))
		for i, cell := range row {
			if vals[i], err = strconv.ParseFloat(cell, 64); err != nil {
				if cell != "" {
					t.Fatal(err)
				}
				vals[i] = math.NaN()
			}
		}
		out = append(out, vals)
	}
	return out
}

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, tol)
	}
}

func TestHouseDefaultIsValid(t *testing.T) {
	if err := HouseDefault().Validate(); err != nil {
		t.Error(err)
	}
}

func TestResinFiles(t *testing.T) {
	for name, text := range map[string]string{
		"toml": "name = \"pink, own\"\nratio = 3.0\nratio_by = \"bulk_volume\"\nref_temp_c = 21.0\ndough_from_min = 12.0\n",
		"json": `{"name":"pink, own","ratio":3,"ratio_by":"bulk_volume","ref_temp_c":21,"dough_from_min":12}`,
	} {
		var r Resin
		var err error
		if name == "toml" {
			err = toml.Unmarshal([]byte(text), &r)
		} else {
			err = json.Unmarshal([]byte(text), &r)
		}
		if err != nil {
			t.Fatal(err)
		}
		r = r.WithDefaults()
		want := HouseDefault()
		want.Name, want.Ratio, want.RatioBy, want.RefTempC, want.DoughFromMin = "pink, own", 3, ByBulk, 21, 12
		if r != want {
			t.Errorf("%s: %+v", name, r)
		}
		if err := r.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if got := (Resin{}).WithDefaults(); got != HouseDefault() {
		t.Errorf("nothing given: %+v", got)
	}
	// What is written reads back the same.
	for _, r := range []Resin{HouseDefault(), {Name: "b", Ratio: 2.2, RatioBy: ByMassPerVolume, MarksBehind: 12, Q10Fitted: true}} {
		b, err := toml.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		var back Resin
		if err := toml.Unmarshal(b, &back); err != nil || back != r {
			t.Errorf("toml: %+v, %v", back, err)
		}
	}
}

func TestResinValidate(t *testing.T) {
	for _, c := range []struct {
		spoil func(*Resin)
		says  string
	}{
		{func(r *Resin) { r.Name = " " }, "without a name"},
		{func(r *Resin) { r.Name = "a\x1b[2J" }, "control characters"},
		{func(r *Resin) { r.Name = "\xff" }, "UTF-8"},
		{func(r *Resin) { r.Name = strings.Repeat("x", 61) }, "61 characters"},
		{func(r *Resin) { r.Ratio = 0 }, "must be above 0"},
		{func(r *Resin) { r.Ratio = -2.4 }, "must be above 0"},
		{func(r *Resin) { r.Ratio = math.NaN() }, "must be above 0"},
		{func(r *Resin) { r.Ratio = 40 }, "nothing mixes outside"},
		{func(r *Resin) { r.RatioBy = "guess" }, "not known"},
		{func(r *Resin) { r.Q10 = 0.5 }, "q10 is 0.5, must be 1 to 5"},
		{func(r *Resin) { r.Q10 = math.Inf(1) }, "q10 is +Inf"},
		{func(r *Resin) { r.RefTempC = 400 }, "ref_temp_c is 400"},
		{func(r *Resin) { r.WorkUntilMin = 8 }, "must be below"},
		{func(r *Resin) { r.PowderBulkGPerCC = 1.25 }, "denser than its beads"},
		{func(r *Resin) { r.LiquidGPerML, r.PolymerGPerCC = 1.2, 1.19 }, "lighter than the polymer"},
		{func(r *Resin) { r.MixLnSD = math.NaN() }, "mix_ln_sd is NaN"},
		{func(r *Resin) { r.MarksBehind = -1 }, "marks_behind"},
	} {
		r := HouseDefault()
		c.spoil(&r)
		if err := r.Validate(); err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("want an error that says %q, got %v", c.says, err)
		}
	}
}

func TestParseRatio(t *testing.T) {
	for _, c := range []struct {
		typed string
		want  Ratio
	}{
		{"2.4", Ratio{2.4, ByMass}},
		{"2,5:1", Ratio{2.5, ByMass}},
		{"24:10", Ratio{2.4, ByMass}},
		{"2.4 by mass", Ratio{2.4, ByMass}},
		{" 3:1 by volume ", Ratio{3, ByBulk}},
		{"3:1 bulk", Ratio{3, ByBulk}},
		{"30 cc : 10 mL", Ratio{3, ByBulk}},
		{"30cc:10mL by volume", Ratio{3, ByBulk}},
		{"22 g : 10 mL", Ratio{2.2, ByMassPerVolume}},
		{"25g:10g", Ratio{2.5, ByMass}},
	} {
		got, err := ParseRatio(c.typed)
		if err != nil || got.By != c.want.By || math.Abs(got.Value-c.want.Value) > 1e-12 {
			t.Errorf("%q: %+v, %v", c.typed, got, err)
		}
	}
	for _, c := range []struct{ typed, says string }{
		{"", "not understood"}, {"0", "above 0"}, {"2:0", "above 0"}, {"0:0", "above 0"}, {"-2", "not understood"},
		{"nan", "not understood"}, {"3:1 by guess", "not understood"}, {"3 g", "mixes its units"},
		{"3 cc : 1 g", "mixes its units"}, {"22 g : 10 mL by bulk", "mixes its units"}, {strings.Repeat("9", 1000), "bytes typed"},
	} {
		if got, err := ParseRatio(c.typed); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%.20q: %+v, error %v; want one that says %q", c.typed, got, err, c.says)
		}
	}
}

// FuzzParseRatio: a ratio above zero that is read back from how it is shown, or
// one line of error.
func FuzzParseRatio(f *testing.F) {
	file, err := os.Open(shared("ratios.txt"))
	if err != nil {
		f.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	for sc := bufio.NewScanner(file); sc.Scan(); {
		f.Add(sc.Text())
	}
	r := HouseDefault()
	f.Fuzz(func(t *testing.T, s string) {
		q, err := ParseRatio(s)
		if err != nil {
			if strings.Contains(err.Error(), "\n") || q != (Ratio{}) {
				t.Errorf("%q: %+v, %q", s, q, err)
			}
			return
		}
		if !(q.Value > 0) || math.IsInf(q.Value, 0) {
			t.Fatalf("%q: %+v", s, q)
		}
		if m, err := r.massRatio(q); err == nil {
			if back, err := ParseRatio(Ratio{round3(q.Value), q.By}.String()); err != nil || back.By != q.By || back.Value != round3(q.Value) {
				t.Errorf("%q shown as %q reads %+v, %v (mass ratio %v)", s, q, back, err, m)
			}
		}
	})
}

// FuzzResinFile: whatever a settings file holds, a resin either fails to decode
// or validate, or gives finite figures.
func FuzzResinFile(f *testing.F) {
	b, err := toml.Marshal(HouseDefault())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte("name = \"x\"\nratio = nan\nq10 = inf\n"))
	f.Add([]byte("name = \"x\"\nratio = 3\nratio_by = \"bulk_volume\"\nq10 = 5.0\nwarm_tau_min = 1e9\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 4096 {
			return
		}
		var r Resin
		if toml.Unmarshal(b, &r) != nil {
			return
		}
		r = r.WithDefaults()
		if r.Validate() != nil {
			return
		}
		p, err := Proportion(r, Request{Amount: 1, In: InUnits, TrialAllowance: DefaultTrialAllowance})
		if err != nil {
			t.Fatal(err)
		}
		checkFinite(t, p)
		w, err := Estimate(r, Conditions{RoomC: 30, Stored: &Storage{TempC: -20, OutMin: 5}}, MixMarks{})
		if err != nil {
			t.Fatal(err)
		}
		checkWindow(t, w)
	})
}

// checkFinite fails when anything in v is NaN or infinite: encoding/json takes
// neither.
func checkFinite(t interface{ Errorf(string, ...any) }, v any) {
	if _, err := json.Marshal(v); err != nil {
		t.Errorf("%v in %+v", err, v)
	}
}

func TestParametersListEveryField(t *testing.T) {
	r := HouseDefault()
	params := Parameters(r)
	byName := map[string]Parameter{}
	for _, p := range params {
		if p.Mark == "" || (p.Source == "" && p.Mark != houseValue) {
			t.Errorf("%s has no grounds: %+v", p.Name, p)
		}
		byName[p.Name] = p
	}
	if len(byName) != len(params) {
		t.Error("a name is there twice")
	}
	// Every number of a resin's file is in the table with its value.
	b, _ := json.Marshal(r)
	var fields map[string]any
	if err := json.Unmarshal(b, &fields); err != nil {
		t.Fatal(err)
	}
	for name, v := range fields {
		if num, ok := v.(float64); ok {
			if p, ok := byName[name]; !ok || p.Value != num {
				t.Errorf("%s = %v is not in the table (%+v)", name, num, p)
			}
		}
	}
	r.Q10, r.Q10Fitted, r.WorkUntilMin, r.LiquidGPerML = 2.3, true, 40, 0.95
	for _, p := range Parameters(r) {
		want := map[string]grounds{"q10": ownMarks, "work_until_min": ownSetting, "liquid_g_per_ml": ownSetting, "polymer_g_per_cc": published}[p.Name]
		if want != "" && p.Mark != want {
			t.Errorf("%s is marked %q, want %q", p.Name, p.Mark, want)
		}
	}
}

// anyResin draws a resin that validates.
func anyResin(t *rapid.T) Resin {
	r := HouseDefault()
	r.Ratio = rapid.Float64Range(1, 4).Draw(t, "ratio")
	r.RefTempC = rapid.Float64Range(15, 30).Draw(t, "ref_temp_c")
	r.DoughFromMin = rapid.Float64Range(1, 30).Draw(t, "dough_from_min")
	r.WorkUntilMin = r.DoughFromMin * rapid.Float64Range(1.2, 10).Draw(t, "work/dough")
	r.Q10 = rapid.Float64Range(1.05, 5).Draw(t, "q10")
	r.WarmTauMin = rapid.Float64Range(2, 120).Draw(t, "warm_tau_min")
	r.MixLnSD = rapid.Float64Range(0.01, 0.5).Draw(t, "mix_ln_sd")
	if err := r.Validate(); err != nil {
		t.Fatal(err)
	}
	return r
}
