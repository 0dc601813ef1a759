package bench

import (
	"fmt"
	"sync"

	"flaskside/logbook/flash"
	"flaskside/timers/press"
)

// memo keeps the trends already worked out: a fit takes a good part of a
// millisecond, the screen asks many times a second, and the answer changes only
// with a record. It is handed from one bench to the next.
type memo struct {
	mu     sync.Mutex
	m      map[string]Outlook
	orders map[string]press.Advice // by the question; few
}

// memoSize bounds what is kept.
const memoSize = 256

// ordersSize bounds the press orders kept: the one at the last record and the latest.
const ordersSize = 8

func newMemo() *memo {
	return &memo{m: map[string]Outlook{}, orders: map[string]press.Advice{}}
}

func (k *memo) order(question string) (press.Advice, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	a, ok := k.orders[question]
	return a, ok
}

func (k *memo) keepOrder(question string, a press.Advice) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.orders) >= ordersSize {
		clear(k.orders)
	}
	k.orders[question] = a
}

// Inherit takes over what another bench has worked out already.
func (b *Bench) Inherit(from *Bench) { b.memo = from.memo }

func (k *memo) outlook(s flash.TrendSettings, h flash.History, house flash.Grade, least int) (Outlook, error) {
	key := fmt.Sprint(s, h.Size, h.Trials, h.AddedSince, house, least)
	k.mu.Lock()
	defer k.mu.Unlock()
	if o, ok := k.m[key]; ok {
		return o, nil
	}
	p, err := flash.Fit(s, h)
	if err != nil {
		return Outlook{}, err
	}
	o := Outlook{Posterior: p}
	if o.Further, err = p.Further(house, least); err != nil {
		return Outlook{}, err
	}
	at := func(q float64) int {
		sum := 0.0
		for j, c := range o.Further {
			if sum += c; sum >= q {
				return j
			}
		}
		return len(o.Further)
	}
	o.Median, o.At80 = at(0.5), at(0.8)
	if len(k.m) >= memoSize {
		clear(k.m)
	}
	k.m[key] = o
	return o, nil
}
