package dough

import (
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// What the width of a window rests on beside the resin's own fields (house
// defaults).
const (
	roomSDC  = 1.0  // K: thermometer, and a bench warmer than the wall it hangs on
	markLnSD = 0.10 // two people call the same dough ready or stiff within about 10 %
)

// zEighty is the normal quantile that leaves 80 % between -z and z.
const zEighty = 1.2815515655446004

// farRoomK is how far from the reference temperature a caution begins.
const farRoomK = 8

// maxMark is the longest a mark can lie after mixing.
const maxMark = 7 * 24 * time.Hour

// MixMarks are the technician's own marks on one mix, as lengths of time since
// mixing; 0 where not marked.
type MixMarks struct {
	Dough time.Duration // dough reached
	Stiff time.Duration // too stiff to pack
}

// WorkingTime is from when to when one mix can be packed, as lengths of time since
// mixing. From and To are the middle estimates; the true time is thought to lie
// between Low and High with 80 % chance. A marked end has no width.
type WorkingTime struct {
	From, FromLow, FromHigh time.Duration
	To, ToLow, ToHigh       time.Duration

	FromMarked, ToMarked bool // the technician's own mark, no longer an estimate

	// MixFactor is how many times as long as the book says this mix takes to
	// stiffen, from its marks; 1 without.
	MixFactor float64

	MarksBehind int  // the lab's marks behind the resin's times; 0: none
	Q10Fitted   bool // Q10 is from those marks, not assumed

	Cautions []string
}

// end is one end of the window: ln of its book minutes is normal, with a part
// shared by both ends (this mix's own pace, Q10, the room's temperature) and one
// of its own.
type end struct {
	mean   float64
	shared [3]float64 // loadings on independent standard normals: mix, Q10, room
	ownSD  float64
}

func (e end) variance() float64 { return covariance(e, e) + e.ownSD*e.ownSD }

// covariance is that of the parts both ends share.
func covariance(a, b end) float64 {
	var c float64
	for i := range a.shared {
		c += a.shared[i] * b.shared[i]
	}
	return c
}

// Estimate moves the resin's times to the room, and to this mix by its marks.
//
// A mix has a pace of its own, a factor on both times, log-normal about 1 with
// the resin's MixLnSD. Together with what is not known of the resin's times, of
// Q10 and of the room's temperature, the logarithms of the two times are jointly
// normal. A mark observes one of them (within markLnSD, the judging), and the
// other follows by the conjugate update of that normal: it moves by
// cov/(var + markLnSD^2) of the surprise and loses its share of variance. So a
// mix that reached dough late will stiffen late, though not by as much, as part
// of the surprise is the resin's book being wrong about dough alone.
//
// It refuses a resin or conditions that do not validate, and marks that are
// negative, more than a week off or in the wrong order.
func Estimate(r Resin, c Conditions, m MixMarks) (WorkingTime, error) {
	if err := r.Validate(); err != nil {
		return WorkingTime{}, err
	}
	if err := c.Validate(); err != nil {
		return WorkingTime{}, err
	}
	if err := m.validate(); err != nil {
		return WorkingTime{}, err
	}
	k := newClock(r, c)
	from := newEnd(r, c, k, r.DoughFromMin, r.DoughLnSD)
	to := newEnd(r, c, k, r.WorkUntilMin, r.WorkLnSD)
	w := WorkingTime{MixFactor: 1, MarksBehind: r.MarksBehind, Q10Fitted: r.Q10Fitted}
	fromMean, fromVar := from.mean, from.variance()
	toMean, toVar := to.mean, to.variance()

	if m.Dough > 0 {
		w.FromMarked = true
		toMean, toVar = w.follow(to, from, k, m.Dough, "dough")
		w.MixFactor = math.Exp(toMean - to.mean)
	}
	if m.Stiff > 0 {
		w.ToMarked = true
		fromMean, fromVar = w.follow(from, to, k, m.Stiff, "stiff")
		w.MixFactor = k.book(m.Stiff.Minutes()) / r.WorkUntilMin
	}
	w.From, w.FromLow, w.FromHigh = spread(k, fromMean, fromVar)
	w.To, w.ToLow, w.ToHigh = spread(k, toMean, toVar)
	w.settle(m)
	if d := c.RoomC - r.RefTempC; math.Abs(d) > farRoomK {
		w.Cautions = append(w.Cautions, fmt.Sprintf("the room is %.0f K away from the %g °C these times are for: a rough estimate", math.Abs(d), r.RefTempC))
	}
	return w, nil
}

func (m MixMarks) validate() error {
	for _, t := range []time.Duration{m.Dough, m.Stiff} {
		if t < 0 || t > maxMark {
			return fmt.Errorf("mark %v after mixing: must lie between the mixing and a week later", t)
		}
	}
	if m.Dough > 0 && m.Stiff > 0 && m.Stiff <= m.Dough {
		return fmt.Errorf("marked too stiff %v after mixing, not after dough was reached at %v", m.Stiff, m.Dough)
	}
	return nil
}

// newEnd is the estimate of one end before any mark. The loadings on Q10 and
// room are how much ln of the book minutes lived by then changes with them.
func newEnd(r Resin, c Conditions, k clock, bookMin, ownSD float64) end {
	t := k.wall(bookMin)
	lnBook := func(lnQ10, roomC float64) float64 {
		r, c := r, c
		r.Q10 *= math.Exp(lnQ10)
		c.RoomC += roomC
		return math.Log(newClock(r, c).book(t))
	}
	const h = 0.1
	return end{
		mean:  math.Log(bookMin),
		ownSD: ownSD,
		shared: [3]float64{
			r.MixLnSD,
			r.Q10LnSD * (lnBook(h, 0) - lnBook(-h, 0)) / (2 * h),
			roomSDC * (lnBook(0, h) - lnBook(0, -h)) / (2 * h),
		},
	}
}

// follow is mean and variance of one end once the other was marked.
func (w *WorkingTime) follow(e, seen end, k clock, at time.Duration, name string) (mean, variance float64) {
	surprise := math.Log(k.book(at.Minutes())) - seen.mean
	seenVar := seen.variance() + markLnSD*markLnSD
	if math.Abs(surprise) > 3*math.Sqrt(seenVar) {
		w.Cautions = append(w.Cautions, fmt.Sprintf("the %s mark lies %.2g times as late as expected: check the mark, the resin and the room", name, math.Exp(surprise)))
	}
	gain := covariance(e, seen) / seenVar
	return e.mean + gain*surprise, e.variance() - gain*covariance(e, seen)
}

// spread turns a normal ln of book minutes into middle, low and high.
func spread(k clock, mean, variance float64) (mid, low, high time.Duration) {
	sd := math.Sqrt(variance)
	at := func(z float64) time.Duration { return minutes(k.wall(math.Exp(mean + z*sd))) }
	return at(0), at(-zEighty), at(zEighty)
}

// settle puts marks in place of estimates and keeps the ends in order.
func (w *WorkingTime) settle(m MixMarks) {
	if w.FromMarked {
		w.From, w.FromLow, w.FromHigh = m.Dough, m.Dough, m.Dough
		w.To, w.ToLow, w.ToHigh = max(w.To, m.Dough), max(w.ToLow, m.Dough), max(w.ToHigh, m.Dough)
	}
	if w.ToMarked {
		w.To, w.ToLow, w.ToHigh = m.Stiff, m.Stiff, m.Stiff
		w.From, w.FromLow, w.FromHigh = min(w.From, m.Stiff), min(w.FromLow, m.Stiff), min(w.FromHigh, m.Stiff)
	}
}

// minutes is m minutes, held to about 30 years.
func minutes(m float64) time.Duration {
	return time.Duration(held(m, 0, 1.6e7) * float64(time.Minute))
}

// MarshalJSON writes all times in minutes since mixing, to a hundredth.
func (w WorkingTime) MarshalJSON() ([]byte, error) {
	m := func(d time.Duration) float64 { return math.Round(d.Minutes()*100) / 100 }
	return json.Marshal(struct {
		From        float64  `json:"from_min"`
		FromLow     float64  `json:"from_low_min"`
		FromHigh    float64  `json:"from_high_min"`
		To          float64  `json:"to_min"`
		ToLow       float64  `json:"to_low_min"`
		ToHigh      float64  `json:"to_high_min"`
		FromMarked  bool     `json:"from_marked"`
		ToMarked    bool     `json:"to_marked"`
		MixFactor   float64  `json:"mix_factor"`
		MarksBehind int      `json:"marks_behind"`
		Q10Fitted   bool     `json:"q10_fitted"`
		Cautions    []string `json:"cautions,omitempty"`
	}{
		m(w.From), m(w.FromLow), m(w.FromHigh), m(w.To), m(w.ToLow), m(w.ToHigh),
		w.FromMarked, w.ToMarked, w.MixFactor, w.MarksBehind, w.Q10Fitted, w.Cautions,
	})
}
