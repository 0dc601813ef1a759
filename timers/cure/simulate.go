package cure

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"flaskside/timers/each"
)

// RunOptions say how a run is made. The zero value runs to the bath's last point at the recommended accuracy.
type RunOptions struct {
	EndS         float64   // when to stop, s after the flask went in; 0 = the bath's last point
	AtS          []float64 // times in s at which core and monomer are wanted, in any order
	Tol          float64   // error per step, 0 = 1e-4 (0.01 K, 0.01 % converted)
	GypsumCells  int       // cells in each gypsum layer, 0 = 12
	ResinCells   int       // cells in the resin, an even number, 0 = 8
	FixedStepS   float64   // > 0: steps of this length and no error control, for convergence tests
	WithoutCurve bool      // leave Result.Curve empty
	Air          Air       // of the place, for where monomer boils

	inspect func(*engine) // sees the state after every step, for tests of what must hold throughout
}

// curve is what the run went through, one entry per step; between steps a straight line is within 0.1 K.
type curve struct {
	TimeS   []float64 `json:"t_s"`
	BathC   []float64 `json:"bath"`
	CoreC   []float64 `json:"core"`
	CorePct []float64 `json:"w_core"` // monomer in the core, wt%
	MeanPct []float64 `json:"w_mean"` // monomer, mean over the section, wt%
}

// Result is what happened in the flask, as far as the model knows. Times in minutes count from when the flask went in,
// temperatures are °C, monomer is wt% of the resin. Every figure is an estimate: show [rangeOf] beside it.
type Result struct {
	AtS   []float64 `json:"times"`  // the times asked for, s
	Core  []float64 `json:"core"`   // core temperature then
	WCore []float64 `json:"w_core"` // core monomer then
	WMean []float64 `json:"w_mean"` // mean monomer then

	Peak     float64 `json:"peak"` // hottest core
	PeakMin  float64 `json:"peak_min"`
	PeakW    float64 `json:"peak_w_core"` // core monomer at the peak
	Over     float64 `json:"over"`        // most the core was above the bath, K
	TOverMin float64 `json:"t_over_min"`
	OverCore float64 `json:"over_core"` // core temperature at that moment

	WMeanEnd float64 `json:"w_mean_end"`
	WMaxEnd  float64 `json:"w_max_end"`

	AboveBoilMin float64 `json:"above_boiling_min"` // minutes the core spent where monomer boils, see Air
	BoilRatio    float64 `json:"boil_ratio"`        // greatest BoilRatio in the core

	CoreAtBath    bool    `json:"core_at_bath"`     // the core came within 2 K of a bath of 60 °C or more
	CoreAtBathMin float64 `json:"core_at_bath_min"` // when, first

	EndS      float64 `json:"end_s"`
	BathMaxC  float64 `json:"bath_max"`
	BathEndC  float64 `json:"bath_end"`
	EnergyErr float64 `json:"energy_err"` // heat not accounted for, share of what is stored
	Steps     int     `json:"steps"`
	Rejected  int     `json:"steps_rejected"`

	Params Params `json:"parameters"`
	Air    Air    `json:"air_hpa,omitempty"` // of the place
	Curve  curve  `json:"curve"`
}

// Limits of one run (house defaults). A 14-day run with a point every 12 s on the usual grid takes a fifth of maxWork.
const (
	maxWork   = 20_000_000 // steps, taken and rejected, times nodes: some seconds
	maxAt     = 10_000
	maxCells  = 256
	maxStepS  = 900
	leastStep = 1e-9

	// after a kink of the bath sharper than this, in K/s, the step starts again from restartS
	sharpKPerS = 0.02
	restartS   = 5
)

var errUnsettled = errors.New("the computation does not settle for these parameters")

// coreAtBathK is how near the core must come to the bath to be called at temperature (house default).
const coreAtBathK = 2

// leastBathC is where a bath begins to cure: peroxide begins to break down at about 60 °C (teaching texts). A cold core in
// a cold bath is not at temperature.
const leastBathC = 60

// Simulate runs the model of p in the given bath. Parameters, bath and options that cannot be are one-line errors; any
// other input takes bounded time and memory and gives finite figures.
func Simulate(p Params, bath []Knot, o RunOptions) (Result, error) {
	if err := p.validate(); err != nil {
		return Result{}, err
	}
	if err := CheckBath(bath); err != nil {
		return Result{}, err
	}
	o, err := o.filled(bath)
	if err != nil {
		return Result{}, err
	}
	r, _, err := simulate(&p, bath, o, until{})
	return r, err
}

func (o RunOptions) filled(bath []Knot) (RunOptions, error) {
	if o.EndS == 0 {
		o.EndS = bath[len(bath)-1].TimeS
	}
	if !(o.EndS > 0 && o.EndS <= maxDuration.Seconds()) {
		return o, fmt.Errorf("length of the run %g min: it must be more than 0 and at most %g days", o.EndS/60, maxDuration.Hours()/24)
	}
	if len(o.AtS) > maxAt {
		return o, fmt.Errorf("%d times asked for: at most %d are given", len(o.AtS), maxAt)
	}
	for _, t := range o.AtS {
		if !(t >= 0 && t <= o.EndS) {
			return o, fmt.Errorf("time %g min is outside the run of 0 to %g min", t/60, o.EndS/60)
		}
	}
	if err := o.Air.Valid(); err != nil {
		return o, err
	}
	o.Tol = cmp.Or(o.Tol, 1e-4)
	if !(o.Tol >= 1e-9 && o.Tol <= 0.1) {
		return o, fmt.Errorf("tolerance %g: it must be 1e-9 to 0.1", o.Tol)
	}
	o.GypsumCells = cmp.Or(o.GypsumCells, 12)
	o.ResinCells = cmp.Or(o.ResinCells, 8)
	if o.GypsumCells < 1 || o.GypsumCells > maxCells || o.ResinCells < 2 || o.ResinCells > maxCells || o.ResinCells%2 != 0 {
		return o, fmt.Errorf("grid of %d gypsum and %d resin cells: give 1 to %d and an even 2 to %d", o.GypsumCells, o.ResinCells, maxCells, maxCells)
	}
	if most := float64(maxWork / (2*o.GypsumCells + o.ResinCells + 2)); o.FixedStepS != 0 && !(o.FixedStepS > 0 && o.EndS/o.FixedStepS <= most) {
		return o, fmt.Errorf("fixed step %g s: it must be more than 0 and give at most %.0f steps", o.FixedStepS, most)
	}
	return o, nil
}

// until stops a run early: when, after fromS, the mean monomer, or that of the core, has fallen to pct.
type until struct {
	on    bool
	core  bool
	fromS float64
	pct   float64
}

// simulate is Simulate for inputs already checked and options already filled. hit says whether stop came true; the
// result's EndS is then the moment it did, the other figures those of the step that holds it.
func simulate(p *Params, bath []Knot, o RunOptions, stop until) (res Result, hit bool, err error) {
	e := newEngine(p, o.GypsumCells, o.ResinCells)
	breaks := breakTimes(bath, o, stop)
	landed := make([]point, len(breaks))
	w0 := 100 * e.chem.wm0
	rec := recorder{w0: w0, boilsC: o.Air.MonomerBoilsC(), res: &res, curve: !o.WithoutCurve}
	r := stepper{e, &o, &rec, &res}
	stored := e.enthalpy()
	t, h := 0.0, 1.0
	seg := segment(bath, 0, 0)
	lastSlope := 0.0
	e.linearise(seg.at(0))
	rec.add(e, t, seg.at(0))

	for i, t1 := range breaks {
		seg = segment(bath, seg.next, t)
		if math.Abs(seg.slope-lastSlope) > sharpKPerS || t == 0 {
			h = math.Min(h, restartS)
		}
		lastSlope = seg.slope
		for t < t1 && !hit {
			if t, h, err = r.step(seg, t, t1, h); err != nil {
				return res, false, err
			}
			if stop.on && t > stop.fromS {
				if at, ok := rec.fallsTo(stop.pct, stop.core); ok {
					t, hit = at, true
				}
			}
		}
		if hit {
			break
		}
		landed[i] = rec.now
	}
	rec.close(e, bath, stored, t)
	res.Params, res.Air = *p, o.Air
	res.AtS = slices.Clone(o.AtS)
	res.Core, res.WCore, res.WMean = make([]float64, len(o.AtS)), make([]float64, len(o.AtS)), make([]float64, len(o.AtS))
	for i, at := range o.AtS {
		if at == 0 {
			res.Core[i], res.WCore[i], res.WMean[i] = p.Start-Kelvin, w0, w0
		} else if j, ok := slices.BinarySearch(breaks, at); ok {
			res.Core[i], res.WCore[i], res.WMean[i] = landed[j].core, landed[j].w, landed[j].mean
		}
	}
	return res, hit, nil
}

// stepper is a simulation under way.
type stepper struct {
	e   *engine
	o   *RunOptions
	rec *recorder
	res *Result
}

// step goes one step on from t, at most h long and no further than t1, and gives where that is and how long the next may be.
func (r *stepper) step(seg line, t, t1, h float64) (at, next float64, err error) {
	if r.o.FixedStepS > 0 {
		h = r.o.FixedStepS
	}
	most, lands := h, false
	if t+most >= t1-1e-9 {
		most, lands = t1-t, true
	}
	en, step := r.settle(seg, t, most)
	if step < leastStep && step < most {
		return t, h, errUnsettled
	}
	t += step
	if lands = lands && step == most; lands {
		t = t1
	}
	// A step cut short only to land says little about the next one: keep the longer proposal.
	next = step * stepFactor(en)
	if lands && step < h {
		next = math.Max(next, h)
	}
	if r.res.Steps++; (r.res.Steps+r.res.Rejected)*r.e.nT > maxWork {
		return t, next, fmt.Errorf("the computation needs more than %d steps for this bath and these parameters", maxWork/r.e.nT)
	}
	r.e.linearise(seg.at(t))
	r.rec.add(r.e, t, seg.at(t))
	if !r.rec.finite() {
		return t, next, errUnsettled
	}
	if r.o.inspect != nil {
		r.o.inspect(r.e)
	}
	return t, math.Min(next, maxStepS), nil
}

// settle takes a step from t of at most the given length that is exact enough, and gives its error and its length, s. One
// that had to become shorter than leastStep was not taken.
func (r *stepper) settle(seg line, t, step float64) (en, taken float64) {
	for {
		en = r.e.try(seg.at(t), seg.slope, step, r.o.Tol)
		if en <= 1 || r.o.FixedStepS > 0 {
			r.e.u, r.e.mid = r.e.mid, r.e.u
			return en, step
		}
		r.res.Rejected++
		if step *= stepFactor(en); step < leastStep {
			return en, step
		}
	}
}

// stepFactor is what the last step is multiplied by to reach an error of 1 at order 3, with a margin.
func stepFactor(en float64) float64 {
	if math.IsNaN(en) {
		return 0.2
	}
	return math.Min(4, math.Max(0.2, 0.9*math.Pow(math.Max(en, 1e-12), -1.0/3)))
}

// breakTimes are the times in (0, EndS] a step must land on: knots, wanted times, the end.
func breakTimes(bath []Knot, o RunOptions, stop until) []float64 {
	out := each.Of(bath, func(k Knot) float64 { return k.TimeS })
	out = append(out, o.AtS...)
	out = append(out, o.EndS, stop.fromS)
	slices.Sort(out)
	out = slices.Compact(out)
	first := sort.SearchFloat64s(out, math.SmallestNonzeroFloat64)
	last, _ := slices.BinarySearch(out, o.EndS)
	return out[first : last+1]
}

// line is one straight piece of the bath, in K; next is where to look for the following one.
type line struct {
	t0, tK, slope float64
	next          int
}

func (l line) at(t float64) float64 { return l.tK + l.slope*(t-l.t0) }

// segment is the piece of the bath that holds just after t, looking from knot i on.
func segment(bath []Knot, i int, t float64) line {
	for i < len(bath) && bath[i].TimeS <= t {
		i++
	}
	switch i {
	case 0:
		return line{t, bath[0].TempC + Kelvin, 0, 0}
	case len(bath):
		return line{t, bath[i-1].TempC + Kelvin, 0, i}
	}
	a, b := bath[i-1], bath[i]
	return line{a.TimeS, a.TempC + Kelvin, (b.TempC - a.TempC) / (b.TimeS - a.TimeS), i}
}
