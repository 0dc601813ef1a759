package bench

import (
	"fmt"
	"slices"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/flash"
	"flaskside/timers"
)

// seen is what the trial closures of a flask have shown.
type seen struct {
	closures   []flash.Closure // all that were judged, in order
	earlier    int             // how many of them were made with a dough that is no longer in the mould
	addedSince bool            // dough was added after the last of them
	full       bool            // somebody looked and the mould is full
}

// seen gathers the judged closures of a flask. A flask that was pressed and then given
// another mix is packed anew: its trend goes on (how fast the flash falls belongs to
// the flask), but what the earlier dough showed says nothing of this one.
func (b *Bench) seen(f *Flask) seen {
	s := seen{full: f.Inspected}
	repacked, looked := b.repacked(f)
	if n := len(repacked); n > 0 && looked != nil && between(repacked[n-1], *looked) < 0 {
		s.full = false
	}
	added := false
	for _, t := range f.Trials {
		for len(repacked) > 0 && between(repacked[0], t.In) >= 0 {
			added, s.earlier, repacked = true, len(s.closures), repacked[1:]
		}
		added = added || t.Added // a closure that was not judged leaves it to the next
		g, err := flash.ParseGrade(string(t.Grade))
		if err != nil {
			continue
		}
		c := flash.Closure{Trial: flash.Trial{Grade: g, Added: added}, PressurePSI: t.PSI, HoldS: float64(t.HeldS)}
		if t.Grams > 0 {
			grams := t.Grams
			c.Grams = &grams
		}
		s.closures = append(s.closures, c)
		added = false
	}
	if len(repacked) > 0 {
		added, s.earlier = true, len(s.closures)
	}
	s.addedSince = f.AddedSince || added
	return s
}

// repacked lists when a flask that was pressed already was given another mix, and
// looked is when somebody last looked into its mould, nil for never.
func (b *Bench) repacked(f *Flask) (at []timers.Stamp, looked *timers.Stamp) {
	if len(f.Trials) == 0 {
		return nil, nil
	}
	// All that counts lies between its first closure and its last record.
	first, _ := b.at(f.Trials[0].InID)
	last, _ := b.at(f.LastID)
	mix := 0
	for i := first; i <= last; i++ {
		it := &b.Items[i]
		if a, ok := it.Body.(action.Inspect); ok && a.Flask == f.No && it.TakenBack == nil {
			looked = &it.Stamp
		}
		no := b.servedBy(it, f)
		if no == 0 {
			continue
		}
		for j := first - 1; mix == 0 && j >= 0; j-- {
			mix = b.servedBy(&b.Items[j], f)
		}
		if mix != 0 && no != mix {
			at = append(at, it.Stamp)
		}
		mix = no
	}
	return at, looked
}

// servedBy is the mix that a record gives to a flask, 0 for none.
func (b *Bench) servedBy(it *Item, f *Flask) int {
	no, flasks := given(it.Body)
	if it.TakenBack != nil || b.Mixes[no] == nil || !slices.Contains(flasks, f.No) {
		return 0
	}
	return no
}

// History gives the trials of a flask as the flash trend reads them.
func (b *Bench) History(f *Flask) flash.History {
	s := b.seen(f)
	return flash.History{Size: f.Size, Trials: s.trials(), AddedSince: s.addedSince}
}

func (s seen) trials() []flash.Trial {
	out := make([]flash.Trial, 0, len(s.closures))
	for _, c := range s.closures {
		out = append(out, c.Trial)
	}
	return out
}

// rule gives what the house asks before a final closure.
func (b *Bench) rule() flash.Rule {
	g, err := flash.ParseGrade(b.House.Press.Grade)
	if err != nil {
		g = flash.Slight
	}
	return flash.Rule{Grade: g, MinTrials: b.House.Press.MinTrials, PressurePSI: b.House.Press.PressurePSI, HoldS: float64(b.House.Press.HoldS), FinalS: float64(b.House.Work.FinalS)}
}

// Verdict says whether a flask is ready for its final closure, and why not yet.
func (b *Bench) Verdict(f *Flask, now timers.Now) flash.Verdict {
	s := b.seen(f)
	in := flash.Input{Rule: b.rule(), Closures: s.closures[s.earlier:], AddedSince: s.addedSince, SeenFull: s.full}
	if left, known := b.doughLeftS(f, now); known {
		in.DoughLeftS = &left
	}
	v, err := flash.Ready(in)
	if err != nil {
		return flash.Verdict{Reasons: []flash.Reason{{Why: err.Error(), Mend: "correct the record"}}}
	}
	return v
}

// doughLeftS is how long the dough of a flask can still be worked, in seconds, below
// 0 when it no longer can; it is not known without a mix.
func (b *Bench) doughLeftS(f *Flask, now timers.Now) (left float64, known bool) {
	m := b.MixOf(f)
	if m == nil {
		return 0, false
	}
	d, _ := m.DoughLeft(now)
	if m.Stiff != nil {
		d = min(d, 0)
	}
	return d.Seconds(), true
}

// Outlook is the trend of a flask and what it foretells. All of it is an estimate.
type Outlook struct {
	flash.Posterior
	// Further[j] is the chance that j more trial closures are wanted until the house
	// asks for no more.
	Further []float64
	Median  int // closures likely still wanted; flash.MaxAhead + 1 for more than it looks ahead
	At80    int // with 80 % confidence
	Allowed int // how many the dough's time still allows before the final one; -1 without a mix
}

// Outlook works out the trend of a flask. Errors: trials that cannot be followed.
func (b *Bench) Outlook(f *Flask, now timers.Now) (Outlook, error) {
	s := b.seen(f)
	least := max(0, b.House.Press.MinTrials-len(s.closures[s.earlier:]))
	if least == 0 && !b.shapely(f, now) {
		least = 1
	}
	h := flash.History{Size: f.Size, Trials: s.trials(), AddedSince: s.addedSince}
	o, err := b.memo.outlook(b.House.Flash, h, b.rule().Grade, min(least, flash.MaxAhead))
	if err != nil {
		return Outlook{}, err
	}
	o.Allowed = -1
	if left, known := b.doughLeftS(f, now); known {
		o.Allowed = flash.Allowed(left, b.closureS(), float64(b.House.Work.FinalS))
	}
	return o, nil
}

// closureS is how long one trial closure takes, from press to new sheet, in seconds.
func (b *Bench) closureS() float64 {
	w := b.House.Work
	return float64(w.RaiseS + b.House.Press.HoldS + w.OpenS + w.TrimS)
}

// ShortOfDough is the end of the signal that more closures are likely wanted than
// the dough's time allows.
const ShortOfDough timers.End = "short of dough"

// shortages gives the signal of each flask whose dough is likely to end before its
// closures do: it rises at the moment from which the likely number no longer fits. A
// flask in the press has none; what its closure shows decides.
func (b *Bench) shortages(now timers.Now) []timers.Signal {
	var out []timers.Signal
	for f := range b.AtWork() {
		if f.Stage != Trimmed && (f.Stage != Drying || len(f.Trials) > 0) {
			continue
		}
		m := b.MixOf(f)
		if m == nil || m.Stiff != nil {
			continue
		}
		o, err := b.Outlook(f, now)
		if err != nil || o.Median == 0 {
			continue
		}
		if now.Since(m.Made).For >= m.Window.To {
			continue // its working time is over, and that alarm says it
		}
		need := time.Duration((float64(b.House.Work.FinalS) + float64(o.Median)*b.closureS()) * float64(time.Second))
		since := now.Since(m.Made).For - (m.Window.To - need)
		if since <= 0 {
			continue // what takes just as long as there is still fits
		}
		rose := timers.Stamp{At: now.Wall.Add(-since), BootID: now.BootID, Boot: now.Boot - since}
		rose = timers.Latest(rose, f.staged(), f.given, f.trend, m.set, m.back, b.houseSet)
		out = append(out, timers.Signal{Key: timers.SignalKey(flaskKey(f.No, fmt.Sprintf("closures/%d", len(f.Judged()))), ShortOfDough), Priority: timers.High, Rose: rose})
	}
	return out
}

// shapely tells whether all that the closures can show is shown: the verdict wants
// nothing but dough.
func (b *Bench) shapely(f *Flask, now timers.Now) bool {
	for _, r := range b.Verdict(f, now).Reasons {
		switch r.Code {
		case flash.DoughOver, flash.DoughTooShort, flash.DoughUnknown:
		default:
			return false
		}
	}
	return true
}
