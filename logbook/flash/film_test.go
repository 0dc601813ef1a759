package flash

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"

	"flaskside/timers/longrun"
)

// filmLab is a lab whose flash ends on a film of 0.7 g, seven tenths of what its house
// calls heavy.
func filmLab() TrendSettings {
	s := HouseDefaults()
	s.FloorG = 0.7
	return s
}

// A lab whose flash ends on a film: without a floor the forecast is far too sure, and most
// where it is surest; with the floor the chances foretold are those seen.
func TestForecastsWithAndWithoutAFloor(t *testing.T) {
	hs := lab(21, filmLab(), 400, 0, Medium, Large)
	blind, err := Score(HouseDefaults(), hs)
	if err != nil {
		t.Fatal(err)
	}
	seeing, err := Score(filmLab(), hs)
	if err != nil {
		t.Fatal(err)
	}
	// The worst miss of a bin that has enough in it, in standard errors.
	worst := func(f Forecasts) (far float64) {
		for _, b := range f.Bins {
			if b.Closures >= 30 {
				se := math.Sqrt(b.Predicted * (1 - b.Predicted) / float64(b.Closures))
				far = math.Max(far, math.Abs(b.Predicted-b.Seen)/se)
			}
		}
		return far
	}
	if got := worst(seeing); got > 3.5 {
		t.Errorf("with the floor a bin misses by %.1f standard errors: %+v", got, seeing.Bins)
	}
	if got := worst(blind); got < 6 {
		t.Errorf("without it the worst bin misses by %.1f standard errors only: the check sees nothing", got)
	}
	if !(seeing.Brier < blind.Brier-0.01) || math.Abs(seeing.Predicted-seeing.Seen) > 0.03 {
		t.Errorf("with the floor %.3f (foretold %.2f, seen %.2f), without %.3f", seeing.Brier, seeing.Predicted, seeing.Seen, blind.Brier)
	}
}

// Weighed trims teach the floor; where there is none, none is learned.
func TestFloorIsLearnedFromWeights(t *testing.T) {
	longrun.SkipUnderRace(t)
	film, err := Calibrate(lab(22, filmLab(), longrun.Times(16, 30), 0.6, Medium), HouseDefaults())
	if err != nil {
		t.Fatal(err)
	}
	if got := film.New.FloorG; math.Abs(math.Log(got/0.7)) > 0.35 {
		t.Errorf("floor %.3g g, want about 0.7", got)
	}
	if film.Floor.Wanting != 0 {
		t.Errorf("behind the floor: %+v", film.Floor)
	}
	longrun.Only(t, "books without a floor, and without weights")
	plain, err := Calibrate(lab(23, HouseDefaults(), 30, 0.6, Medium), HouseDefaults())
	if err != nil {
		t.Fatal(err)
	}
	if plain.New.FloorG != 0 {
		t.Errorf("a floor of %.3g g was learned where there is none", plain.New.FloorG)
	}
	graded, err := Calibrate(lab(24, filmLab(), 25, 0, Medium), filmLab())
	if err != nil {
		t.Fatal(err)
	}
	if graded.New.FloorG != 0.7 || graded.Floor.Wanting != wantLate {
		t.Errorf("without weights the floor became %.3g g, %+v", graded.New.FloorG, graded.Floor)
	}
}

// giveUp makes flasks of which those still heavy at their most-th closure are given up.
func giveUp(seed uint64, s TrendSettings, flasks, most int, z Size) (all, closed []History) {
	rng := rand.New(rand.NewPCG(seed, 8))
	for range flasks {
		h := simulate(rng, s, z, 0.2, most)
		all = append(all, h)
		if h.Trials[len(h.Trials)-1].Grade <= Slight {
			closed = append(closed, h)
		}
	}
	return all, closed
}

// Whether a flask was given up depends on what was seen of it, which is in its trials: they
// teach without bias, while the closed ones alone flatter the lab.
func TestFlasksGivenUpTeachToo(t *testing.T) {
	longrun.Only(t, "a statistic of flasks that were given up")
	longrun.SkipUnderRace(t)
	truth := HouseDefaults()
	truth.Prior.Large = Prior{FirstG: 18, FirstSD: 0.5, Kept: 0.62, KeptSD: 0.2}
	taught := func(hs []History) Prior {
		k, err := newBook(hs)
		if err != nil {
			t.Fatal(err)
		}
		c := Calibration{New: HouseDefaults()}
		c.count(hs)
		top, err := maximise(c.knobs(), HouseDefaults(), k, 40)
		if err != nil {
			t.Fatal(err)
		}
		return top.at(top.z).Prior.Large
	}
	for _, c := range []struct {
		most int
		lost [2]float64 // share given up
	}{{6, [2]float64{0.42, 0.58}}, {9, [2]float64{0.17, 0.33}}}[:longrun.Times(1, 2)] {
		all, closed := giveUp(31, truth, longrun.Times(60, 120), c.most, Large)
		if lost := 1 - float64(len(closed))/float64(len(all)); lost < c.lost[0] || lost > c.lost[1] {
			t.Fatalf("%.2f given up", lost)
		}
		got, flattered := taught(all), taught(closed)
		if math.Abs(math.Log(got.Kept/0.62)) > 0.07 || math.Abs(math.Log(got.FirstG/18)) > 0.25 {
			t.Errorf("with all flasks: kept %.3f of .62, first %.1f of 18 g", got.Kept, got.FirstG)
		}
		if !(math.Log(got.Kept/flattered.Kept) > 0.07) {
			t.Errorf("the closed ones alone say kept %.3f, all %.3f: the check sees nothing", flattered.Kept, got.Kept)
		}
	}
}

// Grades alone do not tell the spread of the first flash from their own noise; weights do.
// What is not told apart is said.
func TestWhatGradesAloneDoNotTell(t *testing.T) {
	longrun.Only(t, "two calibrations of 60 flasks")
	sure := map[string][]float64{}
	told := func(weighed float64) map[string]bool {
		c, err := Calibrate(lab(41, HouseDefaults(), 60, weighed, Medium), HouseDefaults())
		if err != nil {
			t.Fatal(err)
		}
		m := map[string]bool{}
		for _, e := range c.Estimates {
			m[e.Name] = e.Told
			sure[e.Name] = append(sure[e.Name], e.SE)
			if !(e.SE > 0) || math.IsInf(e.SE, 0) {
				t.Errorf("standard error of %s: %g", e.Name, e.SE)
			}
		}
		return m
	}
	grades, weights := told(0), told(0.8)
	if grades["prior.medium.first_sd"] {
		t.Error("the spread of the first flash is said to be told by grades alone")
	}
	for _, name := range []string{"prior.medium.first_g", "prior.medium.kept", "prior.medium.kept_sd"} {
		if se := sure[name]; !(se[0] > 1.4*se[1]) {
			t.Errorf("%s: standard error %.3f by grades, %.3f by weights", name, se[0], se[1])
		}
	}
	for _, name := range []string{"prior.medium.first_g", "prior.medium.first_sd", "prior.medium.kept", "weigh_sd"} {
		if !weights[name] {
			t.Errorf("%s is said not to be told by weights", name)
		}
	}
	if !grades["prior.medium.first_g"] {
		t.Error("the first flash is told by grades, too")
	}
	if _, ok := grades["weigh_sd"]; ok {
		t.Error("a noise of weights was estimated without any")
	}
}

// The standard errors, against a bootstrap over flasks (Efron, Ann. Statist. 7 (1979) 1, from
// memory) of the values that the book tells.
func TestStandardErrorsAgainstBootstrap(t *testing.T) {
	longrun.Only(t, "24 calibrations")
	hs := lab(51, HouseDefaults(), 50, 0.6, Medium)
	c, err := Calibrate(hs, HouseDefaults())
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(51, 51))
	logs := map[string][]float64{}
	for range 24 {
		again := make([]History, len(hs))
		for i := range again {
			again[i] = hs[rng.IntN(len(hs))]
		}
		k, err := newBook(again)
		if err != nil {
			t.Fatal(err)
		}
		b := Calibration{New: HouseDefaults()}
		b.count(again)
		top, err := maximise(b.knobs(), HouseDefaults(), k, 60)
		if err != nil {
			t.Fatal(err)
		}
		s := top.at(top.z)
		for _, n := range top.knobs {
			logs[n.name] = append(logs[n.name], math.Log(*n.value(&s)))
		}
	}
	seen := 0
	for _, e := range c.Estimates {
		if e.SE > 0.5*pullSD { // the pull holds it: no spread of the data's own
			continue
		}
		seen++
		// With 24 draws the bootstrap itself is off by about a seventh.
		if sd := stat.StdDev(logs[e.Name], nil); !(sd/e.SE > 0.5 && sd/e.SE < 1.8) {
			t.Errorf("%s: standard error %.3f, by bootstrap %.3f", e.Name, e.SE, sd)
		}
	}
	if seen < 3 {
		t.Errorf("only %d values compared", seen)
	}
}

// Trials that contradict their size: as the untruncated priors say, .82 and not .64.
func TestFlaskThatContradictsItsSize(t *testing.T) {
	p := fit(t, HouseDefaults(), History{Size: Large, Trials: trials(t, "slight:0.1")})
	// In closed form: one weighed trim on a normal prior is a normal posterior.
	s, prior := HouseDefaults(), HouseDefaults().Prior.Large
	w := prior.FirstSD * prior.FirstSD / (prior.FirstSD*prior.FirstSD + s.WeighSD*s.WeighSD)
	mean := math.Log(prior.FirstG) + w*(math.Log(0.1)-math.Log(prior.FirstG)) + math.Log(prior.Kept)
	sd := math.Sqrt((1-w)*prior.FirstSD*prior.FirstSD + prior.KeptSD*prior.KeptSD + s.GradeSD*s.GradeSD)
	want := normCDF((math.Log(s.NoneBelowG) - mean) / sd)
	near(t, "none next", p.Next.None, want, 1e-6)
	if want < 0.8 {
		t.Fatalf("the closed form gives %.3f", want)
	}
}
