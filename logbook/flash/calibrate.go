package flash

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/optimize"
)

// How much must stand behind a value before it is re-estimated (house default). In
// simulated books of 20 flasks whose closures went otherwise than the house values say,
// re-estimating lowered the Brier score by a quarter to a third; where the house values
// were right it raised it by 2 to 3 %.
const (
	WantFlasks  = 20 // of a size, for its priors
	wantGraded  = 60 // graded closures, for their noise
	wantWeighed = 30 // weighed closures with another weighed one in the segment, for their noise
	wantLate    = 20 // weighed closures that are the third or later of their segment, for a floor
)

// maxFlasks is how many flasks are used at most: the latest.
const maxFlasks = 1000

// Calibration is what a book's own closures say of the settings, beside the old ones. It
// proposes; the person decides whether to adopt.
type Calibration struct {
	Old    TrendSettings `json:"old"`
	New    TrendSettings `json:"new"`
	Small  Behind        `json:"small"`
	Medium Behind        `json:"medium"`
	Large  Behind        `json:"large"`
	Grade  Behind        `json:"grade_sd"`
	Weigh  Behind        `json:"weigh_sd"`
	Floor  Behind        `json:"floor_g"` // weighed trims at a third or later closure, where a floor would show
	// Estimates are the values that were estimated, each with its standard error; nil where
	// too little stands behind all of them.
	Estimates []estimate `json:"estimates,omitempty"`
	// The forecasts of both on all flasks. The new ones were fitted to these very closures.
	OldForecasts Forecasts `json:"old_forecasts"`
	NewForecasts Forecasts `json:"new_forecasts"`
	// Later is the fair comparison: fitted to the older half of the flasks, held against
	// the newer half. It is nil where the older half is too few.
	Later *comparison `json:"later,omitempty"`
	// LogEvidence of all the flasks under both.
	OldLogEvidence float64 `json:"old_log_evidence"`
	NewLogEvidence float64 `json:"new_log_evidence"`

	top fitted
}

// Behind is what stands behind one estimate.
type Behind struct {
	Flasks   int `json:"flasks"`
	Closures int `json:"closures"`
	// Wanting is how many flasks (for a size) or closures (for a noise) are wanting; with
	// more than 0 the old value is kept.
	Wanting int `json:"wanting"`
}

// comparison of old and new settings on flasks that neither was fitted to.
type comparison struct {
	Flasks int       `json:"flasks"`
	Old    Forecasts `json:"old"`
	New    Forecasts `json:"new"`
}

// Calibrate re-estimates priors and noises from flasks, oldest first, by maximum marginal
// likelihood with a weak pull towards the house defaults (see pulls), which keeps in place
// what few closures say little about. Where too few stand behind a value the old one is
// kept and Behind says how many are wanting; the grades' borders are not estimated. Errors:
// as for Evidence, or too few of everything.
func Calibrate(hs []History, old TrendSettings) (Calibration, error) {
	hs = hs[max(0, len(hs)-maxFlasks):]
	c := Calibration{Old: old, New: old}
	if err := old.Validate(); err != nil {
		return c, err
	}
	all, err := newBook(hs)
	if err != nil {
		return c, err
	}
	if err := c.estimate(hs, all); err != nil {
		return c, err
	}
	c.Estimates = c.estimates(all)
	for _, z := range Sizes() {
		c.OldLogEvidence += all.evidence(c.Old, z)
		c.NewLogEvidence += all.evidence(c.New, z)
	}
	if c.OldForecasts, err = Score(c.Old, hs); err != nil {
		return c, err
	}
	if c.NewForecasts, err = Score(c.New, hs); err != nil {
		return c, err
	}
	c.Later, err = compareLater(hs, old)
	return c, err
}

// compareLater fits the older half and scores the newer.
func compareLater(hs []History, old TrendSettings) (*comparison, error) {
	older, newer := hs[:len(hs)/2], hs[len(hs)/2:]
	k, err := newBook(older)
	if err != nil {
		return nil, err
	}
	half := Calibration{New: old}
	if half.count(older); half.nothing() {
		return nil, nil
	}
	if err := half.estimate(older, k); err != nil {
		return nil, err
	}
	c := &comparison{Flasks: len(newer)}
	if c.Old, err = Score(old, newer); err != nil {
		return nil, err
	}
	c.New, err = Score(half.New, newer)
	return c, err
}

// of is what stands behind the priors of a size.
func (c *Calibration) of(z Size) *Behind {
	switch z {
	case Small:
		return &c.Small
	case Medium:
		return &c.Medium
	}
	return &c.Large
}

// count fills what stands behind each value and what is wanting.
func (c *Calibration) count(hs []History) {
	for _, h := range hs {
		if len(h.Trials) == 0 {
			continue
		}
		b := c.of(h.Size)
		b.Flasks++
		b.Closures += len(h.Trials)
		graded, weighed, late := 0, 0, 0
		for _, seg := range h.segments() {
			n := 0
			for _, o := range seg {
				if o.weighed {
					n++
				}
				if o.weighed && o.x >= 2 {
					late++
				}
			}
			graded += len(seg) - n
			if n > 1 {
				weighed += n
			}
		}
		c.Grade.add(graded)
		c.Weigh.add(weighed)
		c.Floor.add(late)
	}
	for _, z := range Sizes() {
		b := c.of(z)
		b.Wanting = max(0, WantFlasks-b.Flasks)
	}
	c.Grade.Wanting = max(0, wantGraded-c.Grade.Closures)
	c.Weigh.Wanting = max(0, wantWeighed-c.Weigh.Closures)
	c.Floor.Wanting = max(0, wantLate-c.Floor.Closures)
}

func (b *Behind) add(closures int) {
	if closures > 0 {
		b.Flasks++
		b.Closures += closures
	}
}

// nothing says that too few stand behind every value.
func (c *Calibration) nothing() bool {
	return c.Small.Wanting > 0 && c.Medium.Wanting > 0 && c.Large.Wanting > 0 && c.Grade.Wanting > 0 && c.Weigh.Wanting > 0
}

// knob is one value to be estimated, turned as ln(value/home)/pull.
type knob struct {
	name  string // as in the settings file
	size  Size   // "" for a noise, which all sizes share
	value func(*TrendSettings) *float64
	home  float64
	pull  float64
	lim   [2]float64
}

// pulls are the sds, in ln, of the weak pull towards the house defaults (house default).
const (
	pullFirst = 0.7
	pullKept  = 0.4
	pullSD    = 0.35
)

// knobs of all values that have enough behind them.
func (c *Calibration) knobs() []knob {
	house := HouseDefaults()
	var ks []knob
	turn := func(name string, z Size, pull float64, lim [2]float64, value func(*TrendSettings) *float64) {
		ks = append(ks, knob{name: name, size: z, value: value, home: *value(&house), pull: pull, lim: lim})
	}
	for _, z := range Sizes() {
		if c.of(z).Wanting > 0 {
			continue
		}
		turn("prior."+string(z)+".first_g", z, pullFirst, limitsGrams, func(s *TrendSettings) *float64 { return &s.Prior.at(z).FirstG })
		turn("prior."+string(z)+".first_sd", z, pullSD, limitsFirst, func(s *TrendSettings) *float64 { return &s.Prior.at(z).FirstSD })
		turn("prior."+string(z)+".kept", z, pullKept, limitsKept, func(s *TrendSettings) *float64 { return &s.Prior.at(z).Kept })
		turn("prior."+string(z)+".kept_sd", z, pullSD, limitsKeptS, func(s *TrendSettings) *float64 { return &s.Prior.at(z).KeptSD })
	}
	if c.Grade.Wanting == 0 {
		turn("grade_sd", "", pullSD, limitsGrade, func(s *TrendSettings) *float64 { return &s.GradeSD })
	}
	if c.Weigh.Wanting == 0 {
		turn("weigh_sd", "", pullSD, limitsWeigh, func(s *TrendSettings) *float64 { return &s.WeighSD })
	}
	return ks
}

// estimate counts, then maximises evidence and pull over the knobs: without a floor, and where
// weighed trims allow with one, which must earn its place.
func (c *Calibration) estimate(hs []History, k book) error {
	c.count(hs)
	if c.nothing() {
		return fmt.Errorf("too few closures to learn from: at least %d small, %d medium or %d large flasks, %d graded or %d weighed closures",
			c.Small.Wanting, c.Medium.Wanting, c.Large.Wanting, c.Grade.Wanting, c.Weigh.Wanting)
	}
	start := c.New
	if c.Floor.Wanting == 0 {
		start.FloorG = 0
	}
	best, err := maximise(c.knobs(), start, k, 60)
	if err != nil {
		return err
	}
	if c.Floor.Wanting == 0 {
		start = best.at(best.z)
		start.FloorG = math.Max(c.Old.FloorG, homeFloor)
		film, err := maximise(append(c.knobs(), floorKnob()), start, k, 30)
		if err != nil {
			return err
		}
		if film.cost < best.cost-floorGain {
			best = film
		}
	}
	c.New = best.at(best.z)
	c.top = best
	return nil
}

// The floor is not pulled towards none: it counts only where it raises ln of evidence and
// pull by floorGain, what one more value does by chance once in about 200 books (half of
// chi-square with one degree of freedom: Wilks, Ann. Math. Statist. 9 (1938) 60, from
// memory). The rest are house defaults.
const (
	floorGain = 4
	homeFloor = 0.1 // grams, where the search begins
	pullFloor = 1.2
)

func floorKnob() knob {
	return knob{name: "floor_g", home: homeFloor, pull: pullFloor, lim: limitsFloor, value: func(s *TrendSettings) *float64 { return &s.FloorG }}
}

// fitted is the top of evidence and pull over some knobs.
type fitted struct {
	knobs []knob
	from  TrendSettings
	z     []float64
	cost  float64 // −ln of evidence and pull
}

// at are the settings with the knobs turned to z.
func (f fitted) at(z []float64) TrendSettings {
	s := f.from
	for i, n := range f.knobs {
		*n.value(&s) = math.Min(math.Max(n.home*math.Exp(n.pull*z[i]), n.lim[0]), n.lim[1])
	}
	return s
}

// maximise turns the knobs, beginning at from, until evidence and pull are at their top, for
// so many rounds at most.
func maximise(knobs []knob, from TrendSettings, k book, rounds int) (fitted, error) {
	f := fitted{knobs: knobs, from: from, z: make([]float64, len(knobs))}
	cost := func(z []float64) float64 {
		s := f.at(z)
		var sum float64
		for _, size := range Sizes() {
			sum -= k.evidence(s, size)
		}
		for _, v := range z {
			sum += v * v / 2
		}
		return sum
	}
	// By central differences; a prior moves only the evidence of its own size.
	const h = 1e-3
	slope := func(grad, z []float64) {
		at := append([]float64(nil), z...)
		for i, n := range knobs {
			at[i] = z[i] + h
			up := f.at(at)
			at[i] = z[i] - h
			down := f.at(at)
			at[i] = z[i]
			grad[i] = z[i]
			for _, size := range Sizes() {
				if n.size == "" || n.size == size {
					grad[i] -= (k.evidence(up, size) - k.evidence(down, size)) / (2 * h)
				}
			}
		}
	}
	for i, n := range knobs {
		f.z[i] = math.Log(*n.value(&f.from)/n.home) / n.pull
	}
	// The optimiser may stop at the end of its steps or where a line search finds no
	// better point; what it reached counts, and is never above where it began.
	found, err := optimize.Minimize(optimize.Problem{Func: cost, Grad: slope}, f.z,
		&optimize.Settings{GradientThreshold: 0.02, MajorIterations: rounds, FuncEvaluations: 10 * rounds}, &optimize.BFGS{})
	if found == nil {
		return f, fmt.Errorf("calibrate: %w", err)
	}
	f.z, f.cost = found.X, found.F
	return f, nil
}
