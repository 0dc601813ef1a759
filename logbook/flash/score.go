package flash

import "math"

// Forecasts says how forecasts of "the next closure at most slight" fared against what
// was then seen.
type Forecasts struct {
	Closures  int     `json:"closures"`   // forecasts made, one before each closure
	Predicted float64 `json:"predicted"`  // their mean
	Seen      float64 `json:"seen"`       // the fraction of closures at most slight
	Noise     float64 `json:"noise"`      // standard error of Seen − Predicted, were the forecasts right
	Brier     float64 `json:"brier"`      // mean of (forecast − what came, 0 or 1)²; 0 is best
	BrierBase float64 `json:"brier_base"` // the same had Seen been forecast each time
	Bins      []bin   `json:"bins"`       // by forecast, the empty ones left out
}

// Drift is by how many standard errors more closures (fewer: below 0) came at most slight than
// was foretold; each forecast counts all that was seen before it, so that their misses add
// up as if independent. (Spiegelhalter, Statistics in Medicine 5 (1986) 421; from memory.)
func (f Forecasts) Drift() float64 {
	if f.Noise == 0 {
		return 0
	}
	return (f.Seen - f.Predicted) / f.Noise
}

// bin is the forecasts from From up to To.
type bin struct {
	From      float64 `json:"from"`
	To        float64 `json:"to"`
	Closures  int     `json:"closures"`
	Predicted float64 `json:"predicted"`
	Seen      float64 `json:"seen"`
}

// scoreBins is how many bins forecasts are sorted in.
const scoreBins = 10

// forScore is enough for one closure ahead.
var forScore = precision{nodes: 0.7, cut: 30, ahead: 1}

// Score makes, before each closure of each flask, the forecast that s would have made from
// the closures before it, and holds it against the grade seen. (Brier, Monthly Weather
// Review 78 (1950) 1; from memory.) Errors as for Evidence.
func Score(s TrendSettings, hs []History) (Forecasts, error) {
	if err := s.Validate(); err != nil {
		return Forecasts{}, err
	}
	if _, err := newBook(hs); err != nil {
		return Forecasts{}, err
	}
	var f Forecasts
	bins := make([]bin, scoreBins)
	known := map[string]float64{}
	shared := rules{}
	for _, h := range hs {
		for i, t := range h.Trials {
			before := History{Size: h.Size, Trials: h.Trials[:i], AddedSince: t.Added}
			key := before.key()
			p, ok := known[key]
			if !ok {
				segs := before.segments()
				g := newGrid(s, *s.Prior.at(h.Size), segs, forScore, shared)
				p = 1 - g.next(len(segs[len(segs)-1])+1).Heavy
				known[key] = p
			}
			came := 0.0
			if t.Grade <= Slight {
				came = 1
			}
			f.Closures++
			f.Predicted += p
			f.Seen += came
			f.Noise += p * (1 - p)
			f.Brier += (p - came) * (p - came)
			b := &bins[min(int(p*scoreBins), scoreBins-1)]
			b.Closures++
			b.Predicted += p
			b.Seen += came
		}
	}
	if f.Closures == 0 {
		return f, nil
	}
	n := float64(f.Closures)
	f.Predicted, f.Seen, f.Brier = f.Predicted/n, f.Seen/n, f.Brier/n
	f.BrierBase = f.Seen * (1 - f.Seen)
	f.Noise = math.Sqrt(f.Noise) / n
	for i, b := range bins {
		if b.Closures == 0 {
			continue
		}
		n := float64(b.Closures)
		f.Bins = append(f.Bins, bin{
			From: float64(i) / scoreBins, To: float64(i+1) / scoreBins,
			Closures: b.Closures, Predicted: math.Min(b.Predicted/n, 1), Seen: b.Seen / n,
		})
	}
	return f, nil
}
