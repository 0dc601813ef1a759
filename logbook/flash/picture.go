package flash

import "math"

// Picture is the flash of a flask over its trials, ready to be drawn: in cells on the
// screen, as SVG on paper. x counts trials, y is ln grams.
type Picture struct {
	None, Heavy float64 // the house lines: none below the one, heavy above the other
	Low, High   float64 // the least that y must show
	First, Last int     // trials shown on the x axis
	Done        int     // trials made
	Points      []dot   // one for each trial made
	Curves      []Curve // one for each segment, the current one last
	// Chances[j] is the chance that a closure at most slight is seen by trial Done + 1 + j:
	// one for each forecast trial shown, none once the flask is finally closed.
	Chances []float64
}

// Closed is the picture of a flask that is finally closed: nothing is forecast.
func (p Picture) Closed() Picture {
	p.Chances, p.Last = nil, max(fewestSeen, p.Done)
	p.Curves = append([]Curve(nil), p.Curves...)
	for i := range p.Curves {
		p.Curves[i].To = min(p.Curves[i].To, p.Done)
	}
	return p
}

// dot is a trial made: at its grams where weighed, else in the middle of its grade's band.
type dot struct {
	Trial   int
	Y       float64
	Weighed bool
	Added   bool // dough was added before it: nothing joins it to the one before
}

// Curve is the line of a segment, from trial From to trial To; past trial Picture.Done it
// is forecast.
type Curve struct {
	segment
	To int
}

// At is the line with the house's floor in it and its 80 % band at a trial, counted through the flask.
func (c Curve) At(trial float64) (mean, low, high float64) {
	return c.flash(trial - float64(c.From) + 1)
}

// Bounds of the picture, in widths of the slight band (house defaults: with the house
// lines heavy takes half the picture, slight and none a quarter each, up to 44 g).
const (
	heavyBands = 2
	noneBands  = 1
	fewestSeen = 5 // trials on the x axis at least
	mostAhead  = 3 // forecast ones at most
)

// NewPicture puts together what Fit made of h under s.
func NewPicture(s TrendSettings, h History, p Posterior) Picture {
	none, heavy := s.noneLog(), s.heavyLog()
	// Bands of unusual width are not let push the points into a corner.
	width := math.Min(math.Max(heavy-none, 1.3), 2.3)
	pic := Picture{
		None: none, Heavy: heavy, Low: none - noneBands*width, High: heavy + heavyBands*width,
		First: 1, Done: len(h.Trials),
	}
	pic.Last = max(fewestSeen, pic.Done+min(max(p.More80, 1), mostAhead))
	for i, t := range h.Trials {
		d := dot{Trial: i + 1, Added: t.Added && i > 0}
		switch {
		case t.Grams != nil:
			d.Y, d.Weighed = math.Log(*t.Grams), true
		case t.Grade == None:
			d.Y = (pic.Low + none) / 2
		case t.Grade == Heavy:
			d.Y = (heavy + pic.High) / 2
		default:
			d.Y = (none + heavy) / 2
		}
		pic.Points = append(pic.Points, d)
	}
	const air = 0.2 // ln grams about a weighed point beyond the bands
	for _, d := range pic.Points {
		pic.Low, pic.High = math.Min(pic.Low, d.Y-air), math.Max(pic.High, d.Y+air)
	}
	for i, seg := range p.Segments {
		c := Curve{segment: seg, To: seg.From + seg.Len - 1}
		if i == len(p.Segments)-1 {
			c.To = pic.Last
		}
		pic.Curves = append(pic.Curves, c)
	}
	sum := 0.0
	for t := pic.Done; t < pic.Last; t++ {
		if j := t - pic.Done; j < len(p.FirstAtMostSlightIn) {
			sum = math.Min(sum+p.FirstAtMostSlightIn[j], 1)
			pic.Chances = append(pic.Chances, sum)
		}
	}
	return pic
}

// X is where a trial stands between the left end, 0, and the right end, 1: trials take
// equal slots and stand in the middle of theirs.
func (p Picture) X(trial float64) float64 {
	return (trial - float64(p.First) + 0.5) / float64(p.Last-p.First+1)
}

// Y is where ln grams stand between the bottom, 0, and the top, 1; beyond, where the
// picture does not reach.
func (p Picture) Y(logGrams float64) float64 { return (logGrams - p.Low) / (p.High - p.Low) }
