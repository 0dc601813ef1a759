package cure

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// goldenFile is testdata/cure/golden.json: reference cases computed with SciPy's Radau at rtol 1e-8 from the same
// equations on the same grid, independently of this package.
type goldenFile struct {
	Defaults map[string]float64 `json:"defaults"`
	Cases    []struct {
		Name   string             `json:"name"`
		Params map[string]float64 `json:"params"`
		Bath   [][2]float64       `json:"bath"`
		TEnd   float64            `json:"t_end"`
		Times  []float64          `json:"times"`
		GridA  goldenOut          `json:"grid_a"`
		GridB  goldenOut          `json:"grid_b"`
	} `json:"cases"`
}

type goldenOut struct {
	Core     []float64 `json:"core"`
	WCore    []float64 `json:"w_core"`
	Peak     float64   `json:"peak"`
	Over     float64   `json:"over"`
	TOverMin float64   `json:"t_over_min"`
	WMeanEnd float64   `json:"w_mean_end"`
	WMaxEnd  float64   `json:"w_max_end"`
}

func readGolden(t testing.TB) goldenFile {
	t.Helper()
	raw, err := os.ReadFile("../../testdata/cure/golden.json")
	if err != nil {
		t.Fatal(err)
	}
	var g goldenFile
	if err := json.Unmarshal(raw, &g); err != nil {
		t.Fatal(err)
	}
	if len(g.Cases) != 6 {
		t.Fatalf("%d reference cases, want 6", len(g.Cases))
	}
	return g
}

func knots(pairs [][2]float64) []Knot {
	out := make([]Knot, len(pairs))
	for i, p := range pairs {
		out[i] = Knot{p[0], p[1]}
	}
	return out
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g ± %g", what, got, want, tol)
	}
}

// Acceptance 1 (golden) and 4 (energy), through the public names as a command would use them.
func TestGolden(t *testing.T) {
	for _, c := range readGolden(t).Cases {
		t.Run(c.Name, func(t *testing.T) {
			p := Defaults()
			for name, v := range c.Params {
				if err := p.Set(name, v); err != nil {
					t.Fatal(err)
				}
			}
			r, err := Simulate(p, knots(c.Bath), RunOptions{EndS: c.TEnd, AtS: c.Times})
			if err != nil {
				t.Fatal(err)
			}
			worstT, worstW := 0.0, 0.0
			for i := range c.Times {
				near(t, "core", r.Core[i], c.GridA.Core[i], 0.05)
				near(t, "w_core", r.WCore[i], c.GridA.WCore[i], 0.03)
				worstT = math.Max(worstT, math.Abs(r.Core[i]-c.GridA.Core[i]))
				worstW = math.Max(worstW, math.Abs(r.WCore[i]-c.GridA.WCore[i]))
			}
			near(t, "peak", r.Peak, c.GridA.Peak, 0.03)
			near(t, "over", r.Over, c.GridA.Over, 0.03)
			near(t, "t_over_min", r.TOverMin, c.GridA.TOverMin, 0.2)
			near(t, "w_mean_end", r.WMeanEnd, c.GridA.WMeanEnd, 0.002)
			near(t, "w_max_end", r.WMaxEnd, c.GridA.WMaxEnd, 0.002)
			if r.EnergyErr > 1e-12 {
				t.Errorf("energy not accounted for: %.2g of the heat stored, want <= 1e-12", r.EnergyErr)
			}
			t.Logf("core %.4f K, monomer %.5f wt%%, peak %.4f, over %.4f, t_over %.3f, w_mean %.6f, energy %.1e, steps %d + %d",
				worstT, worstW, r.Peak-c.GridA.Peak, r.Over-c.GridA.Over, r.TOverMin-c.GridA.TOverMin, r.WMeanEnd-c.GridA.WMeanEnd, r.EnergyErr, r.Steps, r.Rejected)

			fine, err := Simulate(p, knots(c.Bath), RunOptions{EndS: c.TEnd, AtS: c.Times, GypsumCells: 48, ResinCells: 32, Tol: 1e-6})
			if err != nil {
				t.Fatal(err)
			}
			for i := range c.Times {
				near(t, "fine core", fine.Core[i], c.GridB.Core[i], 0.003)
				near(t, "fine w_core", fine.WCore[i], c.GridB.WCore[i], 0.001)
			}
			near(t, "fine over", fine.Over, c.GridB.Over, 0.01)
			near(t, "fine w_mean_end", fine.WMeanEnd, c.GridB.WMeanEnd, 0.0002)
		})
	}
}
