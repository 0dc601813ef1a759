package bench

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/dough"
)

// Mixes: made, given to flasks, dough, too stiff. What their windows rest on is estimated
// in dough.go.
var mixing = subject{
	rules: []rule{
		on(checkMixMake, applyMixMake, mends("powder_g", "liquid_g", "powder_lot", "liquid_lot", "room_c"),
			makes(func(a action.MixMake) action.Subject { return action.Subject{Class: 'm', No: a.Mix} })),
		on(checkMixServe, applyMixServe),
		on(checkMixDough, func(b *Bench, a action.MixDough, it *Item) {
			b.mark(a.Mix, it, func(m *Mix) { m.Dough = it.at() })
		}, mends()),
		on(checkMixStiff, func(b *Bench, a action.MixStiff, it *Item) {
			b.mark(a.Mix, it, func(m *Mix) { m.Stiff = it.at() })
		}, mends()),
	},
	windows: doughs,
	lives:   map[byte]func(*living, int) bool{'m': (*living).mix},
}

// Mix is one batch of dough.
type Mix struct {
	No        int
	Flasks    []int
	Resin     string
	PowderG   float64
	LiquidG   float64
	PowderLot string
	LiquidLot string
	RoomC     float64
	JarC      *float64 // of the parts, where they came from the refrigerator
	DoughS    int
	WorkS     int
	Made      timers.Stamp
	Window    dough.WorkingTime // estimated, pulled by the marks
	Dough     *timers.Stamp     // marked reached
	Stiff     *timers.Stamp     // marked too stiff
	Last      timers.Stamp
	set, back timers.Stamp
}

// Letter is the mix's name for people: A to Z, then A again.
func (m Mix) Letter() string { return words.MixLetter(m.No) }

// MixOf gives the mix of a flask, or nil.
func (b *Bench) MixOf(f *Flask) *Mix { return b.Mixes[f.Mix] }

// LastMixMade is the last mix as it was made, corrected and not undone, for the flasks it
// was made for.
func (b *Bench) LastMixMade() (action.MixMake, bool) {
	for _, it := range slices.Backward(b.Items) {
		if a, ok := it.Body.(action.MixMake); ok && it.TakenBack == nil && b.Mixes[a.Mix] != nil {
			return a, true
		}
	}
	return action.MixMake{}, false
}

// DoughLeft is the time left in a mix's dough at a moment (an estimate, pulled by
// the marks made), and whether the dough is reached: marked so, or expected by now.
func (m *Mix) DoughLeft(now timers.Now) (left time.Duration, reached bool) {
	passed := now.Since(m.Made).For
	return m.Window.To - passed, m.Dough != nil || passed >= m.Window.From
}

// Spent tells whether nothing more is packed from a mix: it was marked too stiff, or its
// working time is over (an estimate).
func (m *Mix) Spent(now timers.Now) bool {
	left, _ := m.DoughLeft(now)
	return m.Stiff != nil || left < 0
}

// mix finds a mix at work and refuses a time before it was made.
func (c *checker) mix(no int) (*Mix, error) {
	m := c.b.Mixes[no]
	if m == nil {
		return nil, fmt.Errorf("there is no mix %d at work", no)
	}
	return m, c.made(m)
}

func (c *checker) made(m *Mix) error {
	if earlier(c.at, m.Made) && !c.live {
		return fmt.Errorf("%s is before mix %d was made (%s): check the time", stampText(c.at.At), m.No, stampText(m.Made.At))
	}
	return nil
}

func checkMixMake(c *checker, a action.MixMake) (action.MixMake, error) {
	h := c.b.House
	if err := number("mix", &a.Mix, c.b.Top.Mix); err != nil {
		return a, err
	}
	if a.Resin == "" {
		a.Resin = h.Resins[0].Name
	}
	r, known := h.Resin(a.Resin)
	if !known && (a.PowderG == 0 || a.LiquidG == 0 || a.WorkS == 0) {
		return a, fmt.Errorf("the settings have no resin %q: give powder_g, liquid_g, dough_s and work_s, or one of %s", a.Resin, strings.Join(h.ResinNames(), ", "))
	}
	powderG, liquidG := Masses(r, float64(len(a.Flasks)))
	orFloat(&a.PowderG, powderG)
	orFloat(&a.LiquidG, liquidG)
	if a.RoomC == 0 {
		a.RoomC = h.RoomC()
	}
	if a.WorkS == 0 {
		a.DoughS, a.WorkS = WorkingTimes(r, a.RoomC, a.JarC)
	}
	a.PowderLot, a.LiquidLot = c.lot(action.Powder, a.PowderLot), c.lot(action.Liquid, a.LiquidLot)
	c.pairLots(a.Flasks, a.PowderLot, a.LiquidLot)
	return a, c.serve(a.Flasks)
}

// pairLots marks the flasks whose pair had resin of another lot.
func (c *checker) pairLots(flasks []int, powder, liquid string) {
	other := func(lot, was string) bool { return lot != "" && was != "" && lot != was }
	c.pairParted(flasks, pairLotCode, func(pair *Flask) bool {
		m := c.b.MixOf(pair)
		return m != nil && (other(powder, m.PowderLot) || other(liquid, m.LiquidLot))
	})
}

func applyMixMake(b *Bench, a action.MixMake, it *Item) {
	m := &Mix{No: a.Mix, Resin: a.Resin, PowderG: a.PowderG, LiquidG: a.LiquidG, PowderLot: a.PowderLot, LiquidLot: a.LiquidLot,
		RoomC: a.RoomC, JarC: a.JarC, DoughS: a.DoughS, WorkS: a.WorkS, Made: it.Stamp, Last: it.Stamp, set: it.set()}
	m.estimate()
	b.Mixes[a.Mix] = m
	b.made(m)
	b.serve(m, a.Flasks, it)
}

func checkMixServe(c *checker, a action.MixServe) (action.MixServe, error) {
	m, err := c.mix(a.Mix)
	if err != nil {
		return a, err
	}
	c.notStiff(m)
	c.pairLots(a.Flasks, m.PowderLot, m.LiquidLot)
	return a, c.serve(a.Flasks)
}

func applyMixServe(b *Bench, a action.MixServe, it *Item) {
	if m := b.mix(a.Mix); m != nil {
		m.Last = it.Stamp
		b.serve(m, a.Flasks, it)
		return
	}
	for _, n := range a.Flasks { // a mix no longer alive: the flasks had others since
		b.flask(n, it)
	}
}

// serve calls it unusual to give a mix to a flask that is past its trial closures.
func (c *checker) serve(ns []int) error {
	return c.each(ns, func(f *Flask) {
		if rank(f.Stage) > rank(Trimmed) {
			c.unusual("out-of-order", "a mix for a flask at %q", f.Stage)
		}
	})
}

// serve gives a mix to flasks; a flask has one mix at a time, the latest.
func (b *Bench) serve(m *Mix, flasks []int, it *Item) {
	for _, n := range flasks {
		f := b.flask(n, it)
		if old := b.mix(f.Mix); old != nil && old != m {
			old.Flasks = without(old.Flasks, n)
		}
		f.Mix, f.given = m.No, it.set()
		m.Flasks = append(without(m.Flasks, n), n)
	}
}

func without(ns []int, n int) []int {
	out := make([]int, 0, len(ns)+1)
	for _, k := range ns {
		if k != n {
			out = append(out, k)
		}
	}
	return out
}

func checkMixDough(c *checker, a action.MixDough) (action.MixDough, error) {
	m, err := c.mix(a.Mix)
	if err != nil {
		return a, err
	}
	if after := c.since(m.Made); after < m.Window.FromLow/2 {
		c.unusual("dough-early", "dough marked %s after mixing, expected from %s (estimate)", words.Length(after), words.Length(m.Window.From))
	}
	return a, nil
}

func checkMixStiff(c *checker, a action.MixStiff) (action.MixStiff, error) {
	_, err := c.mix(a.Mix)
	return a, err
}

// mark puts a mark on a mix; it pulls the estimate.
func (b *Bench) mark(no int, it *Item, set func(*Mix)) {
	if m := b.mix(no); m != nil {
		set(m)
		m.Last, m.set = it.Stamp, timers.Latest(m.set, it.set())
		m.estimate()
	}
}

func (c *checker) notStiff(m *Mix) {
	if m.Stiff != nil {
		c.unusual("stiff-mix", "mix %s was marked too stiff", m.Letter())
	}
}

// doughSpent calls it unusual to work with dough that is past its time.
func (c *checker) doughSpent(m *Mix) {
	if left, _ := m.DoughLeft(c.then); left < 0 {
		c.unusual("dough-late", "the dough of mix %s is %s past its working time (estimate)", m.Letter(), words.Length(-left))
	}
	c.notStiff(m)
}

// doughs gives the windows of the mixes that flasks still wait for.
func doughs(b *Bench) []Window {
	var out []Window
	for _, no := range Sorted(b.Mixes) {
		m := b.Mixes[no]
		waiting := b.waitingFor(m)
		if len(waiting) == 0 || m.Stiff != nil {
			continue
		}
		s := func(d time.Duration) int { return int(d / time.Second) }
		// The warning comes when the dough may be spent: at the low end of the estimate.
		ends := timers.Ends{FloorS: s(m.Window.From), LimitS: s(m.Window.To), WarnS: s(m.Window.To - m.Window.ToLow), Floor: timers.Low, Limit: timers.High, Set: timers.Latest(m.set, m.back, b.first(waiting, (*Flask).served))}
		if m.Dough != nil {
			ends.FloorS = 0
		}
		out = append(out, Window{What: Dough, Flasks: waiting, Mix: m.No, Window: timers.NewWindow(fmt.Sprintf("mix/%d/dough", m.No), m.Made, ends)})
	}
	return out
}

// waitingFor lists the flasks on the bench that still need dough of a mix.
func (b *Bench) waitingFor(m *Mix) []int {
	var out []int
	for _, n := range m.Flasks {
		if f := b.Flasks[n]; f.AtWork() && f.Mix == m.No && !f.ClosedForGood() {
			out = append(out, n)
		}
	}
	return out
}

// mixMemory is how long a mix with nothing left to serve is kept at hand.
const mixMemory = 12 * time.Hour

// mix tells whether the bench rests on a mix: while a flask that it was ever given to is
// at work, for its records stand or fall together, or while its dough can be worked.
func (l *living) mix(no int) bool {
	m := l.b.Mixes[no]
	if m == nil {
		return false
	}
	age := l.now.Sub(m.Made.At)
	return l.anyFlask(l.served[no]) || age < mixMemory && len(m.Flasks) > 0 && m.Stiff == nil && age < time.Duration(m.WorkS)*time.Second
}

// served lists all flasks that each mix was ever given to.
func (b *Bench) served() map[int][]int {
	out := map[int][]int{}
	for i := range b.Items {
		for _, body := range [...]action.Body{b.Items[i].Action.Body, b.Items[i].Body} {
			if no, flasks := given(body); no != 0 {
				out[no] = append(out[no], flasks...)
			}
		}
	}
	return out
}

// given is the mix that a record gives to flasks, 0 for none.
func given(body action.Body) (mix int, flasks []int) {
	switch a := body.(type) {
	case action.MixMake:
		return a.Mix, a.Flasks
	case action.MixServe:
		return a.Mix, a.Flasks
	}
	return 0, nil
}
