package flash

import (
	"fmt"
	"math"
)

// MaxAhead is how many further closures the forecast looks ahead.
const MaxAhead = 12

// chances of the three grades at one closure.
type chances struct {
	None   float64 `json:"none"`
	Slight float64 `json:"slight"`
	Heavy  float64 `json:"heavy"`
}

// Posterior is what the trials of a flask say of its trend, and the forecast.
type Posterior struct {
	// The line of the current segment: a + b·(k − 1), ln grams, without the floor.
	AMean float64 `json:"a_mean"`
	ASD   float64 `json:"a_sd"`
	BMean float64 `json:"b_mean"`
	BSD   float64 `json:"b_sd"`
	// The line at the next trial, without noise, the floor in it.
	NextLogGramsMean float64 `json:"next_log_grams_mean"`
	NextLogGramsSD   float64 `json:"next_log_grams_sd"`
	// Next are the chances of the grades at the next trial, with grading noise.
	Next chances `json:"next"`
	// FirstAtMostSlightIn[j−1] is the chance that the first closure at or under slight is
	// the j-th from now, j = 1 … MaxAhead.
	FirstAtMostSlightIn []float64 `json:"first_at_most_slight_in"`
	// MoreMedian and More80 are the least number of closures that holds with a chance of
	// at least 50 and 80 %; MaxAhead + 1 means more than MaxAhead.
	MoreMedian int `json:"more_median"`
	More80     int `json:"more_80"`

	// Segments are the lines between additions of dough, the current one last.
	Segments []segment `json:"-"`
	// LogEvidence is ln of the marginal likelihood of the trials (a weighed trim counts as
	// a density per unit of ln grams).
	LogEvidence float64 `json:"-"`

	grid *grid
}

// segment is the line of the trials between two additions of dough, given all trials.
type segment struct {
	From, Len int // number of its first trial in the flask, counted from 1, and how many it has

	aMean, bMean    float64
	aVar, bVar, cov float64
	lift            lift
}

// flash is what [Segment.line] and its 80 % band come to with the house's floor in them,
// ln grams.
func (s segment) flash(k float64) (mid, low, high float64) {
	mean, sd := s.line(k)
	return s.lift.of(mean), s.lift.of(mean - band80*sd), s.lift.of(mean + band80*sd)
}

// line is the mean and sd of a + b·(k − 1), ln grams, at trial k of the segment.
func (s segment) line(k float64) (mean, sd float64) {
	x := k - 1
	v := s.aVar + 2*x*s.cov + x*x*s.bVar
	return s.aMean + s.bMean*x, math.Sqrt(math.Max(v, 0))
}

// band80 is the standard normal point that leaves a tenth above: the half width of an 80 %
// band in sds.
const band80 = 1.2815515655446004

// Fit works out the posterior of a flask's trend. Errors: settings, size or a trial that
// cannot be.
func Fit(s TrendSettings, h History) (Posterior, error) {
	if err := s.Validate(); err != nil {
		return Posterior{}, err
	}
	prior, err := s.PriorOf(h.Size)
	if err != nil {
		return Posterior{}, err
	}
	if err := CheckTrials(h.Trials); err != nil {
		return Posterior{}, err
	}
	return posterior(s, prior, h.segments(), forFit), nil
}

func posterior(s TrendSettings, prior Prior, segs [][]obs, prec precision) Posterior {
	g := newGrid(s, prior, segs, prec, rules{})
	p := Posterior{LogEvidence: g.logEvidence, grid: g}
	for i, from := 0, 1; i < len(segs); i++ {
		seg := g.segment(i)
		seg.From, seg.Len, seg.lift = from, len(segs[i]), g.lift
		from += seg.Len
		p.Segments = append(p.Segments, seg)
	}
	cur := p.Segments[len(p.Segments)-1]
	p.AMean, p.ASD = cur.aMean, math.Sqrt(cur.aVar)
	p.BMean, p.BSD = cur.bMean, math.Sqrt(cur.bVar)
	p.NextLogGramsMean, p.NextLogGramsSD = cur.line(float64(cur.Len + 1))
	if g.lift.on {
		p.NextLogGramsMean, p.NextLogGramsSD = g.line(cur.Len + 1)
	}
	p.Next = g.next(cur.Len + 1)
	p.FirstAtMostSlightIn = g.first(Slight, 1, cur.Len)[1:]
	p.MoreMedian = atLeast(p.FirstAtMostSlightIn, 0.5)
	p.More80 = atLeast(p.FirstAtMostSlightIn, 0.8)
	return p
}

// atLeast is the least number, counted from 1, whose chances add up to p or more.
func atLeast(pmf []float64, p float64) int {
	var sum float64
	for i, c := range pmf {
		if sum += c; sum >= p {
			return i + 1
		}
	}
	return len(pmf) + 1
}

// Further is the chance of each number of further trial closures, from 0 to MaxAhead,
// until one at or under the house grade; least is how many must be made whatever they show
// (0 for a flask that needs no more). What is left to 1 is the chance of more than
// MaxAhead. Without trials and with the house minimum as least it is the prior predictive
// of all closures a flask takes.
func (p Posterior) Further(house Grade, least int) ([]float64, error) {
	if !house.Valid() || house == Heavy {
		return nil, fmt.Errorf("house grade %q: it is none or slight", house)
	}
	if least < 0 || least > MaxAhead {
		return nil, fmt.Errorf("%d more closures at least: it must be from 0 to %d", least, MaxAhead)
	}
	if least == 0 {
		return append([]float64{1}, make([]float64, MaxAhead)...), nil
	}
	return p.grid.first(house, least, p.Segments[len(p.Segments)-1].Len), nil
}
