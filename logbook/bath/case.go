// Package bath puts a load on the bench and the cure model together: what the
// flasks in a bath are likely to go through, from their programme, their sections
// and the bath's readings, in numbers and in words, and what fits the night. It is
// pure: no clock, no disk, no screen.
//
// [Of] takes a load off the bench as a [LoadCase], which may be handed to another
// goroutine; [Case.Estimate] works it out, which takes some milliseconds. Every
// figure is an estimate; nothing here changes a programme.
package bath

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// Sections assumed where none were recorded, in mm (house defaults).
const (
	ThinMM  = bench.ThinMM
	ThickMM = bench.ThickMM
)

// LoadCase is what the model needs to know of one load. All lengths of time count from
// the flasks going in; the instants of the readings lie on the clock of Start.
type LoadCase struct {
	Load, Bath      int
	Programme       cure.Programme // without its name, as an open bath can follow it in this air
	Set             cure.Programme `json:"-"` // as it was set
	Capped          []cure.Capped  // stages that boiling water keeps below their set point
	Air             cure.Air       // of the place; 0: not given
	Ratio           bench.Ratio    // of the wettest dough in the load
	Ratios          int            // how many different ones are in it
	Start           time.Time
	BathC           float64 // bath when the flasks went in, °C
	BandK           float64
	Out             time.Duration // how long the last of its flasks was in; 0 while one is in the bath
	RoomC           float64       // flasks and dough before, °C
	ThinMM, ThickMM float64       // thinnest section decides the residual, thickest the peak
	Unread          bool          // it was not: the room's temperature is taken
	Assumed         bool          // the sections were not recorded
	Size            action.Size   // of the largest flask, the slowest
	Flasks          int
	Tank            cure.Tank // its set point is filled in where it is used
	Readings        []cure.BathReading
	Added           []bench.Added
	Clash           clashing
}

// clashing is that another load asks something else of the same bath.
type clashing struct {
	Load          int           // the other one; 0: none does
	After         time.Duration // from when on
	ThisC, OtherC float64
}

// Of takes a load off the bench.
func Of(b *bench.Bench, l *bench.Load) LoadCase {
	prog, capped := b.CureOf(l)
	c := LoadCase{Load: l.No, Bath: l.Bath, Programme: prog, Set: l.Cure(), Capped: capped, Air: b.House.Place.Air(), Start: l.In.At, BathC: l.BathC, BandK: b.BathOf(l).Band(),
		RoomC: cure.Defaults().Start - cure.Kelvin, Flasks: len(l.Flasks), Readings: b.ReadingsOf(l), Added: b.AddedTo(l)}
	if len(b.StillIn(l)) == 0 {
		c.Out = max(timers.Elapsed(l.In, l.Last), 0)
	}
	room := math.Inf(1)
	sizes := action.Sizes
	largest := 0
	for _, n := range l.Flasks {
		if s, ok := l.Sections[n]; ok {
			if c.ThinMM == 0 {
				c.ThinMM, c.ThickMM = s.ThinMM, s.ThickMM
			}
			c.ThinMM, c.ThickMM = min(c.ThinMM, s.ThinMM), max(c.ThickMM, s.ThickMM)
		}
		f := b.Flasks[n]
		if f == nil {
			continue
		}
		largest = max(largest, slices.Index(sizes, f.Size))
		c.mix(b.RatioOf(f))
		if m := b.MixOf(f); m != nil {
			room = min(room, m.RoomC)
		}
	}
	c.Size = sizes[largest]
	if c.ThinMM == 0 {
		c.ThinMM, c.ThickMM, c.Assumed = ThinMM, ThickMM, true
	}
	if !math.IsInf(room, 1) {
		c.RoomC = room
	}
	if c.BathC == 0 {
		c.BathC, c.Unread = c.RoomC, true
	}
	if c.Ratios == 0 {
		c.mix(bench.Ratio{Mass: cure.Defaults().PowderLiquid, Flat: true})
	}
	c.Tank = tankOf(b.BathOf(l), c.RoomC)
	c.Clash = clash(b, l, c.BandK)
	return c
}

// mix takes in the dough of one flask: the wettest warms itself most and keeps most
// monomer.
func (c *LoadCase) mix(r bench.Ratio) {
	if c.Ratios == 0 || r.Mass != c.Ratio.Mass {
		c.Ratios++
	}
	if c.Ratios == 1 || !(r.Mass >= c.Ratio.Mass) { // also what is no number: the model refuses it
		c.Ratio = r
	}
}

// clash finds the first moment at which another load in the same bath is to be held
// at a temperature farther off than the band.
func clash(b *bench.Bench, l *bench.Load, bandK float64) clashing {
	var first clashing
	for _, no := range bench.Sorted(b.Loads) {
		o := b.Loads[no]
		if no == l.No || o.Bath != l.Bath || len(b.StillIn(o)) == 0 || len(b.StillIn(l)) == 0 {
			continue
		}
		this, _ := b.CureOf(l)
		other, _ := b.CureOf(o)
		late := l.Behind(o)
		for after := max(late, 0); after <= min(this.Total(), late+other.Total()); after += time.Minute {
			_, a, holds := this.Hold(after)
			_, x, too := other.Hold(after - late)
			if holds && too && math.Abs(a-x) > bandK {
				if first.Load == 0 || after < first.After {
					first = clashing{no, after, a, x}
				}
				break
			}
		}
	}
	return first
}

// tankOf is a bath of the settings as a body of water; its set point is left out.
func tankOf(h house.Bath, roomC float64) cure.Tank {
	tk := cure.DefaultTank(0)
	tk.Litres, tk.HeaterW, tk.RoomC = h.Litres, h.HeaterW, roomC
	return tk
}

// Key tells whether two cases of a load are the same, so that a case is worked out
// once.
func (c LoadCase) Key() uint64 {
	h := fnv.New64a()
	var b [16]byte
	for _, r := range c.Readings {
		binary.LittleEndian.PutUint64(b[:], uint64(r.At.UnixNano()))
		binary.LittleEndian.PutUint64(b[8:], math.Float64bits(r.TempC))
		h.Write(b[:])
	}
	c.Readings = nil
	fmt.Fprintf(h, "%v", c)
	return h.Sum64()
}

// params are the model of the thinnest and of the thickest section.
func (c LoadCase) params() (thin, thick cure.Params, err error) {
	if err = cure.CheckRatio(c.Ratio.Mass); err != nil {
		return thin, thick, err
	}
	for _, s := range []struct {
		p  *cure.Params
		mm float64
	}{{&thin, c.ThinMM}, {&thick, c.ThickMM}} {
		if *s.p, err = cure.ForSection(s.mm, string(c.Size)); err != nil {
			return thin, thick, err
		}
		if err = s.p.Set("T0", c.RoomC+cure.Kelvin); err != nil {
			return thin, thick, err
		}
		s.p.PowderLiquid = c.Ratio.Mass
	}
	return thin, thick, nil
}
