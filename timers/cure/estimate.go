package cure

import (
	"math"
	"sort"
)

// Estimate is one flask in one bath: its thinnest and thickest section and what may be shown of them.
type Estimate struct {
	Thinnest Result `json:"thinnest"`
	Thickest Result `json:"thickest"`
	Range    Range  `json:"range"`
}

// Run simulates the thinnest and the thickest section of a flask: the residual is the thin one's, the peak the thick
// one's. Equal sections are computed once.
func Run(thinnest, thickest Params, bath []Knot, o RunOptions) (Estimate, error) {
	var e Estimate
	var err error
	if e.Thickest, err = Simulate(thickest, bath, o); err != nil {
		return Estimate{}, err
	}
	e.Thinnest = e.Thickest
	if thinnest != thickest {
		if e.Thinnest, err = Simulate(thinnest, bath, o); err != nil {
			return Estimate{}, err
		}
	}
	e.Range = rangeOf(&e.Thinnest, &e.Thickest)
	return e, nil
}

// StageStart is when a hold really starts, in minutes after the flask went in.
type StageStart struct {
	SetC    float64 `json:"set"`
	PlanMin float64 `json:"plan_min"` // by the programme
	Bath    bool    `json:"bath"`     // the bath comes within 2 K of the set point and stays there
	BathMin float64 `json:"bath_min"`
	Core    bool    `json:"core"` // the core comes within 2 K of the set point
	CoreMin float64 `json:"core_min"`
}

// settleMin is how long the bath must stay within 2 K to be called back: cold flasks pull it down some minutes after they
// went in (house default).
const settleMin = 10

// HoldStarts is, for every stage of prog, when the bath was there for good and when the core was. r is a run in bath, its
// curve included.
func HoldStarts(prog Programme, bath []Knot, r *Result) []StageStart {
	out := make([]StageStart, len(prog.Stages))
	planMin := 0.0
	b := curve{TimeS: make([]float64, len(bath)), BathC: make([]float64, len(bath))}
	for i, k := range bath {
		b.TimeS[i], b.BathC[i] = k.TimeS, k.TempC
	}
	for i, s := range prog.Stages {
		planMin += s.Ramp.Minutes()
		st := StageStart{SetC: s.TempC, PlanMin: planMin}
		planMin += s.Hold.Minutes()
		from, least := st.PlanMin*60, s.TempC-coreAtBathK
		st.BathMin, st.Bath = settles(b.TimeS, b.BathC, from, least, settleMin*60)
		st.CoreMin, st.Core = settles(r.Curve.TimeS, r.Curve.CoreC, from, least, 0)
		out[i] = st
	}
	return out
}

// settles is when, in minutes, the line through (t, c) is at least up to least from fromS on and does not fall below
// again within staysS. Before its first and after its last point the line is level.
func settles(t, c []float64, fromS, least, staysS float64) (float64, bool) {
	n := len(t)
	if n == 0 {
		return 0, false
	}
	since, up := fromS, false // up: at or above least from since on
	if i := upTo(t, fromS); i == 0 {
		up = c[0] >= least
	} else if i == n {
		up = c[n-1] >= least
	} else {
		up = c[i-1]+(c[i]-c[i-1])*(fromS-t[i-1])/(t[i]-t[i-1]) >= least
	}
	for i := max(upTo(t, fromS), 1); i < n; i++ {
		if up && t[i-1] >= since+staysS {
			break
		}
		switch rises := c[i] >= least; {
		case rises && !up:
			since = math.Max(fromS, t[i-1]+(least-c[i-1])/(c[i]-c[i-1])*(t[i]-t[i-1]))
			up = true
		case !rises && up:
			falls := t[i-1] + (c[i-1]-least)/(c[i-1]-c[i])*(t[i]-t[i-1])
			if falls >= since+staysS {
				return since / 60, true
			}
			up = false
		}
	}
	return since / 60, up
}

// upTo is how many of the rising times t are at or before s.
func upTo(t []float64, s float64) int {
	return sort.Search(len(t), func(i int) bool { return t[i] > s })
}
