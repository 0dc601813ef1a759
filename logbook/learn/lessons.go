// Package learn reads from the records of a book what they teach about the flasks and
// the work of this house: the trial closures of all flasks whose trials ended, by the final
// closure or by being given up, from which the flash trend is re-estimated, and how long the
// work at press and bench took.
// Values count as corrected; what was taken back does not.
//
// [From] gathers, [Study] estimates and compares with the settings in force,
// [Report.Adopt] puts what was learned into settings. Everything is an estimate and
// nothing is adopted by itself: the person decides. The package is pure: no clock, no
// disk, no screen.
package learn

import (
	"cmp"
	"slices"
	"sort"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// maxRecords is how many records are read at most, the latest of a book: some years of
// one bench (house default).
const maxRecords = 100_000

// Bounds of one piece of work, in seconds (house default). What took less was said in
// one breath, after it was done; in what took longer, something else came between.
const (
	shortestS = 3
	longestS  = 20 * 60
)

// Lessons are what a book has to teach.
type Lessons struct {
	Flasks      []flash.History // whose trials ended, in the order in which they did
	GivenUp     int             // of these, the ones that ended without a final closure
	First, Last time.Time       // the first and the last end of these; zero without any
	Odd         int             // flasks left out because their trials cannot be followed

	// How long each piece of work took, in seconds, bounded to what is plausible, and
	// how many there were beyond.
	Raise, Open, Trim, Final spans
}

// Latest reads the latest records of a book, whose last one has the number last.
func Latest(last uint64, each func(from uint64, f func(record.Record) (bool, error)) error) (recs []record.Record, err error) {
	err = each(max(last, maxRecords)-maxRecords+1, func(r record.Record) (bool, error) {
		recs = append(recs, r)
		return true, nil
	})
	return recs, err
}

// Many tells whether there are so many that it takes a while to learn from them (house default).
func (l Lessons) Many() bool { return len(l.Flasks) > 150 }

// spans are the lengths of one kind of work.
type spans struct {
	S       []float64
	LeftOut int
}

func (s *spans) add(from, to *timers.Stamp) {
	if from == nil || to == nil {
		return
	}
	switch d, sure := length(*from, *to); {
	case sure && d.Seconds() >= shortestS && d.Seconds() <= longestS:
		s.S = append(s.S, d.Seconds())
	default:
		s.LeftOut++
	}
}

// length is the time from one stamp to another; not sure where the machine was started
// anew in between.
func length(from, to timers.Stamp) (d time.Duration, sure bool) {
	return timers.Elapsed(from, to), from.BootID == to.BootID || from.BootID == "" || to.BootID == ""
}

// From gathers what records teach, in order of the book. Of more than [maxRecords] the
// latest count.
func From(recs []record.Record) Lessons {
	b := bench.Fold(recs[max(0, len(recs)-maxRecords):], bench.Counters{})
	var l Lessons
	opened, hands := map[int]bool{}, handsOf(b)
	for _, it := range b.Items {
		if a, ok := it.Body.(action.FlaskOpen); ok && it.TakenBack == nil {
			opened[a.Flask] = true
		}
	}
	type ended struct {
		*bench.Flask
		at time.Time
	}
	var over []ended
	for _, no := range bench.Sorted(b.Flasks) {
		f := b.Flasks[no]
		if !opened[no] {
			continue // its beginning is not among these records
		}
		l.spans(f, hands)
		// That a flask was given up follows from what was seen of it, which is in its
		// trials; those closed alone would flatter the house.
		switch {
		case len(f.Judged()) == 0:
		case f.ClosedForGood():
			over = append(over, ended{f, f.Metal.At})
		case f.Stage == bench.Finished && f.Ended != nil:
			over = append(over, ended{f, f.Ended.At})
		}
	}
	slices.SortStableFunc(over, func(a, b ended) int { return cmp.Compare(a.at.UnixNano(), b.at.UnixNano()) })
	for _, f := range over {
		h := b.History(f.Flask)
		if _, err := flash.ParseSize(string(h.Size)); err != nil || flash.CheckTrials(h.Trials) != nil {
			l.Odd++
			continue
		}
		h.AddedSince = false // what was added after the last closure was never closed on
		if len(l.Flasks) == 0 {
			l.First = f.at
		}
		if !f.ClosedForGood() {
			l.GivenUp++
		}
		l.Flasks, l.Last = append(l.Flasks, h), f.at
	}
	return l
}

// spans adds how long the work on one flask took.
//
//	raise  in the press until pressure reached
//	open   press opened until flash judged
//	trim   flash judged until in the press again, where nothing else was done meanwhile
//	final  sheet out until clamped
//
// A new sheet is no record of its own, so that waiting for a press or for hands would
// pass for trimming; therefore only where nothing else was done.
func (l *Lessons) spans(f *bench.Flask, hands []act) {
	for i := range f.Trials {
		t := &f.Trials[i]
		if t.InID != "" {
			l.Raise.add(&t.In, t.At)
		}
		l.Open.add(t.Out, t.Judged)
		if i+1 < len(f.Trials) && t.Judged != nil && idle(hands, f.No, t.Judged.At, f.Trials[i+1].In.At) {
			l.Trim.add(t.Judged, &f.Trials[i+1].In)
		}
	}
	l.Final.add(f.SheetOut, f.Clamped)
}

// act is a moment at which hands were at work on a flask, 0 for several or none.
type act struct {
	at    time.Time
	flask int
}

// handsOf lists the work of hands, by time.
func handsOf(b *bench.Bench) []act {
	var out []act
	for i := range b.Items {
		it := &b.Items[i]
		if it.TakenBack != nil {
			continue
		}
		switch it.Body.(type) {
		case action.Coat, action.PressIn, action.PressAt, action.PressOpen, action.Flash, action.DoughAdd, action.SheetOut, action.MetalToMetal, action.Clamp, action.Remount:
			out = append(out, act{it.Stamp.At, it.Body.Subjects()[0].No})
		case action.MixMake, action.BathLoad, action.BathUnload, action.CoolWater, action.Deflask:
			out = append(out, act{it.Stamp.At, 0})
		}
	}
	slices.SortStableFunc(out, func(a, b act) int { return a.at.Compare(b.at) })
	return out
}

// idle tells whether from one instant until another hands worked on nothing but one
// flask.
func idle(hands []act, flask int, from, to time.Time) bool {
	i := sort.Search(len(hands), func(i int) bool { return !hands[i].at.Before(from) })
	for ; i < len(hands) && hands[i].at.Before(to); i++ {
		if hands[i].flask != flask {
			return false
		}
	}
	return true
}
