package keep

import (
	"sync"
	"time"

	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/timers/press"
)

// PressOrder is the press order of a bench at an instant: an estimate, the person decides.
type PressOrder struct {
	Advice press.Advice
	Left   time.Duration  // work that live dough still wants at the press
	Mix    *press.MixCost // what another mix would cost, where that was asked
}

// CureEstimate is what goes on in the flasks of a load, an estimate.
type CureEstimate struct {
	Estimate bath.LoadEstimate
	Core     []cure.Knot
	Err      error
}

// PressFor is how long a press order holds while nothing is recorded: time passing changes
// it slowly.
const PressFor = 10 * time.Second

// mostCures is of how many loads the estimate is kept: far more than there are baths.
const mostCures = 64

// desk works things out once for all who ask.
type desk struct {
	pressMu sync.Mutex // held while the press order is worked out: who asks meanwhile gets the same
	bench   *bench.Bench
	at      time.Duration
	size    string // of the mix that was weighed; "" for none
	press   PressOrder
	err     error

	cureMu sync.Mutex
	cures  map[uint64]*cured
	order  []uint64
}

type cured struct {
	once sync.Once
	CureEstimate
}

func newDesk() *desk { return &desk{cures: map[uint64]*cured{}} }

// Press is the press order, and with a size what another mix for one flask of that size
// would cost. Screens that ask within [PressFor] of the same bench get the same answer.
func (h *Hub) Press(now timers.Now, mixSize string) (PressOrder, error) {
	d, b := h.desk, h.book.State().Bench
	d.pressMu.Lock()
	defer d.pressMu.Unlock()
	age := now.Mono - d.at
	if d.bench == b && age >= 0 && age < PressFor && (mixSize == "" || mixSize == d.size) {
		return d.press, d.err
	}
	d.bench, d.at, d.size = b, now.Mono, mixSize
	d.press, d.err = pressOf(b, now, mixSize)
	return d.press, d.err
}

// pressOf works the press order out.
func pressOf(b *bench.Bench, now timers.Now, mixSize string) (p PressOrder, err error) {
	p.Advice, err = b.PressOrder(now)
	p.Left = b.PressWorkLeft(now)
	if mixSize != "" {
		if c, err := b.CostOfMix(now, mixSize, 1); err == nil {
			p.Mix = &c
		}
	}
	return p, err
}

func (d *desk) cure(c bath.LoadCase) CureEstimate {
	d.cureMu.Lock()
	key := c.Key()
	one := d.cures[key]
	if one == nil {
		one = &cured{}
		d.cures[key] = one
		if d.order = append(d.order, key); len(d.order) > mostCures {
			delete(d.cures, d.order[0])
			d.order = d.order[1:]
		}
	}
	d.cureMu.Unlock()
	one.once.Do(func() { one.CureEstimate = CureOf(c) })
	return one.CureEstimate
}

// CureOf works out what goes on in the flasks of a load.
func CureOf(c bath.LoadCase) (out CureEstimate) {
	if out.Estimate, out.Err = c.Estimate(); out.Err == nil {
		out.Core = out.Estimate.Core()
	}
	return out
}
