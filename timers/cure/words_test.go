package cure

import (
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// mustNeverSay are the words no output may carry.
var mustNeverSay = []string{"safe", "passed", "no porosity"}

func forbidden(text string) string {
	low := strings.ToLower(text)
	for _, w := range mustNeverSay {
		if strings.Contains(low, w) {
			return w
		}
	}
	return ""
}

// Acceptance 10, form: a band, "< 0.3 %" below 0.3, "> 130 °C" above 130, notes outside the tried range, the estimate
// note, and never the words.
func TestRangeWords(t *testing.T) {
	for _, row := range []struct {
		mm, bathC, hours float64
		says, saysNot    []string
	}{
		{3, 74, 9, []string{"1.5 to 3.7 %, about 2.3 %", "for comparison, ISO 20795-1 allows 2.2 %; only a laboratory test shows conformity", "73 to 79 °C, about 76 °C", "about 59 min", "within 2 K of the bath at about 44 min"},
			[]string{"note:", "caution"}},
		{6, 74, 9, []string{"74 to 86 °C, about 80 °C"}, []string{"caution"}},
		{8, 74, 9, []string{"about 86 °C"}, []string{"caution"}},
		{10, 74, 9, []string{"80 to 114 °C, about 97 °C", "caution: core may pass 100.8 °C"}, nil},
		{6, 85, 9, nil, []string{"caution"}},
		{8, 85, 9, []string{"caution"}, nil},
		{3, 100, 1, []string{"core hardly above the bath"}, []string{"caution"}},
		{3, 100, 12, []string{"< 0.3 %", "a residual below 0.3 % is outside the model"}, []string{"caution", "about 0.1 %"}},
		{5, 100, 1, []string{"caution"}, nil},
		{10, 100, 1, []string{"core peak > 130 °C", "outside the model, which leaves out boiling", "times the air's pressure", "< 0.3 %"}, []string{"150 °C"}},
		{14, 74, 9, []string{"note: half_resin", "where the model was tried"}, nil},
		{3, 50, 2, []string{"core not within 2 K of a bath of 60 °C or more", "under 60 °C", "only a laboratory test"}, nil},
		{3, 105, 9, []string{"note: bath up to 105 °C"}, nil},
		{3, 80, 9, []string{"only a laboratory test shows conformity"}, []string{"under", "inside", "over the"}},
	} {
		hours := row.hours
		if row.bathC == 50 {
			hours = 0.3
		}
		r := run(t, section(t, row.mm, ""), []Knot{{0, row.bathC}}, hours)
		rg := rangeOf(&r, &r)
		text := rg.String()
		for _, s := range append(row.says, EstimateNote) {
			if !strings.Contains(text, s) {
				t.Errorf("%g mm, %g °C, %g h: no %q in\n%s", row.mm, row.bathC, hours, s, text)
			}
		}
		for _, s := range row.saysNot {
			if strings.Contains(text, s) {
				t.Errorf("%g mm, %g °C, %g h: %q in\n%s", row.mm, row.bathC, hours, s, text)
			}
		}
		if lines := rg.Text(); lines[len(lines)-1] != EstimateNote {
			t.Errorf("the last line is %q", lines[len(lines)-1])
		}
	}

	// Times: 30 % early to 40 % late for the exotherm; for the core at the bath 43 min was 33 to 56.
	thin := run(t, Defaults(), []Knot{{0, 74}}, 9)
	band := rangeOf(&thin, &thin)
	near(t, "exotherm early", band.ExothermMin.Low, 0.7*thin.TOverMin, 1e-9)
	near(t, "exotherm late", band.ExothermMin.High, 1.4*thin.TOverMin, 1e-9)
	near(t, "core at the bath early", band.AtBathMin.Low, 33, 1)
	near(t, "core at the bath late", band.AtBathMin.High, 56, 2)

	p := Defaults()
	p.PowderLiquid, p.Peroxide = 1.5, 0.02
	r := run(t, p, []Knot{{0, 74}}, 9)
	rg := rangeOf(&r, &r)
	if len(rg.Notes) < 2 || !strings.Contains(rg.String(), "pl (") || !strings.Contains(rg.String(), "bpo (") {
		t.Errorf("no notes on ratio and peroxide: %v", rg.Notes)
	}
}

// A boil after a long hold does not raise the caution in a thin base, whose core only follows the bath.
func TestBoilStageIsNoCaution(t *testing.T) {
	for _, mm := range []float64{2, 3, 4, 6} {
		r, err := Simulate(section(t, mm, ""), Common()[1].Knots(22), RunOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if rg := rangeOf(&r, &r); rg.MayBoil {
			t.Errorf("%g mm in %s: %s", mm, Common()[1], rg.CautionText)
		}
	}
}

// The widths at the thicknesses they are given for, and growing between.
func TestPeakHalfWidth(t *testing.T) {
	for _, row := range []struct{ mm, bathC, want float64 }{
		{2, 74, 3}, {3, 74, 3}, {3, 100, 3}, {6, 70, 6}, {6, 74, 6}, {6, 100, 10}, {10, 74, 17}, {10, 100, 17}, {8, 74, 11.5},
	} {
		near(t, "half width", peakHalfWidth(row.mm, row.bathC), row.want, 1e-12)
	}
	for _, c := range []float64{60, 74, 85, 100} {
		for mm := 1.0; mm < 20; mm += 0.25 {
			if peakHalfWidth(mm+0.25, c) < peakHalfWidth(mm, c) {
				t.Errorf("at %g mm and %g °C the width falls", mm, c)
			}
		}
	}
	// Published 5 to 95 % ranges lie within them, but for the far tail of the thick ones.
	for _, row := range []struct{ mm, bathC, mid, lo, hi float64 }{
		{3, 74, 75.5, 73.9, 77.4}, {6, 74, 80, 77, 84}, {6, 100, 107, 99, 117}, {8, 100, 129, 116, 141},
	} {
		w := peakHalfWidth(row.mm, row.bathC)
		if row.mid-w > row.lo || row.mid+w < row.hi-1 {
			t.Errorf("%g mm at %g °C: ± %.1f K does not hold %g to %g", row.mm, row.bathC, w, row.lo, row.hi)
		}
	}
}

// Whatever was run, the words are finite, carry the note and never the forbidden ones.
func TestWordsNever(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, bath, o := anyInput(t)
		r, err := Simulate(p, bath, o)
		if err != nil {
			t.Fatal(err)
		}
		rg := rangeOf(&r, &r)
		text := rg.String()
		if w := forbidden(text); w != "" || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") || !strings.Contains(text, EstimateNote) {
			t.Fatalf("%q in\n%s", w, text)
		}
		for _, b := range []Band{rg.Residual, rg.Peak, rg.ExothermMin, rg.AtBathMin, rg.OverK} {
			if !(b.Low <= b.Value && b.Value <= b.High) || math.IsInf(b.High, 0) {
				t.Fatalf("band %+v", b)
			}
		}
		for _, v := range []struct {
			is  bool
			say string
		}{{r.WMeanEnd < 0.3, "< 0.3 %"}, {r.Peak > 130, "> 130 °C"}} {
			if v.is && !strings.Contains(text, v.say) {
				t.Fatalf("no %q in\n%s", v.say, text)
			}
		}
	})
}

// No string in the package's code carries the forbidden words: not in an error, a note or the table either.
func TestNoForbiddenStrings(t *testing.T) {
	files, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), f.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				s, err := strconv.Unquote(lit.Value)
				if err != nil {
					t.Fatal(err)
				}
				seen++
				if w := forbidden(s); w != "" {
					t.Errorf("%s: %q carries %q", f.Name(), s, w)
				}
			}
			return true
		})
	}
	if seen < 100 {
		t.Errorf("only %d strings looked at", seen)
	}
	if len(Limits()) < 8 {
		t.Errorf("only %d limits", len(Limits()))
	}
}
