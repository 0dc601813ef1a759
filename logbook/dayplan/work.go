package dayplan

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/timers/plan"
)

// work is how far a case is that is at work. The plan goes round it: its dough, its press, its bath stay as they are.
type work struct {
	Flask, Place int
	Stage        bench.FlaskStage
	Step         plan.Progress
	Waits        bool      // its moulds are still to be painted: planned as a case that waits
	From         time.Time // as the step of package plan says
	Mix          int       // number of the mix whose dough is in it, 0 for none
	Letter       string    // of that mix
	Made         time.Time // when it was mixed
	Dough, End   time.Time // when its dough is reached and ends, estimates
	More         []float64 // chance that 0, 1, 2, … further trial closures are wanted
	Bath         string    // that it is in, by name
	Load         int       // 0 for none
	Programme    string
	Off          bool // the bath was read off its temperature
}

// Entries are the cases of a bench that are not finished: those that flasks are at work for, as far as they are, and
// those that wait.
func Entries(b *bench.Bench, now timers.Now) []Entry {
	out := waiting(b, now)
	for _, no := range bench.Sorted(b.Flasks) {
		f := b.Flasks[no]
		if f.Stage == bench.Finished {
			continue
		}
		size, ok := sizeOf(string(f.Size))
		if !ok {
			size = plan.Medium
		}
		e := Entry{Case: strings.TrimSpace(f.Case + " " + f.Base), Size: size, Resin: b.House.Resins[0].Name, Work: workOf(b, f, now)}
		for _, k := range b.Cases() {
			if k.Flask == f.No {
				e.Due, e.Rush = k.DueAt(), k.Rush
				e.Resin = labelOf(b, k)
			}
		}
		if m := b.MixOf(f); m != nil && !strings.HasPrefix(e.Resin, m.Resin) {
			e.Resin = m.Resin
		}
		if slices.ContainsFunc(out, func(o Entry) bool { return o.Case == e.Case }) {
			e.Case = fmt.Sprintf("%s (flask %d)", e.Case, f.No)
		}
		out = append(out, e)
	}
	return out
}

// labelOf is resin and shade of a case.
func labelOf(b *bench.Bench, k bench.Case) string {
	resin := k.Resin
	if resin == "" {
		resin = b.House.Resins[0].Name
	}
	return strings.TrimSpace(resin + " " + k.Shade)
}

// atWork puts the cases that flasks are at work for among those that were told otherwise: what was told of a case that
// is at work keeps its due time, and no case is there twice.
func atWork(told []Entry, b *bench.Bench, now timers.Now) []Entry {
	out := slices.Clone(told)
	for _, e := range Entries(b, now) {
		if e.Work == nil {
			continue
		}
		out = slices.DeleteFunc(out, func(o Entry) bool {
			if o.Case == e.Case && o.Work == nil {
				e.Due, e.Rush = o.Due, o.Rush
				return true
			}
			return false
		})
		out = append(out, e)
	}
	return out
}

// workOf is how far a flask is.
func workOf(b *bench.Bench, f *bench.Flask, now timers.Now) *work {
	w := &work{Flask: f.No, Place: f.Place, Stage: f.Stage}
	d, ago := b.Durations(), func(s *timers.Stamp) time.Duration {
		if s == nil {
			return 0
		}
		return now.Since(*s).For
	}
	in := func(d time.Duration) { w.From = now.Wall.Add(max(0, d)) }
	in(0)
	switch f.Stage {
	case bench.Opened, bench.Drying:
		w.painted(b, f, now)
	case bench.InPress:
		t := f.Trial()
		w.Step = plan.Pressed
		in(d.Raise + d.Hold - ago(&t.In))
	case bench.Holding:
		t := f.Trial()
		w.Step = plan.Pressed
		in(time.Duration(t.HoldAimS)*time.Second - ago(t.At))
	case bench.Judging:
		w.Step = plan.Pressed
	case bench.Trimmed:
		w.Step = plan.Packed
		if t := f.Trial(); t != nil && t.Judged != nil {
			in(d.Trim - ago(t.Judged))
		}
	case bench.Sheetout, bench.Metal:
		w.Step = plan.Clamped
		in(max(0, d.Final-ago(f.SheetOut)) + time.Duration(b.House.BenchSet.MinS)*time.Second)
	case bench.Set:
		w.Step = plan.Clamped
		in(time.Duration(f.BenchMinS)*time.Second - ago(f.Clamped))
	case bench.InBath:
		w.bathed(b, f, now)
	case bench.Cooling:
		w.Step = plan.Cooling
		in(time.Duration(f.CoolS+b.House.Cooling.WaterS)*time.Second - ago(f.OutBath))
	case bench.InWater:
		w.Step = plan.Cooling
		in(time.Duration(f.WaterS)*time.Second - ago(f.InWater))
	default:
		w.Step = plan.Deflasked
	}
	w.doughIn(b, f, now)
	return w
}

// painted is a flask before its first closure.
func (w *work) painted(b *bench.Bench, f *bench.Flask, now timers.Now) {
	if len(f.Halves) < 2 {
		w.Waits = true
		return
	}
	w.Step = plan.Painted
	wet := time.Duration(0)
	for _, h := range f.Halves {
		wet = max(wet, time.Duration(h.MinS)*time.Second-now.Since(h.Coated).For)
	}
	if w.From = now.Wall.Add(wet); b.MixOf(f) != nil {
		w.Step = plan.Packed
	}
}

// bathed is a flask in a bath: it stays its whole programme, counted from when it went in.
func (w *work) bathed(b *bench.Bench, f *bench.Flask, now timers.Now) {
	w.Step = plan.Bathed
	l := b.LoadOf(f)
	if l == nil {
		return
	}
	w.Bath, w.Load, w.Programme = b.BathOf(l).Name, l.No, l.Programme
	left := time.Duration(house.LengthS(l.Stages))*time.Second - now.Since(l.In).For
	if s, err := b.StandingOf(f, now); err == nil {
		left = max(left, s.Want-s.In)
		w.Off = s.Word == cure.OffTemperature
	}
	w.From = now.Wall.Add(max(0, left))
}

// doughIn is the dough of a flask that has no final closure yet; one whose dough is over is packed anew.
func (w *work) doughIn(b *bench.Bench, f *bench.Flask, now timers.Now) {
	m := b.MixOf(f)
	if w.Waits && m != nil { // given a mix before its moulds were painted: they are, by now
		w.Waits, w.Step = false, plan.Packed
	}
	if w.Step < plan.Packed || w.Step >= plan.Clamped {
		return
	}
	if m == nil { // closed for training, or its mix is not in the book: nothing is known of its dough
		_, workS := bench.WorkingTimes(b.House.Resins[0], b.House.RoomC(), nil)
		w.Made, w.Dough, w.End = now.Wall, now.Wall, now.Wall.Add(time.Duration(workS)*time.Second)
		w.More = []float64{0, 1}
		return
	}
	w.Mix, w.Letter = m.No, m.Letter()
	passed := now.Since(m.Made).For
	left, reached := m.DoughLeft(now)
	if m.Spent(now) {
		w.Step = plan.LostDough
		return
	}
	w.Made, w.End = now.Wall.Add(-max(0, passed)), now.Wall.Add(left)
	w.Dough = now.Wall
	if !reached {
		w.Dough = now.Wall.Add(max(0, m.Window.From-passed))
	}
	w.Dough = w.Dough.Add(min(0, w.End.Sub(w.Dough)))
	w.More = []float64{0, 1}
	if o, err := b.Outlook(f, now); err == nil && len(o.Further) > 1 {
		w.More = slices.Clone(o.Further)
		if f.Stage != bench.Trimmed { // one closure at least is still to be seen
			w.More[1] += w.More[0]
			w.More[0] = 0
		}
		sum := 0.
		for _, p := range w.More {
			sum += p
		}
		if rest := 1 - sum; rest > 0 {
			w.More[len(w.More)-1] += rest
		} else {
			for k := range w.More {
				w.More[k] /= sum
			}
		}
	}
}

// begun brings a case at work to the planner; mixes are numbered as they come.
func (d *Day) begun(w *work, mixes map[int]int) *plan.Begun {
	if w == nil || w.Waits {
		return nil
	}
	b := &plan.Begun{Step: w.Step, FromMin: d.minutes(w.From), Bath: slices.Index(d.Baths, w.Bath)}
	if w.Step < plan.Packed || w.Step >= plan.Clamped {
		return b
	}
	k, ok := mixes[w.Mix]
	if !ok {
		k = len(mixes)
		mixes[w.Mix] = k
	}
	b.Mix, b.MadeMin, b.DoughMin, b.EndMin, b.More = min(k, plan.MaxCases), d.minutes(w.Made), d.minutes(w.Dough), d.minutes(w.End), w.More
	b.DoughMin = max(b.MadeMin, b.DoughMin)
	b.EndMin = max(b.DoughMin, b.EndMin)
	return b
}

// live tells whether somebody works dough now, or closes over it.
func (d *Day) live() bool {
	return slices.ContainsFunc(d.Entries, func(e Entry) bool {
		w := e.Work
		return w != nil && !w.Waits && (w.Step == plan.Packed || w.Step == plan.Untrimmed || w.Step == plan.Pressed || w.Stage == bench.Sheetout || w.Stage == bench.Metal)
	})
}

// workNotes tell what of the cases at work has to be known.
func (d *Day) workNotes() (out []string) {
	var lost, off []string
	for _, e := range d.Entries {
		switch w := e.Work; {
		case w == nil:
		case !w.Waits && w.Step == plan.LostDough:
			lost = append(lost, e.Case)
		case w.Off:
			off = append(off, e.Case)
		}
	}
	if len(lost) > 0 {
		out = append(out, fmt.Sprintf("the working time of the dough in %s is over (estimate): planned as packed anew", strings.Join(lost, ", ")))
	}
	if len(off) > 0 {
		out = append(out, fmt.Sprintf("the bath of %s was read off its temperature: it may have to stay longer than told here", strings.Join(off, ", ")))
	}
	for _, e := range d.Entries {
		if w := e.Work; w != nil && w.Bath != "" && !slices.Contains(d.Baths, w.Bath) {
			out = append(out, fmt.Sprintf("%s is out of use and holds a load: planned as left in it to the end of its programme", w.Bath))
			break
		}
	}
	return out
}
