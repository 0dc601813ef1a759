// Package timeline works out the day of a bench as bars: what ran, what runs and until
// when, one row a flask, and the presses and the baths as rows of their own. It asks no
// clock and draws nothing.
package timeline

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/bench"
	"flaskside/timers"
)

// Owner says what a row is about.
type Owner string

// The kinds of rows, in the order they stand in.
const (
	Flask Owner = "flask"
	Press Owner = "press"
	Bath  Owner = "bath"
	Case  Owner = "case"  // a step of a case that is done in a place: investing, boil-out, pot
	Own   Owner = "timer" // a timer of a person's own that belongs to no flask
)

// Bar is one stretch of time. The ends of a timer are zero where it has none; To is the
// last of them, or now where that is later and the timer still runs.
type Bar struct {
	From, To              time.Time
	Earliest, Aim, Latest time.Time
	Over                  bool     // the latest has gone by
	Ended                 bool     // it is history
	Places                []int    // of the flasks in a press or a bath, as far as they are on the bench
	Cases                 []string // of those that stand on no place
}

// Row is one line of the day. The bar that matters most now is the last.
type Row struct {
	Kind  Owner
	No    int    // of the flask, press, bath or timer
	Label string // of a timer, or the name of a bath
	Bars  []Bar
}

// DayBars is the day of a bench. It runs over whole hours of the wall clock.
type DayBars struct {
	From, To, Now time.Time
	Rows          []Row
}

// How far the line reaches at most, and how much of what is to come it shows at least
// (house defaults). It shows no more of what was than of what comes, but an hour of it: a
// night's cure would leave the morning no room.
const (
	back  = 4 * time.Hour
	ahead = 16 * time.Hour
	least = time.Hour
)

// Of works out the day of a bench at an instant.
func Of(b *bench.Bench, now timers.Now) DayBars {
	l := DayBars{Now: now.Wall}
	ws := map[string]bench.Window{}
	var plain []timers.Window
	for _, w := range b.Windows() {
		ws[w.Key] = w
		plain = append(plain, w.Window)
	}
	of := map[int][]Bar{}
	loads := map[int]Bar{}
	var own []Row
	standing := timers.StandAll(plain, now)
	slices.Reverse(standing) // the most urgent last
	for _, st := range standing {
		w, bar := ws[st.Key], BarOf(st, now)
		if w.Load > 0 {
			loads[w.Load] = bar
		}
		if w.Case != "" && w.Place != "" {
			own = append(own, Row{Kind: Case, Label: caseLabel(w), Bars: []Bar{bar}})
		}
		if w.What == bench.Own && len(w.Flasks) == 0 {
			own = append(own, Row{Kind: Own, No: w.Timer, Label: w.Label, Bars: []Bar{bar}})
		}
		for _, no := range w.Flasks {
			if b.Flasks[no] != nil {
				of[no] = append(of[no], bar)
			}
		}
	}
	for f := range b.AtWork() {
		if b.SpotOf(f).Bath == 0 { // of those the bath has a row
			l.Rows = append(l.Rows, Row{Kind: Flask, No: f.No, Bars: of[f.No]})
		}
	}
	l.presses(b, now)
	l.baths(b, now, loads)
	slices.Reverse(own)
	l.Rows = append(l.Rows, own...)
	l.reach()
	return l
}

// caseLabel names the row of a case by its number and what runs.
func caseLabel(w bench.Window) string {
	number, _, _ := strings.Cut(w.Case, " ")
	return number + " " + w.Label
}

// BarOf is a timer as a bar.
func BarOf(st timers.Standing, now timers.Now) Bar {
	at := func(e timers.End) time.Time {
		if m := st.After(e); m != nil {
			return now.WallOf(st.Start, m.After)
		}
		return time.Time{}
	}
	bar := Bar{From: now.WallOf(st.Start, 0), Earliest: at(timers.Floor), Aim: at(timers.Aim), Latest: at(timers.Limit),
		Over: st.Phase == timers.Over}
	for _, t := range []time.Time{bar.From, bar.Earliest, bar.Aim, bar.Latest} {
		bar.To = later(bar.To, t)
	}
	if st.Next == nil {
		bar.To = later(bar.To, now.Wall)
	}
	return bar
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// presses adds a row for each press: the closures that were made in it, and the one at work.
func (l *DayBars) presses(b *bench.Bench, now timers.Now) {
	at := func(s timers.Stamp) time.Time { return now.WallOf(s, 0) }
	for n := 1; n <= max(1, b.House.Press.Presses); n++ {
		r := Row{Kind: Press, No: n}
		for _, no := range bench.Sorted(b.Flasks) {
			f := b.Flasks[no]
			var places []int
			var cases []string
			if f.Place > 0 {
				places = []int{f.Place}
			} else if f.Stage == bench.InBath { // it was closed on a place that others may have now
				cases = []string{f.Case}
			}
			holds := slices.Contains(b.InPress(n), f)
			for i, t := range f.Trials {
				if t.Press != n || t.In.At.IsZero() {
					continue
				}
				bar := Bar{From: at(t.In), Places: places, Cases: cases}
				in := holds && f.Stage != bench.Metal && i == len(f.Trials)-1 // also back under pressure after it was opened
				switch {
				case t.Out != nil && !in:
					bar.To, bar.Ended = at(*t.Out), true
				case !in:
					continue // nobody said when it came out
				case t.At != nil:
					bar.Earliest = now.WallOf(*t.At, time.Duration(t.HoldAimS)*time.Second)
					bar.To = later(bar.Earliest, now.Wall)
				default:
					bar.To = now.Wall
				}
				r.Bars = append(r.Bars, bar)
			}
			if f.Metal != nil && f.Press == n {
				switch {
				case f.Clamped != nil:
					r.Bars = append(r.Bars, Bar{From: at(*f.Metal), To: at(*f.Clamped), Ended: true, Places: places, Cases: cases})
				case holds && f.Stage == bench.Metal:
					r.Bars = append(r.Bars, Bar{From: at(*f.Metal), To: now.Wall, Places: places, Cases: cases})
				}
			}
		}
		slices.SortStableFunc(r.Bars, func(x, y Bar) int { return cmp.Compare(x.From.UnixNano(), y.From.UnixNano()) })
		l.Rows = append(l.Rows, r)
	}
}

// baths adds a row for each bath that has, or had, a load; running are the bars of the
// cures under way, by load.
func (l *DayBars) baths(b *bench.Bench, now timers.Now, running map[int]Bar) {
	for i, bath := range b.House.Baths {
		r := Row{Kind: Bath, No: i + 1, Label: bath.Name}
		for _, no := range bench.Sorted(b.Loads) {
			load := b.Loads[no]
			if load.Bath != i+1 {
				continue
			}
			bar, runs := running[no]
			if !runs {
				if bar = stayed(b, load, now); bar.To.IsZero() {
					continue // when it came out is not known
				}
			}
			for _, f := range b.StillIn(load) {
				switch fl := b.Flasks[f]; {
				case !runs || !fl.AtWork():
				case fl.Place > 0:
					bar.Places = append(bar.Places, fl.Place)
				default:
					bar.Cases = append(bar.Cases, fl.Case)
				}
			}
			r.Bars = append(r.Bars, bar)
		}
		if len(r.Bars) > 0 {
			l.Rows = append(l.Rows, r)
		}
	}
}

// stayed is the bar of a load that has ended, until its last flask was out; To is zero where
// that is not known.
func stayed(b *bench.Bench, load *bench.Load, now timers.Now) Bar {
	bar := Bar{From: now.WallOf(load.In, 0), Ended: true}
	for _, f := range load.Flasks {
		if fl := b.Flasks[f]; fl != nil && fl.OutBath != nil {
			bar.To = later(bar.To, now.WallOf(*fl.OutBath, 0))
		}
	}
	return bar
}

// reach settles from when to when the line runs, and drops what lies outside.
func (l *DayBars) reach() {
	l.From, l.To = l.Now, l.Now.Add(least)
	for _, r := range l.Rows {
		for _, bar := range r.Bars {
			if bar.From.Before(l.From) {
				l.From = bar.From
			}
			l.To = later(l.To, bar.To)
		}
	}
	if last := l.Now.Add(ahead); l.To.After(last) {
		l.To = last
	}
	was := min(back, max(least, l.To.Sub(l.Now)))
	if first := l.Now.Add(-was); l.From.Before(first) {
		l.From = first
	}
	l.From = hour(l.From)
	if h := hour(l.To); h.Before(l.To) {
		l.To = hour(h.Add(90 * time.Minute)) // an hour on, also where the clocks are put back
	}
	for i := range l.Rows {
		l.Rows[i].Bars = slices.DeleteFunc(l.Rows[i].Bars, func(bar Bar) bool {
			return bar.To.Before(l.From) || bar.From.After(l.To) || bar.To.Before(bar.From)
		})
	}
}

// hour is the full hour of the wall clock at or before an instant.
func hour(t time.Time) time.Time {
	return t.Add(-time.Duration(t.Minute())*time.Minute - time.Duration(t.Second())*time.Second - time.Duration(t.Nanosecond()))
}
