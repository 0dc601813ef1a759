package dayplan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/plan"
	"flaskside/timers/simclock"
)

// told is a bench that grows record by record, with what the bench takes of anything that may be done at one.
type told struct {
	ck   *simclock.Hand
	recs []record.Record
	b    *bench.Bench
}

func newTold(at time.Time) *told {
	return &told{ck: simclock.At(at, "boot-1"), b: bench.Fold(nil, bench.Counters{})}
}

func (h *told) now() timers.Now { return timers.Now{Reading: h.ck.Read()} }

// do records an action, ago before now, with a reason where one is asked for; false where it is refused.
func (h *told) do(body action.Body, ago time.Duration) bool {
	now := h.now()
	a := action.Action{ID: fmt.Sprintf("a%d", len(h.recs)+1), At: now.Wall.Add(-ago), By: "KT", Body: body}
	stamp := timers.StampAt(a.At, now.Reading)
	checked, err := h.b.Check(a, stamp, now)
	if ask := (*bench.NeedsReason)(nil); errors.As(err, &ask) {
		a.Why = "1"
		checked, err = h.b.Check(a, stamp, now)
	}
	if err != nil {
		return false
	}
	prev := record.Genesis("RANDOM")
	if len(h.recs) > 0 {
		prev = h.recs[len(h.recs)-1].Hash()
	}
	r, err := record.Write(uint64(len(h.recs)+1), prev, now.Reading, stamp, checked)
	if err != nil {
		return false
	}
	h.recs = append(h.recs, r)
	h.b = bench.Fold(h.recs, bench.Counters{})
	return true
}

// must records what has to be taken.
func (h *told) must(t *testing.T, after time.Duration, bodies ...action.Body) {
	t.Helper()
	h.ck.Run(after)
	for _, b := range bodies {
		if !h.do(b, 0) {
			t.Fatalf("%+v is refused", b)
		}
	}
}

// anyHistory plays a random history with undoing, corrections, late entries and clocks that are set.
func anyHistory(t *rapid.T, most int) *told {
	h := newTold(morning)
	boots := 1
	for range rapid.IntRange(0, most).Draw(t, "records") {
		d := time.Duration(rapid.SampledFrom([]int{0, 1, 10, 60, 300, 900, 1800, 7200, 33000}).Draw(t, "passes")) * time.Second
		switch rapid.IntRange(0, 30).Draw(t, "clock") {
		case 0:
			h.ck.Sleep(d)
		case 1:
			boots++
			h.ck.Reboot(d+time.Minute, fmt.Sprintf("boot-%d", boots))
		case 2:
			h.ck.Step(-d)
		default:
			h.ck.Run(d)
		}
		var old []string
		for _, it := range h.b.Items {
			old = append(old, it.Action.ID)
		}
		h.do(benchtest.Draw(t, h.b, h.now(), old), time.Duration(rapid.SampledFrom([]int{0, 0, 0, 0, 5, 900}).Draw(t, "ago"))*time.Second)
	}
	return h
}

// question is the day plan of a bench, played on few days.
func (h *told) question() Question {
	q := At(h.b, h.ck.Read().Wall)
	q.Entries, q.Draws, q.Days = Entries(h.b, h.now()), 2, 3
	return q
}

// Whatever was done at a bench, its plan leaves what is at work where it is: no case that has its dough, was in a bath, is
// finished, delivered or withdrawn is mixed for; nothing goes into a bath before what is in it has had its whole
// programme, or twice; every flask at work is told once; no instant foretold is before now.
func TestAPlanLeavesWhatIsAtWorkWhereItIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := anyHistory(t, 60)
		q := h.question()
		if len(h.b.House.Baths) > 1 && rapid.Bool().Draw(t, "down") {
			q.Down = append(q.Down, h.b.House.Baths[rapid.IntRange(0, len(h.b.House.Baths)-1).Draw(t, "bath")].Name)
		}
		d, err := q.Make(context.Background())
		if none := len(q.Down) == len(h.b.House.Baths); none != (err != nil) {
			t.Fatal(err)
		} else if none {
			return // no bath can be used, and that is told
		}
		s := d.Show()
		checkWork(t, h, d, s)
		var text bytes.Buffer
		if err := d.Text(&text); err != nil {
			t.Fatal(err)
		}
		if m := certain.FindString(text.String()); m != "" {
			t.Fatalf("%q in\n%s", m, text.String())
		}
	})
}

func checkWork(t *rapid.T, h *told, d *Day, s Shown) {
	mayMix := map[string]bool{}
	flasks := 0
	for _, e := range d.Entries {
		if e.Work == nil {
			continue
		}
		flasks++
		f := h.b.Flasks[e.Work.Flask]
		m := h.b.MixOf(f)
		first := slices.Contains([]bench.FlaskStage{bench.Opened, bench.Drying}, f.Stage)
		atPress := slices.Contains([]bench.FlaskStage{bench.InPress, bench.Holding, bench.Judging, bench.Trimmed}, f.Stage)
		mayMix[e.Case] = first && m == nil || (first || atPress) && m != nil && m.Spent(h.now())
	}
	for _, k := range h.b.CasesWaiting() {
		mayMix[k.Name()] = true
	}
	atWork := 0
	for _, f := range h.b.Flasks {
		if f.Stage != bench.Finished {
			atWork++
		}
	}
	if atWork != flasks || flasks != len(s.Work) {
		t.Fatalf("%d flasks are at work, planned %d, told %d", atWork, flasks, len(s.Work))
	}
	mixed := map[string]int{}
	for _, x := range s.Mixes {
		for _, name := range x.Cases {
			if mixed[name]++; !mayMix[name] || mixed[name] > 1 {
				t.Fatalf("%s is mixed for: %+v\n%+v", name, s.Mixes, s.Work)
			}
		}
		if x.MixAt != nil && x.MixAt.Before(d.Question.Now.Truncate(time.Minute)) {
			t.Fatalf("mix at %v, now is %v", x.MixAt, d.Question.Now)
		}
	}
	checkBaths(t, d, s)
	for _, l := range s.Loads {
		p, ok := d.Question.House.Programme(l.Programme)
		if !ok || slices.Contains(d.Question.Down, l.Bath) {
			t.Fatalf("%+v", l)
		}
		if l.In != nil && l.Out != nil && l.Out.Sub(*l.In) < time.Duration(house.LengthS(p.Stages))*time.Second {
			t.Fatalf("%s from %v to %v is shorter than the programme", l.Programme, l.In, l.Out)
		}
		for _, e := range d.Entries {
			w := e.Work
			if w == nil || w.Step < plan.Bathed || w.Waits {
				continue
			}
			if slices.Contains(l.Cases, e.Case) {
				t.Fatalf("%s is loaded and was", e.Case)
			}
			if w.Step == plan.Bathed && w.Bath == l.Bath && l.In != nil && l.In.Before(w.From.Add(-time.Minute)) {
				t.Fatalf("%s goes into %s at %v and %s is in it until %v", l.Cases, l.Bath, l.In, e.Case, w.From)
			}
		}
	}
	for _, e := range d.Entries {
		w := e.Work
		if w == nil || w.Step != plan.Bathed {
			continue
		}
		if l := h.b.LoadOf(h.b.Flasks[w.Flask]); w.From.Before(h.now().Wall.Add(time.Duration(house.LengthS(l.Stages))*time.Second - h.now().Since(l.In).For - time.Second)) {
			t.Fatalf("%s is told out at %v, before its programme is over", e.Case, w.From)
		}
	}
}

// A shift by hand: one flask at pressure, one in the bath, one whose dough is over, one painted; each is told where it
// is, and only the last two are mixed for.
func TestFlasksAtWorkArePlannedFromWhereTheyStand(t *testing.T) {
	h := newTold(morning.Add(-4 * time.Hour))
	open := func(no, place int) action.Body {
		return action.FlaskOpen{Flask: no, Place: place, Case: fmt.Sprint(4400 + no), Base: "upper", Size: "medium"}
	}
	coat := func(no int) action.Body { return action.Coat{Flask: no, Half: action.Both} }
	h.must(t, 0, action.CaseIn{Case: "4401", Base: "upper", Size: "medium", Due: morning.Add(9 * time.Hour).Format(time.RFC3339)})
	for no := 1; no <= 4; no++ {
		h.must(t, time.Minute, open(no, no), coat(no))
	}
	h.must(t, 20*time.Minute, action.MixMake{Flasks: []int{3}}) // its dough is long over at eight
	h.must(t, time.Minute, action.SheetOut{Flask: 2}, action.MetalToMetal{Flask: 2}, action.Clamp{Flask: 2}, action.BathLoad{Flasks: []int{2}, Programme: h.b.House.Programmes[0].Name})
	h.must(t, 200*time.Minute, action.MixMake{Flasks: []int{1}})
	h.must(t, 20*time.Minute, action.PressIn{Flask: 1}, action.PressAt{Flask: 1})
	q := h.question()
	q.Draws, q.Days = 20, 60
	d, err := q.Make(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	s := d.Show()
	var mixed []string
	for _, m := range s.Mixes {
		mixed = append(mixed, m.Cases...)
	}
	slices.Sort(mixed)
	if strings.Join(mixed, ", ") != "4403 upper, 4404 upper" {
		t.Errorf("mixed for: %v", mixed)
	}
	var text bytes.Buffer
	if err := d.Text(&text); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"\nat work, and left as it is\n", "    4401 upper       place 1, dough of mix B to about 08:", "    4402 upper       place 2, bath 1, programme over ",
		"note: the working time of the dough in 4403 upper is over (estimate): planned as packed anew", "    4404 upper       place 4, separator drying", "no due time given"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q is not in\n%s", want, text.String())
		}
	}
	if c := s.Cases[0]; c.Case != "4401 upper" || c.Finished == nil || c.Finished.Before(q.Now.Add(4*time.Hour)) {
		t.Errorf("%+v", c)
	}
}

// checkBaths: no load is told twice, none has more flasks than the bath has places, and no bath has two at once.
func checkBaths(t *rapid.T, d *Day, s Shown) {
	loaded := map[string]bool{}
	for i, l := range s.Loads {
		if len(l.Cases) > d.Made.House.BathPlaces {
			t.Fatalf("%d flasks in %s: %v", len(l.Cases), l.Bath, l.Cases)
		}
		for _, c := range l.Cases {
			if loaded[c] {
				t.Fatalf("%s is loaded twice: %+v", c, s.Loads)
			}
			loaded[c] = true
		}
		for _, o := range s.Loads[:i] {
			if l.Bath == o.Bath && l.In != nil && o.Out != nil && o.In != nil && l.In.Before(*o.Out) {
				t.Fatalf("two loads in %s: %v in at %v, %v out at %v", l.Bath, l.Cases, l.In, o.Cases, o.Out)
			}
		}
	}
}
