package bench

import (
	"cmp"
	"fmt"
	"slices"
	"sort"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// Typed is the source of a reading that a person took; any other is the name of a
// probe.
const Typed = "typed"

// probed tells whether a record was made by a probe and not by a hand.
func probed(body action.Body) bool {
	r, ok := body.(action.BathReading)
	return ok && r.Source != Typed && r.Source != ""
}

// The ends of the signals that readings raise. Both go away by themselves.
const (
	OutOfBand   timers.End = "out of band"
	ProbeSilent timers.End = "probe silent"
)

// Times of those alarms (house defaults).
const (
	// A bath that swings about the edge of its band is one alarm, not a dozen: an
	// excursion that follows another within this is the same one to the bell.
	sameExcursion = 10 * time.Minute
	// A probe heard within this before the flasks went in is the load's probe.
	probeBefore = time.Hour
)

// Cure is the load's programme, unnamed, as package cure takes it.
func (l *Load) Cure() cure.Programme { return house.Programme{Stages: l.Stages}.Cure() }

// BathOf gives the settings of a load's bath; one that the settings no longer name
// has none of its own.
func (b *Bench) BathOf(l *Load) house.Bath {
	if l.Bath >= 1 && l.Bath <= len(b.House.Baths) {
		return b.House.Baths[l.Bath-1]
	}
	return house.Bath{Name: fmt.Sprintf("bath %d", l.Bath), Litres: 10, HeaterW: 1000}
}

// Behind is how long after a load another went in, below 0 where it went in before, which
// the numbers of the loads tell: they are given in the order of the book.
func (l *Load) Behind(o *Load) time.Duration {
	if o.No < l.No {
		return -timers.Elapsed(o.In, l.In)
	}
	return timers.Elapsed(l.In, o.In)
}

// after is how long after a load went in something was recorded. Which came first the
// order of the book tells, also where the machine was started anew and its clock set back.
func (l *Load) after(at timers.Stamp, seq uint64) time.Duration {
	if seq < l.seq {
		return -timers.Elapsed(at, l.In)
	}
	return timers.Elapsed(l.In, at)
}

// out is when the last flask of a load came out of the bath; nil while one is in.
func (b *Bench) out(l *Load) *timers.Stamp {
	if len(b.stillIn(l)) > 0 {
		return nil
	}
	at := l.Last
	return &at
}

// ReadingsOf gives the readings of a load's bath, up to when its last flask came
// out, in order. Their instants are on the load's own time: as far from Load.In.At
// as the clock that decides says they are, so that a wall clock set back in the
// night moves nothing.
func (b *Bench) ReadingsOf(l *Load) []cure.BathReading {
	out, _ := b.readingsOf(l)
	return out
}

// readingsOf gives with each reading the one it was made from.
func (b *Bench) readingsOf(l *Load) ([]cure.BathReading, []BathReading) {
	type one struct {
		after time.Duration
		r     BathReading
	}
	end := b.out(l)
	all := make([]one, 0, len(b.Readings))
	for _, r := range b.Readings {
		if r.Bath == l.Bath && (end == nil || between(r.At, *end) >= 0) {
			all = append(all, one{l.after(r.At, r.seq), r})
		}
	}
	slices.SortStableFunc(all, func(x, y one) int { return cmp.Compare(x.after, y.after) })
	out, from := make([]cure.BathReading, len(all)), make([]BathReading, len(all))
	for i, o := range all {
		out[i], from[i] = cure.BathReading{At: l.In.At.Add(o.after), TempC: o.r.TempC}, o.r
	}
	return out, from
}

// Added is flasks that went into the bath of a load after it, cold.
type Added struct {
	After  time.Duration // since the load itself went in
	Flasks int
}

// AddedTo lists what went into the bath of a load while its flasks were in it, in
// order.
func (b *Bench) AddedTo(l *Load) []Added {
	var out []Added
	end := b.out(l)
	for _, no := range Sorted(b.Loads) {
		o := b.Loads[no]
		after := l.after(o.In, o.seq)
		if o.Bath != l.Bath || no <= l.No || after < 0 || end != nil && between(o.In, *end) < 0 {
			continue
		}
		out = append(out, Added{after, len(o.Flasks)})
	}
	return out
}

// LastReading is the latest reading of a bath, from 1.
func (b *Bench) LastReading(bath int) (BathReading, bool) {
	var last BathReading
	found := false
	for _, r := range b.Readings {
		if r.Bath == bath && (!found || between(last.At, r.At) >= 0) {
			last, found = r, true
		}
	}
	return last, found
}

// Excursions lists the stretches of readings out of band while the load's
// programme held, on the load's own time.
func (b *Bench) Excursions(l *Load) []cure.Excursion {
	return cure.OutOfBand(b.programmeOf(l), l.In.At, b.ReadingsOf(l), b.BathOf(l).Band())
}

// bandKey is the key of the signal that the last of a load's excursions raises.
// Those that follow one another closely share it, and those between which the bath was
// not read back.
func bandKey(l *Load, xs []cure.Excursion) string {
	i := len(xs) - 1
	for i > 0 && (xs[i].Goes || xs[i].From.Sub(xs[i-1].To) < sameExcursion) {
		i--
	}
	return timers.SignalKey(fmt.Sprintf("load/%d/band/%d", l.No, int(xs[i].From.Sub(l.In.At)/time.Second)), OutOfBand)
}

// readingSignals gives the signals of baths out of band and of silent probes: for
// each load the latest of either, which goes away by itself. Loads in one bath that
// want the same of it share an alarm.
func (b *Bench) readingSignals(now timers.Now) []timers.Signal {
	var out []timers.Signal
	type said struct {
		bath int
		setC float64
		at   int64
	}
	band, silent := map[said]bool{}, map[said]bool{}
	for _, no := range Sorted(b.Loads) {
		l := b.Loads[no]
		if !b.atWork(l) {
			continue
		}
		read, from := b.readingsOf(l)
		if len(read) == 0 {
			continue
		}
		end := b.out(l)
		at := b.first(b.working(l), func(f *Flask) timers.Stamp { return f.back })
		set := timers.Latest(at, l.set, b.houseSet, b.readSet[l.Bath])
		if xs := cure.OutOfBand(b.programmeOf(l), l.In.At, read, b.BathOf(l).Band()); len(xs) > 0 {
			x := xs[len(xs)-1]
			sg := timers.Signal{Key: bandKey(l, xs), Priority: timers.Medium, Rose: timers.Latest(stampOf(read, from, x.From), set), Cleared: end}
			if !x.Open {
				at := stampOf(read, from, x.To)
				sg.Cleared = &at
			}
			if k := (said{l.Bath, x.SetC, stampOf(read, from, x.To).At.UnixNano()}); !band[k] {
				band[k] = true
				out = append(out, sg)
			}
		}
		if sg, ok := b.silence(l, read, from, end, now); ok {
			if k := (said{bath: l.Bath, at: sg.Rose.At.UnixNano()}); !silent[k] {
				silent[k], sg.Rose = true, timers.Latest(sg.Rose, set)
				out = append(out, sg)
			}
		}
	}
	return out
}

// stampOf finds the stamp of the reading at an instant of the load's time.
func stampOf(read []cure.BathReading, from []BathReading, at time.Time) timers.Stamp {
	i := sort.Search(len(read), func(i int) bool { return !read[i].At.Before(at) })
	return from[min(i, len(from)-1)].At
}

// silence finds the last stretch in which a load's probe read nothing for longer
// than the house lets it.
func (b *Bench) silence(l *Load, read []cure.BathReading, from []BathReading, end *timers.Stamp, now timers.Now) (timers.Signal, bool) {
	limit := b.BathOf(l).Silent()
	last := now.Since(l.In).For
	if end != nil {
		last = timers.Elapsed(l.In, *end)
	}
	next := end // the reading that ended the stretch; nil for the one that lasts
	for i := len(read) - 1; i >= 0; i-- {
		after := read[i].At.Sub(l.In.At)
		if from[i].Source == Typed || from[i].Source == "" { // read off by a person
			continue
		}
		if after < -probeBefore {
			break
		}
		began := l.In
		if after > 0 {
			began = from[i].At
		}
		if since := max(after, 0); last-since > limit {
			key := fmt.Sprintf("load/%d/probe/%d", l.No, int(since/time.Second))
			return timers.Signal{Key: timers.SignalKey(key, ProbeSilent), Priority: timers.Medium, Rose: moved(began, began.At.Add(limit)), Cleared: next}, true
		}
		if after <= 0 {
			break
		}
		last, next = after, &from[i].At
	}
	return timers.Signal{}, false
}

// LoadOfKey finds the load that a signal of readings is about.
func (b *Bench) LoadOfKey(key string) (*Load, bool) {
	s, ok := SubjectOfKey(key)
	if !ok || s.Class != 'l' {
		return nil, false
	}
	l := b.Loads[s.No]
	return l, l != nil
}
