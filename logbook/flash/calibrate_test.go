package flash

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"flaskside/timers/longrun"
)

// elsewhere is an invented lab unlike the house defaults.
func elsewhere() TrendSettings {
	s := HouseDefaults()
	s.GradeSD, s.WeighSD = 0.35, 0.18
	s.Prior.Medium = Prior{FirstG: 12, FirstSD: 0.45, Kept: 0.42, KeptSD: 0.2}
	return s
}

func lab(seed uint64, s TrendSettings, flasks int, weighed float64, sizes ...Size) (hs []History) {
	rng := rand.New(rand.NewPCG(seed, 3))
	for i := range flasks {
		hs = append(hs, simulate(rng, s, sizes[i%len(sizes)], weighed, 12))
	}
	return hs
}

// From a simulated book the values that made it come back, and forecast its later flasks
// better than the house defaults do; what too little stands behind is kept and counted.
func TestCalibrate(t *testing.T) {
	longrun.SkipUnderRace(t)
	truth := elsewhere()
	many := longrun.Times(28, 100)
	hs := append(lab(2, truth, many, 0.25, Medium), lab(1, truth, 12, 0, Small)...) // enough of one size in the earlier half
	c, err := Calibrate(hs, HouseDefaults())
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []struct {
		name      string
		got, want float64
		tol       float64 // of ln, a few standard errors with 100 flasks
	}{
		{"first_g", c.New.Prior.Medium.FirstG, 12, 0.2},
		{"first_sd", c.New.Prior.Medium.FirstSD, 0.45, 0.3},
		{"kept", c.New.Prior.Medium.Kept, 0.42, 0.12},
		{"kept_sd", c.New.Prior.Medium.KeptSD, 0.2, 0.35},
		{"grade_sd", c.New.GradeSD, 0.35, 0.35},
		{"weigh_sd", c.New.WeighSD, 0.18, 0.2},
	} {
		if math.Abs(math.Log(v.got/v.want)) > v.tol*math.Sqrt(100/float64(many)) {
			t.Errorf("%s = %.3f, want about %.3f", v.name, v.got, v.want)
		}
	}
	if err := c.New.Validate(); err != nil {
		t.Error(err)
	}
	if c.New.Prior.Small != HouseDefaults().Prior.Small || c.New.Prior.Large != HouseDefaults().Prior.Large {
		t.Error("priors with too little behind them were changed")
	}
	if c.New.NoneBelowG != c.Old.NoneBelowG || c.New.HeavyAboveG != c.Old.HeavyAboveG {
		t.Error("the borders of the grades were changed")
	}
	if c.Small.Flasks != 12 || c.Small.Wanting != WantFlasks-12 || c.Large.Wanting != WantFlasks || c.Medium.Flasks != many || c.Medium.Wanting != 0 {
		t.Errorf("behind %+v %+v %+v", c.Small, c.Medium, c.Large)
	}
	closures := 0
	for _, h := range hs {
		closures += len(h.Trials)
	}
	if got := c.Small.Closures + c.Medium.Closures; got != closures || c.OldForecasts.Closures != closures {
		t.Errorf("%d closures behind, %d forecast, not %d", got, c.OldForecasts.Closures, closures)
	}
	if c.NewLogEvidence < c.OldLogEvidence+10 {
		t.Errorf("log evidence %.1f, before %.1f", c.NewLogEvidence, c.OldLogEvidence)
	}
	if c.Later == nil || c.Later.Flasks != (12+many)/2 || !(c.Later.New.Brier < 0.85*c.Later.Old.Brier) {
		t.Errorf("on the later half: %+v", c.Later)
	}
	if _, err := json.Marshal(c); err != nil {
		t.Error(err)
	}
}

// The weak pull keeps a book that the house defaults describe near them.
func TestCalibrateKeepsWhatIsRight(t *testing.T) {
	c, err := Calibrate(lab(5, HouseDefaults(), 60, 0.05, Small, Medium, Large), HouseDefaults())
	if err != nil {
		t.Fatal(err)
	}
	far := 0.0
	old, now := HouseDefaults(), c.New
	for _, z := range Sizes() {
		a, b := old.Prior.at(z), now.Prior.at(z)
		for _, p := range [][2]float64{{a.FirstG, b.FirstG}, {a.FirstSD, b.FirstSD}, {a.Kept, b.Kept}, {a.KeptSD, b.KeptSD}} {
			far = math.Max(far, math.Abs(math.Log(p[0]/p[1])))
		}
	}
	if far == 0 || far > math.Log(1.8) {
		t.Errorf("moved by up to × %.2f:\n%+v", math.Exp(far), now)
	}
	if c.NewForecasts.Brier > c.OldForecasts.Brier+0.01 {
		t.Errorf("Brier %.3f, before %.3f", c.NewForecasts.Brier, c.OldForecasts.Brier)
	}
}

func TestCalibrateTooFew(t *testing.T) {
	_, err := Calibrate(lab(7, HouseDefaults(), 7, 0, Medium), HouseDefaults())
	if err == nil || !strings.Contains(err.Error(), "too few closures to learn from: at least 20 small, 13 medium or 20 large flasks") {
		t.Error(err)
	}
	if _, err := Calibrate(nil, HouseDefaults()); err == nil {
		t.Error("learned from nothing")
	}
	// Twenty are enough for the size, but not for a half of it.
	c, err := Calibrate(lab(7, HouseDefaults(), 20, 0, Medium), HouseDefaults())
	if err != nil || c.Later != nil || c.Weigh.Wanting != wantWeighed {
		t.Errorf("%+v, %v", c, err)
	}
	bad := lab(7, HouseDefaults(), 30, 0, Medium)
	bad[4].Trials = []Trial{{}}
	if _, err := Calibrate(bad, HouseDefaults()); err == nil || !strings.Contains(err.Error(), "flask 5: trial 1: the grade is missing") {
		t.Error(err)
	}
	// Only the latest flasks are used, so a book of any length takes bounded time: the bad
	// one is out of sight.
	c, err = Calibrate(append(bad, lab(8, HouseDefaults(), maxFlasks, 0, Small)...), HouseDefaults())
	if err != nil || c.Small.Flasks != maxFlasks || c.Medium.Flasks != 0 {
		t.Errorf("%+v, %v", c.Small, err)
	}
}

// Forecasts under the settings that made the flasks are well calibrated: over the bins the
// seen fractions scatter about the forecasts as chi-square.
func TestScoreIsCalibrated(t *testing.T) {
	hs := lab(11, HouseDefaults(), 600, 0.2, Small, Medium, Large)
	f, err := Score(HouseDefaults(), hs)
	if err != nil {
		t.Fatal(err)
	}
	chi2 := func(f Forecasts) (sum, n float64) {
		for _, b := range f.Bins {
			v := b.Predicted * (1 - b.Predicted) / float64(b.Closures)
			sum += (b.Seen - b.Predicted) * (b.Seen - b.Predicted) / v
			n++
		}
		return sum, n
	}
	sum, n := chi2(f)
	if limit := (distuv.ChiSquared{K: n}).Quantile(0.999); sum > limit {
		t.Errorf("chi-square %.1f on %g bins: %+v", sum, n, f)
	}
	if !(f.Brier < f.BrierBase) || math.Abs(f.Predicted-f.Seen) > 0.03 {
		t.Errorf("%+v", f)
	}
	// The same test sees it when the settings are others.
	other, err := Score(elsewhere(), hs)
	if err != nil {
		t.Fatal(err)
	}
	if sum, n := chi2(other); sum < (distuv.ChiSquared{K: n}).Quantile(0.999) {
		t.Errorf("chi-square %.1f does not see wrong settings", sum)
	}
}

// By hand: two flasks, three forecasts.
func TestScoreByHand(t *testing.T) {
	s := HouseDefaults()
	hs := []History{{Size: Medium, Trials: trials(t, "heavy,slight")}, {Size: Medium, Trials: trials(t, "none")}}
	p1 := 1 - fit(t, s, History{Size: Medium}).Next.Heavy
	p2 := 1 - fit(t, s, History{Size: Medium, Trials: trials(t, "heavy")}).Next.Heavy
	f, err := Score(s, hs)
	if err != nil {
		t.Fatal(err)
	}
	if f.Closures != 3 || len(f.Bins) != 2 || f.Bins[0].Closures != 2 || f.Bins[1].From != 0.1 {
		t.Errorf("%+v", f)
	}
	near(t, "predicted", f.Predicted, (2*p1+p2)/3, 1e-6)
	near(t, "seen", f.Seen, 2.0/3, 1e-12)
	near(t, "Brier", f.Brier, (p1*p1+(1-p2)*(1-p2)+(1-p1)*(1-p1))/3, 1e-6)
	near(t, "base", f.BrierBase, 2.0/9, 1e-12)
	if f, err := Score(s, nil); err != nil || f.Closures != 0 || math.IsNaN(f.Brier) {
		t.Errorf("of nothing: %+v, %v", f, err)
	}
}

// Worked example of the median absolute deviation: of 1, 1, 2, 2, 4, 6, 9 the median is 2
// and the deviation 1 (textbook example, from memory).
func TestTypical(t *testing.T) {
	got := TypicalOf([]float64{9, 1, 6, 2, 4, 1, 2})
	if got.Count != 7 || got.LeftOut != 0 || got.MedianS != 2 || got.SpreadS != 1.4826 {
		t.Errorf("%+v", got)
	}
	// Wild values hardly move it; values that cannot be are left out and counted.
	got = TypicalOf([]float64{40, 44, 42, 43, 41, 36000, math.NaN(), -3, 0, math.Inf(1), 1e9})
	if got.Count != 6 || got.LeftOut != 5 || got.MedianS != 42.5 || got.SpreadS > 3 {
		t.Errorf("%+v", got)
	}
	if got := TypicalOf(nil); got != (Typical{}) {
		t.Errorf("of nothing %+v", got)
	}
	// For normal durations the spread is their sd.
	rng := rand.New(rand.NewPCG(4, 4))
	xs := make([]float64, 20001)
	for i := range xs {
		xs[i] = 300 + 20*rng.NormFloat64()
	}
	got = TypicalOf(xs)
	near(t, "median", got.MedianS, 300, 0.002)
	near(t, "spread", got.SpreadS, 20, 0.03)
}

func BenchmarkEvidence(b *testing.B) {
	h := []History{{Size: Medium, Trials: trials(b, "heavy:8,heavy,slight")}}
	for b.Loop() {
		if _, err := Evidence(HouseDefaults(), h); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCalibrate(b *testing.B) {
	for _, c := range []struct {
		name    string
		weighed float64
	}{{"100 graded flasks", 0}, {"100 flasks half weighed", 0.5}} {
		hs := lab(1, elsewhere(), 100, c.weighed, Medium)
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Calibrate(hs, HouseDefaults()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
