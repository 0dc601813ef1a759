package dough

import (
	"fmt"
	"math"
)

// Temperatures a bench can have, and those a jar can have been stored at.
const (
	minRoomC, maxRoomC     = 5, 45
	minStoredC, maxStoredC = -30, 45
	maxOutMin              = 7 * 24 * 60
)

// Conditions is where the mix stands.
type Conditions struct {
	RoomC float64 `json:"room_c"`
	// Stored is where powder and liquid were kept, where that was not at the
	// room's temperature; nil otherwise. If only the liquid was cold the mix starts
	// nearer the room than this says, and runs a little ahead of the estimate.
	Stored *Storage `json:"stored,omitempty"`
}

// Storage is a refrigerator, freezer or warm shelf the parts came from.
type Storage struct {
	TempC  float64 `json:"temp_c"`
	OutMin float64 `json:"out_min"` // minutes in the room before mixing
}

// Validate says in one line what cannot be, or returns nil. It takes rooms of 5
// to 45 °C, storage at -30 to 45 °C and up to a week out of it.
func (c Conditions) Validate() error {
	if !(c.RoomC >= minRoomC && c.RoomC <= maxRoomC) {
		return fmt.Errorf("room at %g °C: must be %d to %d °C", c.RoomC, minRoomC, maxRoomC)
	}
	if s := c.Stored; s != nil {
		if !(s.TempC >= minStoredC && s.TempC <= maxStoredC) {
			return fmt.Errorf("parts stored at %g °C: must be %d to %d °C", s.TempC, minStoredC, maxStoredC)
		}
		if !(s.OutMin >= 0 && s.OutMin <= maxOutMin) {
			return fmt.Errorf("parts out of storage for %g min: must be 0 to %d min", s.OutMin, maxOutMin)
		}
	}
	return nil
}

// clock turns minutes by the wall into book minutes, the minutes the same change
// takes with everything at the resin's reference temperature.
//
// It runs at Q10^((T-Tref)/10). Parts that come from elsewhere near the room's
// temperature as exp(-t/tau), in the jar before mixing and in the dough after,
// so with u = ln(Q10)/10 (T0-Troom) at mixing
//
//	book(t) = rate * integral of exp(u exp(-s/tau)) ds from 0 to t
//	        = rate * (t + tau (S(u) - S(u exp(-t/tau)))),  S(u) = sum u^k/(k k!)
type clock struct {
	rate float64 // in parts at the room's temperature
	u    float64 // ln of how much faster at mixing
	tau  float64 // minutes
}

func newClock(r Resin, c Conditions) clock {
	k := math.Log(r.Q10) / 10
	out := clock{rate: math.Exp(k * (c.RoomC - r.RefTempC)), tau: r.WarmTauMin}
	if c.Stored != nil {
		out.u = k * (c.Stored.TempC - c.RoomC) * math.Exp(-c.Stored.OutMin/r.WarmTauMin)
	}
	return out
}

// book is how many book minutes pass in the first t minutes.
func (k clock) book(t float64) float64 {
	warm := t + k.tau*(warmSeries(k.u)-warmSeries(k.u*math.Exp(-t/k.tau)))
	// Its rate lies between those at mixing and in the end; for a tiny t the
	// difference of the two sums is all rounding.
	return k.rate * held(warm, t*math.Exp(math.Min(k.u, 0)), t*math.Exp(math.Max(k.u, 0)))
}

// wall is how many minutes it takes for the given book minutes to pass, found
// by halving in the logarithm: book rises steadily, between its slowest and its
// fastest rate, which a valid resin keeps within e^13 of each other.
func (k clock) wall(book float64) float64 {
	even := book / k.rate
	lo, hi := even*math.Exp(-math.Max(k.u, 0)), even*math.Exp(-math.Min(k.u, 0))
	for hi-lo > 1e-12*hi {
		mid := math.Sqrt(lo * hi)
		if k.book(mid) < book {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Sqrt(lo * hi)
}

// warmSeries is the sum over k >= 1 of u^k/(k k!), the exponential integral Ein
// with its sign turned (Abramowitz and Stegun 5.1.40). |u| stays below 13 for
// every valid input, where 100 terms are ample.
func warmSeries(u float64) float64 {
	var sum float64
	term := 1.0
	for k := 1.0; k <= 100; k++ {
		term *= u / k
		sum += term / k
		if math.Abs(term) <= 1e-17*math.Abs(sum) {
			break
		}
	}
	return sum
}
