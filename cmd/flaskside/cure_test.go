package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flaskside/timers/cure"
)

// told runs the command line and gives what it prints.
func told(t *testing.T, args ...string) string {
	t.Helper()
	var out, side bytes.Buffer
	root := rootCommand()
	root.SetArgs(append(args, "--book", filepath.Join(t.TempDir(), "none.db")))
	root.SetOut(&out)
	root.SetErr(&side)
	if err := root.Execute(); err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return out.String()
}

// TestCureAgainstTheReferenceCases gives every reference case in testdata/cure
// (SciPy's Radau, see the README there) on the command line, each parameter by its
// name, and holds the JSON against it within the tolerances of the acceptance
// checks: core 0.05 K, monomer of the core 0.03 wt%, overshoot 0.03 K, residual
// 0.002 wt%.
func TestCureAgainstTheReferenceCases(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/cure/golden.json")
	if err != nil {
		t.Fatal(err)
	}
	var golden struct {
		Cases []struct {
			Name   string
			Params map[string]float64
			Bath   [][2]float64
			TEnd   float64 `json:"t_end"`
			Times  []float64
			Grid   struct {
				Core     []float64
				WCore    []float64 `json:"w_core"`
				Peak     float64
				Over     float64
				TOverMin float64 `json:"t_over_min"`
				WMeanEnd float64 `json:"w_mean_end"`
				WMaxEnd  float64 `json:"w_max_end"`
			} `json:"grid_a"`
		}
	}
	if err := json.Unmarshal(raw, &golden); err != nil {
		t.Fatal(err)
	}
	if len(golden.Cases) < 6 {
		t.Fatalf("%d cases", len(golden.Cases))
	}
	for _, c := range golden.Cases {
		var points, minutes []string
		for _, p := range c.Bath {
			points = append(points, fmt.Sprintf("%g:%g", p[0]/60, p[1]))
		}
		if last := c.Bath[len(c.Bath)-1]; last[0] < c.TEnd {
			points = append(points, fmt.Sprintf("%g:%g", c.TEnd/60, last[1]))
		}
		for _, s := range c.Times {
			minutes = append(minutes, fmt.Sprintf("%g", s/60))
		}
		args := []string{"cure", "--json", "--bath", strings.Join(points, ","), "--at-minutes", strings.Join(minutes, ",")}
		for name, v := range c.Params {
			args = append(args, "--set", fmt.Sprintf("%s=%g", name, v))
		}
		var got struct {
			cure.Result
			Range cure.Range
			Note  string
		}
		if err := json.Unmarshal([]byte(told(t, args...)), &got); err != nil {
			t.Fatal(err)
		}
		near := func(what string, got, want, tol float64) {
			if math.Abs(got-want) > tol {
				t.Errorf("%s: %s is %g, want %g", c.Name, what, got, want)
			}
		}
		for i := range c.Times {
			near(fmt.Sprintf("core at %g s", c.Times[i]), got.Core[i], c.Grid.Core[i], 0.05)
			near(fmt.Sprintf("monomer at %g s", c.Times[i]), got.WCore[i], c.Grid.WCore[i], 0.03)
		}
		near("over", got.Over, c.Grid.Over, 0.03)
		near("t_over_min", got.TOverMin, c.Grid.TOverMin, 0.3)
		near("peak", got.Peak, c.Grid.Peak, 0.05)
		near("w_mean_end", got.WMeanEnd, c.Grid.WMeanEnd, 0.002)
		near("w_max_end", got.WMaxEnd, c.Grid.WMaxEnd, 0.01)
		for name, v := range c.Params {
			p := got.Params
			for _, row := range p.Table() {
				if row.Name == name {
					near("parameter "+name, row.Value, v, 1e-12)
				}
			}
		}
		if got.Note != cure.EstimateNote || got.Range.ResidualText == "" {
			t.Errorf("%s: the range or the note is missing", c.Name)
		}
	}
}

// TestKeepsTheInnerHeight: --mm takes from the gypsum what it gives to the resin, as
// the reference cases do: 25 mm each side at 3 mm.
func TestKeepsTheInnerHeight(t *testing.T) {
	var got cure.Result
	if err := json.Unmarshal([]byte(told(t, "cure", "--json", "--programme", "74C 1h", "--mm", "10", "--start-c", "30")), &got); err != nil {
		t.Fatal(err)
	}
	p := got.Params
	if p.HalfResin != 0.005 || math.Abs(p.GypsumLo-0.0215) > 1e-12 || math.Abs(p.GypsumHi-0.0215) > 1e-12 || p.Start != 303.15 {
		t.Errorf("the parameters are %+v", p)
	}
}

// TestBothSections: --mm decides the residual, --thick-mm the peak.
func TestBothSections(t *testing.T) {
	var got struct {
		WMeanEnd float64 `json:"w_mean_end"`
		Peak     float64
		Thickest cure.Result
		Range    cure.Range
	}
	if err := json.Unmarshal([]byte(told(t, "cure", "--json", "--programme", "74C 9h", "--mm", "2", "--thick-mm", "8")), &got); err != nil {
		t.Fatal(err)
	}
	if got.Range.Residual.Value != got.WMeanEnd || got.Range.Peak.Value != got.Thickest.Peak || got.Thickest.Peak < got.Peak+5 {
		t.Errorf("told %+v", got)
	}
}
