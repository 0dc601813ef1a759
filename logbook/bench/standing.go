package bench

import (
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// Sections assumed where none were recorded, in mm (house defaults).
const (
	ThinMM  = 2.0
	ThickMM = 4.0
)

// CureOf is the programme of a load as an open bath can follow it where the house is, and
// which of its stages boiling water caps.
func (b *Bench) CureOf(l *Load) (cure.Programme, []cure.Capped) {
	return l.Cure().Under(b.House.Place.Air())
}

func (b *Bench) programmeOf(l *Load) cure.Programme {
	p, _ := b.CureOf(l)
	return p
}

// Ratio is the powder to liquid of a flask's dough.
type Ratio struct {
	Mass float64 // grams of powder to a gram of liquid
	From string  // what it is that of, for people: "mix A", a resin's name, "" for the model's own
	Flat bool    // no mix was recorded
}

// String says which ratio was used.
func (r Ratio) String() string {
	words := fmt.Sprintf("powder to liquid %.3g:1 by mass", r.Mass)
	if r.Flat {
		return words + ", for no mix is recorded"
	}
	return words + ", of " + r.From
}

// RatioOf is that of the mix a flask was packed from: as weighed, else as its resin is
// set. Without a mix it is the cure model's own.
func (b *Bench) RatioOf(f *Flask) Ratio {
	m := b.MixOf(f)
	if m == nil {
		p := cure.Defaults()
		return Ratio{Mass: p.PowderLiquid, Flat: true}
	}
	if m.PowderG > 0 && m.LiquidG > 0 {
		return Ratio{Mass: m.PowderG / m.LiquidG, From: "mix " + m.Letter()}
	}
	r, ok := b.House.Resin(m.Resin)
	if !ok {
		r = b.House.Resins[0]
	}
	mass, err := r.WithDefaults().MassRatio()
	if err != nil {
		mass = math.NaN() // refused by the model, which says so
	}
	return Ratio{Mass: mass, From: r.Name}
}

// stayOf is what is known of a flask's stay in the bath but how long it was.
func (b *Bench) stayOf(f *Flask) (cure.Stay, error) {
	l := b.LoadOf(f)
	if l == nil || f.InBath == nil {
		return cure.Stay{}, fmt.Errorf("flask %d was in no bath", f.No)
	}
	mm := ThickMM
	if s, ok := l.Sections[f.No]; ok {
		mm = s.ThickMM
	}
	size := f.Size
	if !slices.Contains(action.Sizes, size) {
		size = ""
	}
	p, err := cure.ForSection(mm, string(size))
	if err != nil {
		return cure.Stay{}, err
	}
	ratio := b.RatioOf(f)
	if err := cure.CheckRatio(ratio.Mass); err != nil {
		return cure.Stay{}, err
	}
	p.PowderLiquid = ratio.Mass
	if m := b.MixOf(f); m != nil && m.RoomC != 0 {
		if err := p.Set("T0", m.RoomC+cure.Kelvin); err != nil {
			return cure.Stay{}, err
		}
	}
	prog, _ := b.CureOf(l)
	return cure.Stay{Programme: prog, Start: l.In.At, BathC: l.BathC, BandK: b.BathOf(l).Band(), Readings: b.ReadingsOf(l), Thick: p}, nil
}

// StandingOf is how the cure of a flask stands, or stood when it came out: the one answer
// for screen, sheet, tables, review and the question on taking it out. What the model
// does not take stands by its time alone, with the reason.
func (b *Bench) StandingOf(f *Flask, now timers.Now) (cure.Stand, error) {
	l := b.LoadOf(f)
	switch {
	case l == nil || f.InBath == nil:
		return cure.Stand{Word: cure.TimeOnly}, fmt.Errorf("flask %d was in no bath", f.No)
	case f.OutBath != nil:
		return b.standing(f, timers.Elapsed(l.In, *f.OutBath), true)
	}
	in := now.Since(l.In).For
	told := in.Truncate(time.Minute) // worked out once a minute, and at each reading
	if rs := b.ReadingsOf(l); len(rs) > 0 {
		if d := rs[len(rs)-1].At.Sub(l.In.At); d > told && d <= in {
			told = d
		}
	}
	return b.standing(f, told, false)
}

// standing is that of a flask that is out of the bath after so long, or in so far.
func (b *Bench) standing(f *Flask, in time.Duration, out bool) (cure.Stand, error) {
	in = max(in, 0)
	y, err := b.stayOf(f)
	if err == nil {
		y.In, y.Out = in, out
		s, serr := stands.of(y)
		if serr == nil {
			return s, nil
		}
		err = serr
	}
	return cure.Stand{Word: cure.TimeOnly, In: in, Want: b.LoadOf(f).Cure().Total(), Out: out}, err
}

// StandWords are the figures of a standing in one line, without its word.
func StandWords(s cure.Stand, u units.TempUnit) string {
	out := []string{fmt.Sprintf("in the bath %s of %s", words.Length(s.In), words.Length(s.Want))}
	if s.Word == cure.OffTemperature && len(s.Stages) > 0 {
		for _, x := range s.Stages {
			if x.Missing {
				out = append(out, fmt.Sprintf("core at %s about %s of %s", units.FormatTemp(x.SetC, u), words.Length(x.Core.Round(time.Minute)), words.Length(x.CorePlan.Round(time.Minute))))
			}
			if x.TooHot > 0 {
				out = append(out, fmt.Sprintf("bath above %s for %s", units.FormatTemp(x.SetC, u), words.Length(x.TooHot.Round(time.Minute))))
			}
		}
	}
	var dark []string
	for _, x := range s.Stages {
		if x.Readings == 0 {
			dark = append(dark, units.FormatTemp(x.SetC, u))
		}
	}
	switch {
	case s.Readings == 1:
		out = append(out, "1 reading")
	case s.Readings > 1:
		out = append(out, fmt.Sprintf("%d readings", s.Readings))
	}
	if len(dark) > 0 && s.Readings > 0 {
		out = append(out, "none at "+strings.Join(dark, ", "))
	}
	return strings.Join(out, ", ")
}

// standMemo keeps standings worked out before: they take some milliseconds each, and a
// sheet and a screen ask again and again.
type standMemo struct {
	mu sync.Mutex
	m  map[uint64]cure.Stand
}

var stands = standMemo{m: map[uint64]cure.Stand{}}

func (k *standMemo) of(y cure.Stay) (cure.Stand, error) {
	h := fnv.New64a()
	fmt.Fprintf(h, "%v|%d|%g|%d|%t|%g|%v", y.Programme, y.Start.UnixNano(), y.BathC, y.In, y.Out, y.BandK, y.Thick)
	for _, r := range y.Readings {
		fmt.Fprintf(h, "|%d %g", r.At.UnixNano(), r.TempC)
	}
	key := h.Sum64()
	k.mu.Lock()
	s, ok := k.m[key]
	k.mu.Unlock()
	if ok {
		return s, nil
	}
	s, err := y.Stand()
	if err != nil {
		return s, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.m) >= memoSize {
		clear(k.m)
	}
	k.m[key] = s
	return s, nil
}
