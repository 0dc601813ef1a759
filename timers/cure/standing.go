package cure

import (
	"cmp"
	"math"
	"time"
)

// Adherence is how a cure stands, in the words that screen, sheet, tables and review all use.
type Adherence string

// The three standings. None of them says that a base is cured.
const (
	AsSet          Adherence = "as set"                // by time and by readings in every hold
	TimeOnly       Adherence = "time only, no reading" // a hold passed in which nobody read the bath
	OffTemperature Adherence = "off temperature"       // by the readings the core was too short at a temperature, or the bath too hot
)

// How much may be missing before the readings decide against a cure (house defaults): a dip when cold flasks go in and the
// swing of a thermostat are none.
const (
	coreShort    = 0.05            // share of the core's time at a stage's temperature
	leastShort   = 3 * time.Minute // and never less than this
	mostTooHot   = 10 * time.Minute
	standPerHour = 120 // points a core's curve is counted on
)

// Stay is what is known of a load's stay in the bath.
type Stay struct {
	Programme Programme // as the place allows, see [Programme.Under]
	Start     time.Time
	BathC     float64       // read when the flasks went in; 0: not read
	In        time.Duration // how long they were in, or are in so far
	Out       bool          // they are out
	Readings  []BathReading
	BandK     float64 // 0: [DefaultBandK]
	Thick     Params  // the thickest section, the slowest to warm
}

// Stand is how the cure of a load stands, with its figures.
type Stand struct {
	Word     Adherence     `json:"standing"`
	In       time.Duration `json:"-"`
	Want     time.Duration `json:"-"` // by the programme
	Out      bool          `json:"out"`
	Stages   []stageStand  `json:"stages"`
	Readings int           `json:"readings"` // from the load going in to its coming out
}

// stageStand is one hold. Times of the core are by the model, in the bath as it was read.
type stageStand struct {
	SetC     float64       `json:"set"`
	Readings int           `json:"readings"` // while it was held by the clock
	Core     time.Duration `json:"-"`        // core at its temperature or above, in all
	CorePlan time.Duration `json:"-"`        // as the programme has it
	TooHot   time.Duration `json:"-"`        // bath above the band while it was held
	Missing  bool          `json:"missing"`  // core at its temperature for too short a time
}

// off tells whether the readings decide against a hold.
func (x stageStand) off() bool { return x.Missing || x.TooHot > mostTooHot }

// tooShort tells whether a core was at a temperature for too short a time, by what the programme has.
func tooShort(plan, was time.Duration) bool {
	return plan-was > max(leastShort, time.Duration(coreShort*float64(plan)))
}

// short tells whether the load was out a minute or more before its time was up.
func (s Stand) short() bool { return s.Out && s.In+time.Minute <= s.Want }

// Stand judges a stay by its time and by its readings. The readings decide where there are any: the time the core was at
// each temperature of the programme, by the model in the bath as it was read, against the programme's; between readings
// the bath is as [Follow] has it, and after a last reading that was off in a hold it stayed so. Each hold wants a reading of
// its own. Errors: a programme or a section that the model does not take.
func (y Stay) Stand() (Stand, error) {
	p := y.Programme
	if err := p.Validate(); err != nil {
		return Stand{}, err
	}
	band := cmp.Or(y.BandK, DefaultBandK)
	total := p.Total()
	out := Stand{In: y.In, Want: total, Out: y.Out, Word: AsSet}
	due := total // up to where the programme is held against
	if !y.Out {
		due = min(total, y.In)
	}
	bath, err := y.bath(band)
	if err != nil {
		return Stand{}, err
	}
	setS := due.Seconds()
	wasS := y.In.Seconds()
	if setS < 1 || wasS < 1 {
		out.Word = TimeOnly
		return out, nil
	}
	if !y.read() && !y.offAtStart(band) {
		out.Word, out.Stages = TimeOnly, y.unread(setS)
		return out, nil
	}
	startC := cmp.Or(y.BathC, y.Thick.Start-Kelvin)
	plan, err := Simulate(y.Thick, p.Knots(startC), RunOptions{EndS: setS})
	if err != nil {
		return Stand{}, err
	}
	was, err := Simulate(y.Thick, bath, RunOptions{EndS: math.Min(wasS, maxDuration.Seconds())})
	if err != nil {
		return Stand{}, err
	}
	read := true
	for i, st := range p.Stages {
		fromS, toS := p.span(i)
		if fromS >= setS {
			break
		}
		x := stageStand{SetC: st.TempC}
		if i == len(p.Stages)-1 {
			toS = math.Max(toS, wasS)
		}
		for _, r := range y.Readings {
			if s := r.At.Sub(y.Start).Seconds(); s >= fromS && s <= toS && s <= wasS {
				x.Readings++
			}
		}
		least := math.Min(st.TempC, hottestIn(plan.Curve, fromS, toS)) - band
		x.CorePlan, x.Core = timeAbove(plan.Curve, least), timeAbove(was.Curve, least)
		x.TooHot = tooHot(bath, fromS, math.Min(toS, wasS), st.TempC+band)
		x.Missing = tooShort(x.CorePlan, x.Core)
		read = read && x.Readings > 0
		out.Readings += x.Readings
		out.Stages = append(out.Stages, x)
	}
	if out.short() && out.Readings > 0 {
		out.Word = OffTemperature
		return out, nil
	}
	for _, x := range out.Stages {
		// Without any reading a stay that was cut short is one of time alone.
		if x.off() && (out.Readings > 0 || y.offAtStart(band)) {
			out.Word = OffTemperature
			return out, nil
		}
	}
	if !read {
		out.Word = TimeOnly
	}
	return out, nil
}

// read tells whether the bath was read while the load was in it.
func (y Stay) read() bool {
	for _, r := range y.Readings {
		if s := r.At.Sub(y.Start); s >= 0 && s <= y.In {
			return true
		}
	}
	return false
}

// unread are the holds begun before a moment, in a bath that nobody read.
func (y Stay) unread(untilS float64) []stageStand {
	var out []stageStand
	for i, st := range y.Programme.Stages {
		if fromS, _ := y.Programme.span(i); fromS < untilS {
			out = append(out, stageStand{SetC: st.TempC})
		}
	}
	return out
}

// offAtStart tells whether the bath was read off its first hold as the flasks went in.
func (y Stay) offAtStart(band float64) bool {
	s := y.Programme.Stages[0]
	return y.BathC != 0 && s.Ramp == 0 && math.Abs(y.BathC-s.TempC) > band
}

// bath is the bath as it was read.
func (y Stay) bath(band float64) ([]Knot, error) {
	read := make([]BathReading, 0, len(y.Readings)+1)
	for _, r := range y.Readings {
		if r.At.Before(y.Start) {
			read = append(read, r)
		}
	}
	if y.BathC != 0 {
		read = append(read, BathReading{y.Start, y.BathC})
	}
	for _, r := range y.Readings {
		if s := r.At.Sub(y.Start); s >= 0 && s <= y.In {
			read = append(read, r)
		}
	}
	bath, err := Follow(y.Programme, cmp.Or(y.BathC, y.Thick.Start-Kelvin), y.Start, read)
	if err != nil || len(read) == 0 {
		return bath, err
	}
	last := read[len(read)-1]
	after := last.At.Sub(y.Start)
	if _, setC, holds := y.Programme.Hold(max(after, 0)); holds && after >= 0 && math.Abs(last.TempC-setC) > band {
		bath = append(upToS(bath, after.Seconds()), Knot{math.Max(y.In.Seconds(), after.Seconds()+1), last.TempC})
	}
	return bath, nil
}

// hottestIn is the highest core between two moments.
func hottestIn(c curve, fromS, toS float64) float64 {
	top := math.Inf(-1)
	for i, s := range c.TimeS {
		if s >= fromS && s <= toS {
			top = math.Max(top, c.CoreC[i])
		}
	}
	return top
}

// timeAbove is how long a core was at least at a temperature, straight between the points of its curve.
func timeAbove(c curve, leastC float64) time.Duration {
	sum := 0.0
	for i := 1; i < len(c.TimeS); i++ {
		sum += (c.TimeS[i] - c.TimeS[i-1]) * shareAbove(c.CoreC[i-1]-leastC, c.CoreC[i]-leastC)
	}
	return time.Duration(sum * float64(time.Second)).Round(time.Second)
}

// tooHot is how long a bath was above a temperature between two moments.
func tooHot(bath []Knot, fromS, toS, mostC float64) time.Duration {
	sum := 0.0
	for s := fromS; s < toS; s += 3600.0 / standPerHour {
		e := math.Min(s+3600.0/standPerHour, toS)
		sum += (e - s) * shareAbove(BathAt(bath, s)-mostC, BathAt(bath, e)-mostC)
	}
	return time.Duration(sum * float64(time.Second)).Round(time.Second)
}
