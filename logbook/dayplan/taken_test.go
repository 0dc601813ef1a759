package dayplan

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/house"
)

// Whatever is done at a bench after a plan was taken, the plan goes on from where the bench stands: no case that has its
// dough or was in a bath is moved, every other case is mixed for once, nothing is planned in the past; and the plan stays
// as it was taken until another is. What was just taken fits.
func TestAPlanThatWasTakenGoesOnFromWhereTheBenchStands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := anyHistory(t, 40)
		q := h.question()
		noBath := func(q Question) bool {
			return !slices.ContainsFunc(q.House.Baths, func(b house.Bath) bool { return !slices.Contains(q.Down, b.Name) })
		}
		d, err := q.Make(context.Background())
		if noBath(q) && err != nil {
			return // and that is told
		} else if err != nil {
			t.Fatal(err)
		}
		rec := d.Record("")
		if err := rec.Valid(); err != nil {
			t.Fatalf("%v: %+v", err, rec)
		}
		if !h.do(rec, 0) {
			return // a clock was set back behind the last record
		}
		taken, id := fmt.Sprintf("%+v", h.b.Planned.DayPlan), h.b.Planned.ID
		if why := Why(h.b.Planned, h.b, q.Entries, q.Now); why != "" {
			t.Fatalf("a plan that was just taken is to be looked at anew: %s\n%+v", why, rec)
		}
		more(t, h, 20)
		p := h.b.Planned
		if p == nil || p.ID != id {
			return // put away, or another was taken
		}
		q = h.question().As(p)
		f, err := q.Follow(context.Background(), p)
		if noBath(q) && err != nil {
			return
		} else if err != nil {
			t.Fatalf("%v\n%+v", err, p)
		}
		checkWork(t, h, f, f.Show())
		checkAllMixed(t, f)
		if got := fmt.Sprintf("%+v", h.b.Planned.DayPlan); got != taken {
			t.Fatalf("the plan changed: %s, was %s", got, taken)
		}
		why := Why(p, h.b, q.Entries, q.Now)
		if n, ok := NextMix(p, h.b.House, q.Entries, q.Now, 14*time.Minute); ok {
			if n.At.Before(q.Now) || len(n.Cases) == 0 || strings.Contains(n.Words(q.Now), "  ") {
				t.Fatalf("next %+v: %q, now %v", n, n.Words(q.Now), q.Now)
			}
		}
		if why != "" {
			o, err := q.Again(context.Background(), p, why)
			if err != nil {
				t.Fatal(err)
			}
			checkWork(t, h, o.New, o.New.Show())
			if s := o.Words(); !strings.HasPrefix(s, why+": ") || strings.Contains(s, "\n") {
				t.Fatalf("%q", s)
			}
		}
	})
}

// more goes on with a history.
func more(t *rapid.T, h *told, most int) {
	for range rapid.IntRange(0, most).Draw(t, "more") {
		h.ck.Run(time.Duration(rapid.SampledFrom([]int{0, 10, 60, 300, 900, 1800, 7200}).Draw(t, "on")) * time.Second)
		var old []string
		for _, it := range h.b.Items {
			old = append(old, it.Action.ID)
		}
		h.do(benchtest.Draw(t, h.b, h.now(), old), 0)
	}
}

func checkAllMixed(t *rapid.T, d *Day) {
	n := map[string]int{}
	for _, m := range d.Show().Mixes {
		for _, name := range m.Cases {
			n[name]++
		}
	}
	for _, e := range d.Entries {
		want := 1
		if packed(e) {
			want = 0
		}
		if n[e.Case] != want {
			t.Fatalf("%s is mixed for %d times, want %d", e.Case, n[e.Case], want)
		}
	}
}

// By hand: a plan for two cases is taken at eight; the first is mixed for at 08:17, and stays in no mix of the plan. A
// third case comes in, one is withdrawn, and the second mix is not made for half an hour: each is told once, in one line.
func TestWhyAPlanIsLookedAtAnew(t *testing.T) {
	h := newTold(morning)
	due := morning.AddDate(0, 0, 1).Add(9 * time.Hour).Format(time.RFC3339)
	in := func(number string) action.Body {
		return action.CaseIn{Case: number, Base: "upper", Size: "medium", Due: due}
	}
	h.must(t, 0, in("4417"), in("4420"), in("4423"))
	q := h.question()
	q.Draws, q.Days = 20, 40
	q.Choice = Choice{First: []string{"4417 upper"}, Together: [][]string{{"4417 upper"}}}
	d, err := q.Make(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	h.must(t, 0, d.Record(""))
	p := h.b.Planned
	if len(p.Mixes) != 2 || p.Mixes[0].Cases[0] != "4417 upper" || len(p.Cases) != 3 || len(p.Loads) == 0 {
		t.Fatalf("%+v", p)
	}
	why := func() string {
		q := h.question()
		return Why(h.b.Planned, h.b, q.Entries, q.Now)
	}
	next := func(left time.Duration) string {
		n, ok := NextMix(h.b.Planned, h.b.House, h.question().Entries, h.ck.Read().Wall, left)
		if !ok {
			return ""
		}
		return n.Words(h.ck.Read().Wall)
	}
	if got := next(0); !strings.HasPrefix(got, "paint 4417 upper, mix at about 08:") {
		t.Errorf("%q", got)
	}
	h.must(t, time.Minute, action.FlaskOpen{Flask: 1, Place: 1, Case: "4417", Base: "upper", Size: "medium"}, action.Coat{Flask: 1, Half: action.Both})
	h.must(t, 10*time.Minute, action.MixMake{Flasks: []int{1}})
	if s := why(); s != "" {
		t.Errorf("told %q", s)
	}
	if got := next(14 * time.Minute); !strings.HasPrefix(got, "mix the next at about 08:") || !strings.HasSuffix(got, ": 14 min still on the press") {
		t.Errorf("%q", got)
	}
	f, err := h.question().As(h.b.Planned).Follow(context.Background(), h.b.Planned)
	if err != nil || len(f.Made.Plan.Mixes) != 1 || !slices.Equal(f.names(f.Made.Plan.Mixes[0].Cases), p.Mixes[1].Cases) {
		t.Fatalf("%+v, %v", f, err)
	}
	h.must(t, 0, in("4450"))
	if s := why(); s != "case 4450 upper came in" {
		t.Errorf("told %q", s)
	}
	h.must(t, 0, action.CaseOff{Case: "4450", Base: "upper", Reason: "taken in by mistake"})
	if s := why(); s != "" { // it was in no plan
		t.Errorf("told %q", s)
	}
	h.must(t, 0, action.CaseOff{Case: "4423", Base: "upper", Reason: "withdrawn by the practice"})
	if s := why(); s != "case 4423 upper was withdrawn" {
		t.Errorf("told %q", s)
	}
	h.must(t, 0, in("4423"))
	for piece, want := range map[action.PieceKind]string{action.Bath: "bath 1", action.Press: "no press can be used"} {
		h.must(t, 0, action.EquipIn{Item: piece, Name: "1"})
		if s := why(); s != "" { // that it was taken in is no reason
			t.Errorf("told %q", s)
		}
		h.must(t, 0, action.EquipOut{Item: piece, Name: "1", Reason: "under repair"})
		if s := why(); !strings.Contains(s, want) {
			t.Errorf("%s down: told %q, want %q", piece, s, want)
		}
		h.must(t, 0, action.EquipIn{Item: piece, Name: "1"})
		if s := why(); s != "" {
			t.Errorf("%s is back: told %q", piece, s)
		}
	}
	h.must(t, 0, action.Note{Flask: 1, Text: "rim thin"}, action.BathReading{Bath: 1, TempC: 60}, action.LotIn{Material: "powder", Lot: "P-1"})
	if s := why(); s != "" {
		t.Errorf("a note, a reading and a lot are no reason: %q", s)
	}
	h.must(t, 32*time.Minute)
	at := action.PlanInstant(p.Mixes[1].At)
	h.ck.Run(at.Add(31 * time.Minute).Sub(h.ck.Read().Wall))
	if s, want := why(), "the dough in 4417 upper is over (estimate)"; s != want && s != "the mix for "+strings.Join(p.Mixes[1].Cases, " + ")+" is 31 min behind the plan" {
		t.Errorf("told %q", s)
	}
}
