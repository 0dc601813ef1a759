package flash

import (
	"math"
	"sync"
)

// lift is ln of the flash that comes where the line says m, ln grams: the line's own and
// the floor's, ln(eᵐ + floor).
type lift struct {
	on    bool
	log   float64 // ln of the floor
	table *softTable
}

func (s TrendSettings) lift() lift {
	if s.FloorG <= 0 {
		return lift{}
	}
	return lift{on: true, log: math.Log(s.FloorG), table: sharedSoft()}
}

func (l lift) of(m float64) float64 {
	if !l.on {
		return m
	}
	return math.Max(m, l.log) + l.table.of(math.Abs(m-l.log))
}

// softTable is ln(1 + e⁻ᵈ), cubic Hermite between points 1/32 apart, error below 4e-10; 0
// past its end, where it is below 2e-16. Calibration asks for it some 10⁹ times.
type softTable [softEnd * softInv]cubic

const (
	softEnd = 36
	softInv = 32
)

var sharedSoft = sync.OnceValue(func() *softTable {
	at := func(i int) (value, slope float64) {
		e := math.Exp(-float64(i) / softInv)
		return math.Log1p(e), -e / (1 + e) / softInv
	}
	var t softTable
	hermite(t[:], at)
	return &t
})

func (t *softTable) of(d float64) float64 {
	x := d * softInv
	k := int(x)
	if uint(k) >= uint(len(t)) {
		return 0
	}
	return t[k].at(x - float64(k))
}
