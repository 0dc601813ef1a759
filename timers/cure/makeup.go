package cure

import (
	"math"
	"time"
)

// MakeUp is what a bath that was off its programme asks for, so that no stage ends short of what the programme gives it.
// It only ever holds longer, at the stage's own temperature, or begins the programme anew; it never offers a shorter or a
// hotter way. It is information for the person who decides: the maker's cycle comes first.
type MakeUp struct {
	// Again: the core never got to the temperature of a stage while that was due, or there was no heat at all. The
	// programme is started again from its beginning.
	Again bool `json:"again"`

	Stage int           `json:"stage"` // the stage that is held longer, from 0
	SetC  float64       `json:"set"`   // its temperature
	Hold  time.Duration `json:"-"`     // at SetC, beyond the programme; with Back from now on
	Back  bool          `json:"back"`  // the stage is over by the clock: the bath goes back to it, then follows the rest in full
	Tail  time.Duration `json:"-"`     // more of the last stage on top

	HoldMin float64 `json:"hold_min"`
	TailMin float64 `json:"tail_min"`
	OutMin  float64 `json:"out_min"` // when the flasks then come out, minutes after they went in

	Out     time.Duration `json:"-"`           // the same
	Reached bool          `json:"reached"`     // false: not within 48 h more
	Planned float64       `json:"w_planned"`   // mean monomer at the end of the programme had the bath kept it, wt%
	AsItWas float64       `json:"w_as_it_was"` // by the clock alone, in the bath as it was and is expected
	Bath    []Knot        `json:"-"`           // as it was, then as the advice has it
}

// None tells that there is nothing to make up.
func (m MakeUp) None() bool { return !m.Again && m.Reached && m.Hold == 0 && m.Tail == 0 }

// Longer is how much later than by the programme the flasks come out.
func (m MakeUp) Longer(prog Programme) time.Duration { return m.Out - prog.Total() }

// short is the share by which a stage may end above the monomer planned for it before that is made up: what the
// integration and a thinned bath cannot tell apart.
const short = 2e-3

// maker works a MakeUp out.
type maker struct {
	thin, thick Params
	prog        Programme
	startC      float64
	bath        []Knot // as it was up to knownS, as expected by the clock after
	knownS      float64
	plan, was   [2]Result // of thin and thick
	endsS       []float64 // of the stages
}

// Make works out what a load asks for whose bath was as given up to knownS seconds after the flasks went in and goes by
// the clock after that. startC is the bath's temperature at the start of a programme that begins with a ramp.
func Make(thin, thick Params, prog Programme, startC float64, bath []Knot, knownS float64) (MakeUp, error) {
	if err := prog.Validate(); err != nil {
		return MakeUp{}, err
	}
	if err := CheckBath(bath); err != nil {
		return MakeUp{}, err
	}
	m := maker{thin: thin, thick: thick, prog: prog, startC: startC, bath: bath, knownS: math.Max(knownS, 0)}
	for i := range prog.Stages {
		_, s := prog.span(i)
		m.endsS = append(m.endsS, s)
	}
	endS := math.Max(m.endS(), m.knownS)
	if err := m.runs(&m.plan, prog.Knots(startC), m.endS(), m.endsS); err != nil {
		return MakeUp{}, err
	}
	at := make([]float64, len(m.endsS))
	for i, s := range m.endsS {
		at[i] = math.Max(s, m.knownS)
	}
	if err := m.runs(&m.was, bath, endS, at); err != nil {
		return MakeUp{}, err
	}
	out := MakeUp{Planned: m.plan[0].WMeanEnd, AsItWas: m.was[0].WMeanEnd, Reached: true, Bath: bath}
	last := len(prog.Stages) - 1
	out.Stage, out.SetC = last, prog.Stages[last].TempC
	i := m.firstShort()
	switch {
	case m.again():
		return m.anew(out)
	case i < 0:
		out.Out = prog.Total()
		out.OutMin = out.Out.Minutes()
		return out, nil
	}
	return m.longer(out, i)
}

func (m *maker) endS() float64 { return m.endsS[len(m.endsS)-1] }

// runs simulates both sections; equal ones once.
func (m *maker) runs(out *[2]Result, bath []Knot, endS float64, at []float64) error {
	var err error
	if out[0], err = Simulate(m.thin, bath, RunOptions{EndS: endS, AtS: at}); err != nil {
		return err
	}
	out[1] = out[0]
	if m.thick != m.thin {
		out[1], err = Simulate(m.thick, bath, RunOptions{EndS: endS, AtS: at})
	}
	return err
}

// again tells whether the programme is to be begun anew: no heat so far while there should have been, or a stage that is
// over in which the core never got to its temperature.
func (m *maker) again() bool {
	set := m.prog.Knots(m.startC)
	hottest := BathAt(m.bath, m.knownS)
	for _, k := range m.bath {
		if k.TimeS >= 0 && k.TimeS <= m.knownS {
			hottest = math.Max(hottest, k.TempC)
		}
	}
	hottest = math.Max(hottest, BathAt(m.bath, 0))
	if hottest < math.Min(leastBathC, m.prog.Stages[0].TempC-coreAtBathK) && BathAt(m.bath, m.knownS) < BathAt(set, m.knownS)-coreAtBathK {
		return true
	}
	for i, s := range m.prog.Stages {
		fromS, toS := m.prog.span(i)
		if toS <= m.knownS && neverThere(m.plan[1].Curve, m.was[1].Curve, fromS, toS, s.TempC) {
			return true
		}
	}
	return false
}

// firstShort is the first stage that ends, or has ended and not been caught up with since, with more monomer than planned
// in the mean of the thin section or in the core of the thick one; -1 for none.
func (m *maker) firstShort() int {
	for i := range m.endsS {
		if m.was[0].WMean[i] > m.plan[0].WMean[i]*(1+short) || m.was[1].WCore[i] > m.plan[1].WCore[i]*(1+short)+0.01 {
			return i
		}
	}
	return -1
}

// rest appends the stages from i on, each with its ramp, to a bath that ends at s at the temperature of the stage before.
func (m *maker) rest(bath []Knot, s float64, i int) ([]Knot, float64) {
	for ; i < len(m.prog.Stages); i++ {
		st := m.prog.Stages[i]
		up := s + math.Max(st.Ramp.Seconds(), jump.Seconds())
		s += st.Ramp.Seconds() + st.Hold.Seconds()
		bath = append(bath, Knot{up, st.TempC}, Knot{math.Max(s, up+1), st.TempC})
	}
	return bath, s
}

// anew is the programme from its beginning, from now on.
func (m *maker) anew(out MakeUp) (MakeUp, error) {
	out.Again, out.Stage, out.SetC = true, 0, m.prog.Stages[0].TempC
	first := m.prog.Stages[0]
	from := m.knownS
	if first.Ramp == 0 { // flasks go into a bath at its temperature: the programme counts from when it is there
		from = reaches(m.bath, from, first.TempC-coreAtBathK)
	}
	bath := upToS(m.bath, from)
	up := from + math.Max(first.Ramp.Seconds(), believe.Seconds())
	s := from + (first.Ramp + first.Hold).Seconds()
	bath = append(bath, Knot{up, first.TempC}, Knot{math.Max(s, up+1), first.TempC})
	bath, s = m.rest(bath, s, 1)
	return m.tail(out, bath, s)
}

// longer holds stage i until no more is left in it than planned, then follows the rest.
func (m *maker) longer(out MakeUp, i int) (MakeUp, error) {
	st := m.prog.Stages[i]
	out.Stage, out.SetC = i, st.TempC
	out.Back = m.endsS[i] < m.knownS && (i+1 < len(m.prog.Stages) || m.knownS > m.endsS[i])
	from := math.Max(m.endsS[i], m.knownS)
	bath := hold(m.bath, from, st.TempC)
	until1 := until{on: true, fromS: from, pct: m.plan[0].WMean[i]}
	until2 := until{on: true, core: true, fromS: from, pct: m.plan[1].WCore[i]}
	s, hit, err := holdUntil(m.thin, bath, from, until1)
	if err != nil {
		return MakeUp{}, err
	}
	s2, hit2, err := holdUntil(m.thick, bath, from, until2)
	if err != nil {
		return MakeUp{}, err
	}
	s = from + math.Ceil((math.Max(s, s2)-from)/60)*60 // whole minutes, never fewer
	out.Hold = time.Duration(s-from) * time.Second
	out.HoldMin = out.Hold.Minutes()
	if !hit || !hit2 {
		out.Reached = false
		out.Out = time.Duration(s) * time.Second
		out.OutMin = out.Out.Minutes()
		return out, nil
	}
	if end := bath[len(bath)-1]; end.TimeS < s {
		bath = append(bath, Knot{s, st.TempC})
	} else {
		s = end.TimeS
	}
	bath, s = m.rest(bath, s, i+1)
	return m.tail(out, bath, s)
}

// tail holds the last stage on where the whole would still leave more than the programme.
func (m *maker) tail(out MakeUp, bath []Knot, s float64) (MakeUp, error) {
	r, err := Simulate(m.thin, bath, RunOptions{EndS: s, WithoutCurve: true})
	if err != nil {
		return MakeUp{}, err
	}
	if r.WMeanEnd > out.Planned*(1+sameResidual) {
		t, hit, err := holdUntil(m.thin, bath, s, until{on: true, fromS: s, pct: out.Planned})
		if err != nil {
			return MakeUp{}, err
		}
		out.Reached = hit
		t = s + math.Ceil((t-s)/60)*60
		out.Tail = time.Duration(t-s) * time.Second
		out.TailMin = out.Tail.Minutes()
		s = t
	}
	out.Bath, out.Out = bath, time.Duration(math.Ceil(s))*time.Second
	out.OutMin = out.Out.Minutes()
	return out, nil
}
