package bench

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/press"
)

// Durations are those the press order reckons with.
func (b *Bench) Durations() press.Durations {
	s := func(n int) time.Duration { return time.Duration(n) * time.Second }
	w := b.House.Work
	return press.Durations{Raise: s(w.RaiseS), Hold: s(b.House.Press.HoldS), Open: s(w.OpenS), Trim: s(w.TrimS), Final: s(w.FinalS)}
}

// PressBench is how many presses in use and pairs of hands there are; one press where none is.
func (b *Bench) PressBench() press.Capacity {
	return press.Capacity{Presses: max(1, len(b.Usable(action.Press))), Hands: b.House.Press.Hands}
}

// inHand tells whether a flask is in a press, or on its way out of it or into it for good:
// it takes its turn whatever its dough.
func (f *Flask) inHand() bool { return f.holdsPress() || f.Stage == Judging || f.Stage == Sheetout }

// jobs lists the flasks that wait for the press, or are in it, as the press order
// sees them. The id of a job is the flask's number.
func (b *Bench) jobs(now timers.Now) []press.Job {
	var out []press.Job
	for f := range b.AtWork() {
		j, ok := b.job(f, now)
		if !ok {
			continue
		}
		if !j.Ready {
			j.More = []float64{1} // where the trend cannot be followed
			if o, err := b.Outlook(f, now); err == nil {
				j.More = more(o.Further)
			}
		}
		out = append(out, j)
	}
	return out
}

// job is a flask as the press order sees it; ok is false for one that the press does not
// wait for.
func (b *Bench) job(f *Flask, now timers.Now) (j press.Job, ok bool) {
	left, untilDough, ok := b.doughFor(f, now)
	if !ok {
		return j, false
	}
	j = press.Job{ID: strconv.Itoa(f.No), Due: clamp(left)}
	d := b.Durations()
	since := func(s *timers.Stamp) time.Duration {
		if s == nil {
			return 0
		}
		return now.Since(*s).For
	}
	switch t := f.Trial(); f.Stage {
	case Opened, Drying:
		if len(f.Halves) < 2 {
			return j, false
		}
		j.From = untilDough
		for _, h := range f.Halves {
			j.From = max(j.From, time.Duration(h.MinS)*time.Second-now.Since(h.Coated).For)
		}
		j.From = clamp(j.From)
	case InPress:
		j.Progress, j.Until = press.Rising, clamp(d.Raise-since(&t.In))
	case Holding:
		j.Progress, j.Until = press.Holding, clamp(time.Duration(t.HoldAimS)*time.Second-since(t.At))
	case Judging:
		j.Progress, j.Until = press.Opening, clamp(d.Open-since(t.Out))
	case Trimmed:
		j.Ready = b.shapely(f, now)
		if s := b.seen(f); len(s.closures) == s.earlier {
			j.From = clamp(untilDough) // packed anew
		} else if t.Judged != nil {
			if rest := d.Trim - since(t.Judged); rest > 0 && !j.Ready {
				j.Progress, j.Until = press.Trimming, rest
			}
		}
	case Sheetout, Metal:
		j.Progress, j.Until = press.Closing, clamp(d.Final-since(f.SheetOut))
	default:
		return j, false
	}
	return j, true
}

// doughFor is how long a flask's dough can still be worked, and how long until it is
// dough; ok is false for a flask without a mix that is in no press either. One whose dough is
// spent is told of, too: that it is out of time is part of the answer.
func (b *Bench) doughFor(f *Flask, now timers.Now) (left, until time.Duration, ok bool) {
	m := b.MixOf(f)
	if m != nil && m.Stiff == nil {
		left, reached := m.DoughLeft(now)
		if !reached {
			until = m.Window.From - now.Since(m.Made).For
		}
		return left, until, true
	}
	switch {
	case m != nil:
		return -time.Second, 0, true // spent
	case f.inHand():
		return press.MaxTime, 0, true // for training: no dough to be lost, but the press is taken
	}
	return 0, 0, false
}

// more drops the chance of none: a flask that is not ready makes one closure at
// least. What the forecast does not look ahead to is put on one closure more.
func more(further []float64) []float64 {
	out := append([]float64(nil), further[1:]...)
	out[0] += further[0]
	rest := 1.0
	for _, c := range out {
		rest -= c
	}
	return append(out, max(rest, 0))
}

func clamp(d time.Duration) time.Duration {
	return max(-press.MaxTime, min(press.MaxTime, d))
}

// Totals are the chances that a flask not yet pressed turns out to need 1, 2, ... trial
// closures in a house; what is wanting to a sum of 1 would need still more. Errors: a
// size that is none.
func Totals(h house.House, size flash.Size) ([]float64, error) {
	b := Bench{House: h}
	p, err := flash.Fit(h.Flash, flash.History{Size: size})
	if err != nil {
		return nil, err
	}
	further, err := p.Further(b.rule().Grade, min(h.Press.MinTrials, flash.MaxAhead))
	if err != nil {
		return nil, err
	}
	return more(further), nil
}

// CostOfMix answers whether another mix now would cost those at work: for a number
// of further flasks of a size.
func (b *Bench) CostOfMix(now timers.Now, size string, flasks int) (press.MixCost, error) {
	if flasks < 1 || flasks > action.Places {
		return press.MixCost{}, fmt.Errorf("a mix is for 1 to %d flasks, not %d", action.Places, flasks)
	}
	if len(b.House.Resins) == 0 {
		return press.MixCost{}, errors.New("the settings name no resin")
	}
	totals, err := Totals(b.House, flash.Size(size))
	if err != nil {
		return press.MixCost{}, err
	}
	room := b.House.RoomC()
	if n := b.Top.Mix; b.Mixes[n] != nil {
		room = b.Mixes[n].RoomC
	}
	doughS, workS := WorkingTimes(b.House.Resins[0], room, nil)
	mixing := time.Duration(b.House.Work.MixS) * time.Second
	var fresh []press.Job
	for i := range flasks {
		fresh = append(fresh, press.Job{ID: fmt.Sprintf("new %d", i+1), From: mixing + time.Duration(doughS)*time.Second, Due: mixing + time.Duration(workS)*time.Second, More: totals})
	}
	now, _ = b.askedAt(now)
	return press.CostOfMix(b.jobs(now), fresh, mixing, b.Durations(), b.PressBench(), press.AdviceOptions{})
}

// PressWorkLeft is the work that live dough still wants at the press: the trial closures that each flask is likely to
// make, and its final closure; an estimate. With one pair of hands it is the hands' time, with a part of each hold in
// which they find nothing else (house default); else that of the presses. 0 where no dough waits for the press.
func (b *Bench) PressWorkLeft(now timers.Now) time.Duration {
	const holdShare = 0.3
	d, at := b.Durations(), b.PressBench()
	closure := d.Raise + d.Hold + d.Open
	if at.Hands == 1 {
		closure = d.Raise + d.Open + d.Trim + time.Duration(holdShare*float64(d.Hold))
	}
	left := time.Duration(0)
	for _, j := range b.jobs(now) {
		if j.Due <= 0 || j.Due >= press.MaxTime {
			continue // out of time, or packed for training without a mix
		}
		if !j.Ready && j.Progress != press.Closing {
			expected := 0.0
			for i, p := range j.More {
				expected += float64(i+1) * p
			}
			left += time.Duration(expected * float64(closure))
		}
		left += d.Final
	}
	return left / time.Duration(max(1, at.Presses))
}
