package cure

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
)

// Names and defaults against the reference cases' own list, the JSON names against the table's.
func TestTableAgainstReference(t *testing.T) {
	g := readGolden(t)
	p := Defaults()
	raw, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	var asJSON map[string]float64
	if err := json.Unmarshal(raw, &asJSON); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, row := range p.Table() {
		want, ok := g.Defaults[row.Name]
		if !ok {
			t.Errorf("%s is not a name of the reference", row.Name)
		}
		near(t, row.Name, row.Value, want, 1e-12*math.Abs(want))
		near(t, row.Name+" in JSON", asJSON[row.Name], row.Value, 0)
		if seen[row.Name] {
			t.Errorf("%s is there twice in the table", row.Name)
		}
		seen[row.Name] = true
		if row.Meaning == "" || row.Unit == "" || row.Band == "" || row.Source == "" {
			t.Errorf("%s: a column is empty: %+v", row.Name, row)
		}
		switch row.Mark {
		case published, commonPractice, fromMemory, houseDefault:
		default:
			t.Errorf("%s: mark %q", row.Name, row.Mark)
		}
		if !(row.Low <= row.Value && row.Value <= row.High) {
			t.Errorf("%s: default %g outside %g to %g", row.Name, row.Value, row.Low, row.High)
		}
	}
	if len(seen) != len(g.Defaults) || len(asJSON) != len(seen) {
		t.Errorf("%d rows, %d JSON names, %d names in the reference", len(seen), len(asJSON), len(g.Defaults))
	}
}

// Every row reads and writes its own field, and no other.
func TestSetEveryName(t *testing.T) {
	d := Defaults()
	for i, row := range d.Table() {
		p := Defaults()
		v := row.Low + (row.High-row.Low)*0.25
		if err := p.Set(row.Name, v); err != nil {
			t.Errorf("%s = %g: %v", row.Name, v, err)
			continue
		}
		for j, got := range p.Table() {
			want := d.Table()[j].Value
			if i == j {
				want = v
			}
			if got.Value != want {
				t.Errorf("setting %s: %s is %g, want %g", row.Name, got.Name, got.Value, want)
			}
		}
	}
}

func TestSetRefuses(t *testing.T) {
	for _, row := range []struct {
		name  string
		value float64
		says  string
	}{
		{"half_resin", -0.001, "half_resin"},
		{"half_resin", 0, "half_resin"},
		{"half_resin", math.NaN(), "half_resin"},
		{"T0", 400 + Kelvin, "T0"},
		{"pl", 0, "pl"},
		{"bpo", 1.5, "bpo"},
		{"k_g", math.Inf(1), "k_g"},
		{"gel", 0.5, "0 or 1"},
		{"Lx", 1e-6, "0 or at least"},
		{"thickness", 3, "half_resin, gyp_lo"},
	} {
		p := Defaults()
		err := p.Set(row.name, row.value)
		if err == nil || !strings.Contains(err.Error(), row.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("Set(%s, %g): error %v, want one line with %q", row.name, row.value, err, row.says)
		}
		if p != Defaults() {
			t.Errorf("Set(%s, %g) changed something", row.name, row.value)
		}
	}
	p := Defaults()
	p.Ly = 0
	if err := p.validate(); err == nil {
		t.Error("Ly 0 with Lx not 0 was taken")
	}
}

func TestForSection(t *testing.T) {
	for _, row := range []struct {
		mm       float64
		size     string
		half, gy float64
	}{
		{3, "", 1.5e-3, 25e-3}, {3, "medium", 1.5e-3, 25e-3}, {6, "medium", 3e-3, 23.5e-3}, {10, "", 5e-3, 21.5e-3},
		{3, "small", 1.5e-3, 18e-3}, {3, "large", 1.5e-3, 32e-3},
	} {
		p, err := ForSection(row.mm, row.size)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "half", p.HalfResin, row.half, 1e-15)
		near(t, "gypsum", p.GypsumLo, row.gy, 1e-15)
		near(t, "gypsum", p.GypsumHi, row.gy, 1e-15)
		near(t, "section", p.SectionMM(), row.mm, 1e-12)
	}
	for _, mm := range []float64{-3, 0, 44, math.NaN(), math.Inf(1)} {
		if _, err := ForSection(mm, ""); err == nil {
			t.Errorf("%g mm was taken", mm)
		}
	}
	if _, err := ForSection(3, "huge"); err == nil {
		t.Error("size huge was taken")
	}

	// From a flask whose two sides differ, the difference stays and so does the inner height.
	p := Defaults()
	p.GypsumLo, p.GypsumHi = 20e-3, 30e-3
	if err := p.SetSection(9); err != nil {
		t.Fatal(err)
	}
	near(t, "lower", p.GypsumLo, 17e-3, 1e-12)
	near(t, "upper", p.GypsumHi, 27e-3, 1e-12)
	near(t, "inner height", 2*p.HalfResin+p.GypsumLo+p.GypsumHi, 53e-3, 1e-12)
}

func TestSimulateRefuses(t *testing.T) {
	good := []Knot{{0, 74}, {3600, 74}}
	bad := Defaults()
	bad.HalfResin = -1
	for _, row := range []struct {
		what string
		p    Params
		bath []Knot
		o    RunOptions
	}{
		{"negative thickness", bad, good, RunOptions{}},
		{"no bath", Defaults(), nil, RunOptions{EndS: 60}},
		{"400 °C", Defaults(), []Knot{{0, 400}}, RunOptions{EndS: 60}},
		{"NaN bath", Defaults(), []Knot{{0, math.NaN()}}, RunOptions{EndS: 60}},
		{"NaN time", Defaults(), []Knot{{math.NaN(), 74}}, RunOptions{EndS: 60}},
		{"time back", Defaults(), []Knot{{0, 74}, {60, 74}, {30, 74}}, RunOptions{EndS: 60}},
		{"time twice", Defaults(), []Knot{{0, 74}, {60, 74}, {60, 80}}, RunOptions{EndS: 60}},
		{"no length", Defaults(), []Knot{{0, 74}}, RunOptions{}},
		{"endless", Defaults(), good, RunOptions{EndS: math.Inf(1)}},
		{"a year", Defaults(), good, RunOptions{EndS: 365 * 86400}},
		{"asked outside", Defaults(), good, RunOptions{AtS: []float64{3601}}},
		{"asked NaN", Defaults(), good, RunOptions{AtS: []float64{math.NaN()}}},
		{"asked too much", Defaults(), good, RunOptions{AtS: make([]float64, maxAt+1)}},
		{"odd cells", Defaults(), good, RunOptions{ResinCells: 7}},
		{"cells", Defaults(), good, RunOptions{GypsumCells: 100000}},
		{"negative step", Defaults(), good, RunOptions{FixedStepS: -1}},
		{"tiny step", Defaults(), good, RunOptions{FixedStepS: 1e-9}},
		{"tolerance", Defaults(), good, RunOptions{Tol: math.NaN()}},
	} {
		if _, err := Simulate(row.p, row.bath, row.o); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: error %v, want one line", row.what, err)
		}
	}
}

// The result as JSON carries the agreed names.
func TestResultJSON(t *testing.T) {
	r, err := Simulate(Defaults(), []Knot{{0, 74}}, RunOptions{EndS: 7200, AtS: []float64{3600, 0, 1800}})
	if err != nil {
		t.Fatal(err)
	}
	raw, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(raw, &m); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"core", "w_core", "peak", "over", "t_over_min", "w_mean_end", "w_max_end", "times", "parameters", "curve"} {
		if _, ok := m[name]; !ok {
			t.Errorf("JSON has no %q", name)
		}
	}
	// In the order asked for, the start included.
	near(t, "core at 60 min", r.Core[0], 75.632, 0.05)
	near(t, "core at 0", r.Core[1], 22, 1e-9)
	near(t, "monomer at 0", r.WCore[1], 100.0/3, 1e-9)
	near(t, "core at 30 min", r.Core[2], 64.434, 0.05)

	bare, err := Simulate(Defaults(), []Knot{{0, 74}}, RunOptions{EndS: 60, WithoutCurve: true})
	if err != nil {
		t.Fatal(err)
	}
	if raw, err = json.Marshal(bare); err != nil || !strings.Contains(string(raw), `"core":[]`) {
		t.Errorf("no times asked: %s, %v, want an empty list", raw, err)
	}
}

// A run from a plan to a landed time twice gives the same, and a run of two sections is the two runs.
func TestRun(t *testing.T) {
	thin, thick := section(t, 2, ""), section(t, 10, "")
	bath := []Knot{{0, 74}, {9 * 3600, 74}}
	e, err := Run(thin, thick, bath, RunOptions{})
	if err != nil {
		t.Fatal(err)
	}
	a, b := run(t, thin, bath, 9), run(t, thick, bath, 9)
	if e.Thinnest.WMeanEnd != a.WMeanEnd || e.Thickest.Peak != b.Peak {
		t.Error("Run differs from the two runs")
	}
	if e.Range.Residual.Value != a.WMeanEnd || e.Range.Peak.Value != b.Peak {
		t.Errorf("residual %g and peak %g are not the thin and the thick section's", e.Range.Residual.Value, e.Range.Peak.Value)
	}
	if _, err := Run(Params{}, thick, bath, RunOptions{}); err == nil {
		t.Error("a thin section of nothing was taken")
	}
}

// When a bath dips after the flask went in, the hold starts when it is back for good, for the core when it gets there.
func TestHoldStarts(t *testing.T) {
	prog := Programme{Stages: []Stage{{TempC: 74, Hold: 2 * time.Hour}, {100, time.Hour, 30 * time.Minute}}}
	bath := []Knot{{0, 74}, {180, 70}, {900, 74}, {7200, 74}, {9600, 100}, {12600, 100}}
	r, err := Simulate(Defaults(), bath, RunOptions{})
	if err != nil {
		t.Fatal(err)
	}
	starts := HoldStarts(prog, bath, &r)
	if len(starts) != 2 || !starts[0].Bath || !starts[0].Core || !starts[1].Bath || !starts[1].Core {
		t.Fatalf("%+v", starts)
	}
	near(t, "first plan", starts[0].PlanMin, 0, 0)
	near(t, "bath back", starts[0].BathMin, 9, 1e-9) // 70 + 4 K/12 min passes 72 at 3 + 6 min
	near(t, "core there", starts[0].CoreMin, 45, 5)
	near(t, "second plan", starts[1].PlanMin, 150, 1e-9)
	near(t, "second bath", starts[1].BathMin, (7200+2400*24.0/26)/60, 1e-9)
	if starts[1].CoreMin <= starts[1].BathMin {
		t.Errorf("core at 98 °C after %.1f min, before its bath (%.1f)", starts[1].CoreMin, starts[1].BathMin)
	}
	never := HoldStarts(prog, []Knot{{0, 60}}, &Result{})
	if never[0].Bath || never[0].Core || never[1].Bath {
		t.Errorf("a bath at 60 °C: %+v", never)
	}
	// A bath that never leaves has been there from the start.
	level := HoldStarts(prog, []Knot{{0, 74}, {7200, 74}}, &r)
	if !level[0].Bath || level[0].BathMin != 0 {
		t.Errorf("level bath: %+v", level[0])
	}
}
