package bench

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// The bath: loads in and out, readings of its temperature. What the readings raise
// stands in readings.go.
var bath = subject{
	rules: []rule{
		on(checkBathLoad, applyBathLoad, mends("bath_c"),
			limits(func(c *checker, a action.BathLoad) error { return c.bathNumber(a.Bath) }),
			corrected(func(_ *checker, was, is action.BathLoad) error {
				if was.OffPlace != is.OffPlace {
					return errors.New("whether flasks left their places is not corrected: undo the load and enter it again")
				}
				return nil
			}),
			makes(func(a action.BathLoad) action.Subject { return action.Subject{Class: 'l', No: a.Load} })),
		on(checkBathReading, func(b *Bench, a action.BathReading, it *Item) {
			b.Readings = append(b.Readings, BathReading{a.Bath, it.Stamp, a.TempC, a.Source, it.Seq})
			if it.Corrected() {
				b.readSet[a.Bath] = timers.Latest(b.readSet[a.Bath], it.set())
			}
		}, alive((*living).reading)),
		on(checkBathUnload, applyBathUnload, mends(),
			corrected(func(_ *checker, was, is action.BathUnload) error {
				if !slices.Equal(was.Places, is.Places) {
					return errors.New("a flask is moved, not corrected, to another place")
				}
				return nil
			}),
			rests(func(b *Bench, a action.BathUnload, on action.Subject) (n int) {
				for _, no := range a.Flasks {
					if f := b.Flasks[no]; on.Class == 'l' && f != nil && f.Load == on.No {
						n++
					}
				}
				return n
			}),
			alive(func(l *living, _ action.BathUnload, i int, _ *Item) bool {
				for _, no := range l.unloads[i] {
					if l.load(no) {
						return true
					}
				}
				return false
			})),
	},
	windows: cures,
	signals: (*Bench).readingSignals,
	next:    map[FlaskStage]func(*Bench, *Flask, timers.Now) Step{InBath: always(DoUnload)},
	lives:   map[byte]func(*living, int) bool{'l': (*living).load},
}

// Load is the flasks put in a bath together.
type Load struct {
	No        int
	Bath      int
	Flasks    []int
	Programme string
	Stages    []house.Stage
	BathC     float64 // read when the flasks went in, 0 where that is not known
	MaxS      int
	Sections  map[int]action.Section
	Doubts    []action.Doubt // what spoke against the thermometers of the bath when it went in
	In        timers.Stamp
	Last      timers.Stamp
	seq       uint64
	set       timers.Stamp
}

// LastThickness is how thick the base of the last flask of a size was that went into a
// bath, in mm, where the bench still knows it.
func (b *Bench) LastThickness(size action.Size) (action.Section, bool) {
	for _, no := range slices.Backward(Sorted(b.Loads)) {
		l := b.Loads[no]
		for _, n := range slices.Backward(l.Flasks) {
			if f, s := b.Flasks[n], l.Sections[n]; f != nil && f.Size == size && s.ThinMM > 0 && s.ThickMM > 0 {
				return s, true
			}
		}
	}
	return action.Section{}, false
}

// BathReading is a bath temperature.
type BathReading struct {
	Bath   int
	At     timers.Stamp
	TempC  float64
	Source string
	seq    uint64
}

// LoadOf gives the load of a flask, or nil.
func (b *Bench) LoadOf(f *Flask) *Load { return b.Loads[f.Load] }

// bathNumber refuses a bath that the house has not.
func (c *checker) bathNumber(n int) error {
	if has := len(c.b.House.Baths); n > has {
		return fmt.Errorf("there is no bath %d: the settings have %d", n, has)
	}
	return nil
}

func checkBathLoad(c *checker, a action.BathLoad) (action.BathLoad, error) {
	h := c.b.House
	if err := number("load", &a.Load, c.b.Top.Load); err != nil {
		return a, err
	}
	orInt(&a.Bath, 1)
	if err := c.bathNumber(a.Bath); err != nil {
		return a, err
	}
	if len(a.Stages) == 0 {
		p, ok := h.Programme(a.Programme)
		if !ok {
			return a, fmt.Errorf("the settings have no programme %q: give stages, or one of %s", a.Programme, strings.Join(h.ProgrammeNames(), ", "))
		}
		a.Stages = p.Stages
		if a.MaxS == 0 {
			a.MaxS = p.MaxS
		}
	}
	if a.BathC == 0 && a.Stages[0].RampS == 0 { // before a ramp it may have read anything
		a.BathC = a.Stages[0].TempC
		if air := c.b.House.Place.Air(); air != 0 { // an open bath gets no hotter
			a.BathC = min(a.BathC, air.WaterBoilsC())
		}
	}
	c.bathTaken(a.Bath)
	c.pairParted(a.Flasks, pairLoadCode, func(pair *Flask) bool { return pair.Load > 0 })
	return a, c.each(a.Flasks, func(f *Flask) {
		c.order(f, "into the bath", Set)
		c.setLong(f)
	})
}

func applyBathLoad(b *Bench, a action.BathLoad, it *Item) {
	l := &Load{No: a.Load, Bath: a.Bath, Flasks: a.Flasks, Programme: a.Programme, Stages: a.Stages, BathC: a.BathC, MaxS: a.MaxS, Doubts: a.Doubts, In: it.Stamp, Last: it.Stamp, seq: it.Seq, set: it.set(), Sections: map[int]action.Section{}}
	for _, s := range a.Sections {
		l.Sections[s.Flask] = s
	}
	b.Loads[a.Load] = l
	b.tell(a.Doubts, it)
	for _, n := range a.Flasks {
		f := b.flask(n, it)
		f.Load, f.InBath, f.OutBath = a.Load, it.at(), nil
		f.to(InBath, it)
		if a.OffPlace {
			f.leave()
		}
		if f.Metal == nil {
			f.Metal = it.at()
		}
	}
}

func checkBathReading(c *checker, a action.BathReading) (action.BathReading, error) {
	if err := c.bathNumber(a.Bath); err != nil {
		return a, err
	}
	for _, r := range c.b.Readings {
		if r.Bath == a.Bath && earlier(c.at, r.At) && !c.live {
			return a, fmt.Errorf("%s is before the last reading of bath %d (%s): check the time", stampText(c.at.At), a.Bath, stampText(r.At.At))
		}
	}
	return a, nil
}

func checkBathUnload(c *checker, a action.BathUnload) (action.BathUnload, error) {
	orInt(&a.BenchS, c.b.House.Cooling.BenchS)
	err := c.each(a.Flasks, func(f *Flask) {
		c.order(f, "taken out of the bath", InBath)
		if l := c.b.LoadOf(f); l != nil && f.Stage == InBath {
			// A model that does not take the programme leaves the time to decide.
			s, _ := c.b.standing(f, c.since(l.In), true)
			if s.In < s.Want || s.Word == cure.OffTemperature {
				c.unusual("cure-short", "%s", StandWords(s, c.b.House.Units.Temperature))
			}
		}
	})
	if err == nil {
		a.Places, err = c.backOn(a)
	}
	return a, err
}

func applyBathUnload(b *Bench, a action.BathUnload, it *Item) {
	for i, n := range a.Flasks {
		f := b.flask(n, it)
		if len(a.Places) == len(a.Flasks) && a.Places[i] > 0 {
			f.Place = a.Places[i]
		}
		f.OutBath, f.CoolS = it.at(), a.BenchS
		f.to(Cooling, it)
		if l := b.load(f.Load); l != nil {
			l.Last = it.Stamp
		}
	}
}

// cures gives the windows of the loads that still have flasks in the bath.
func cures(b *Bench) []Window {
	var out []Window
	for _, no := range Sorted(b.Loads) {
		l := b.Loads[no]
		if in := b.stillIn(l); len(in) > 0 {
			ends := timers.Ends{FloorS: house.LengthS(l.Stages), LimitS: l.MaxS, WarnS: b.House.Alarms.WarnS, Floor: timers.Medium, Limit: timers.High, Set: timers.Latest(l.set, b.first(in, (*Flask).staged)), WarnSet: b.houseSet}
			out = append(out, Window{What: Cure, Flasks: in, Load: l.No, Window: timers.NewWindow(fmt.Sprintf("load/%d/cure", l.No), l.In, ends)})
		}
	}
	return out
}

// stillIn lists the flasks of a load that are in the bath.
func (b *Bench) stillIn(l *Load) []int {
	var out []int
	for _, n := range l.Flasks {
		if f := b.Flasks[n]; f != nil && f.Load == l.No && f.Stage == InBath {
			out = append(out, n)
		}
	}
	return out
}

// StillIn lists the flasks of a load that are in the bath.
func (b *Bench) StillIn(l *Load) []int { return b.stillIn(l) }

// working lists the flasks of a load that are not finished.
func (b *Bench) working(l *Load) []int {
	var out []int
	for _, n := range l.Flasks {
		if f := b.Flasks[n]; f != nil && f.Load == l.No && f.Stage != Finished {
			out = append(out, n)
		}
	}
	return out
}

func (b *Bench) atWork(l *Load) bool { return len(b.working(l)) > 0 }

func (b *Bench) bathInUse(no int) bool {
	for _, l := range b.Loads {
		if l.Bath == no && b.atWork(l) {
			return true
		}
	}
	return false
}

// ReadingMemory is how long a reading of a bath in use is kept at hand: a cure over a
// long weekend.
const ReadingMemory = 84 * time.Hour

func (l *living) load(no int) bool {
	of := l.b.Loads[no]
	return of != nil && l.anyFlask(of.Flasks)
}

func (l *living) reading(a action.BathReading, i int, it *Item) bool {
	return l.now.Sub(it.Stamp.At) < ReadingMemory && (l.b.bathInUse(a.Bath) || l.lastRead[a.Bath] == i)
}

// lastReadings gives by bath which record is its last reading.
func (b *Bench) lastReadings() map[int]int {
	out := map[int]int{}
	for i := range b.Items {
		it := &b.Items[i]
		if r, ok := it.Body.(action.BathReading); ok && it.TakenBack == nil {
			out[r.Bath] = i
		}
	}
	return out
}

// unloadings gives by record the loads that it took flasks out of: a load ends with its
// last one.
func (b *Bench) unloadings() map[int][]int {
	out, in := map[int][]int{}, map[int]int{}
	for i := range b.Items {
		it := &b.Items[i]
		if it.TakenBack != nil {
			continue
		}
		switch a := it.Body.(type) {
		case action.BathLoad:
			for _, n := range a.Flasks {
				in[n] = a.Load
			}
		case action.BathUnload:
			for _, n := range a.Flasks {
				out[i] = append(out[i], in[n])
			}
		}
	}
	return out
}
