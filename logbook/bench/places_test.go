package bench_test

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// drawPlaces draws what moves flasks about, in any order; undone is an id to undo or to
// undo the undoing of.
func drawPlaces(t *rapid.T, b *bench.Bench) action.Body {
	var at []int
	for f := range b.AtWork() {
		at = append(at, f.No)
	}
	place := rapid.IntRange(1, 9).Draw(t, "place")
	what := rapid.SampledFrom([]string{"open", "open", "open", "load", "load", "load", "unload", "unload", "move", "outcome", "undo", "undo", "undo", "water", "place"}).Draw(t, "what")
	if len(at) == 0 {
		what = "open"
	}
	some := func() []int {
		ns := rapid.Permutation(at).Draw(t, "flasks")
		return ns[:rapid.IntRange(1, min(6, len(ns))).Draw(t, "so many")]
	}
	switch what {
	case "load":
		return action.BathLoad{Flasks: some(), Programme: b.House.Programmes[0].Name, OffPlace: rapid.IntRange(0, 4).Draw(t, "off") > 0}
	case "unload":
		return action.BathUnload{Flasks: some()}
	case "move":
		return action.FlaskMove{Flask: some()[0], Place: place}
	case "outcome":
		return action.Outcome{Flask: some()[0], Outcome: "remake"}
	case "water":
		return action.CoolWater{Flasks: some()}
	case "undo":
		n := len(b.Items)
		return action.TakeBack{Of: b.Items[rapid.IntRange(max(0, n-12), n-1).Draw(t, "of")].Action.ID}
	case "place":
		return action.Correct{Of: b.Items[rapid.IntRange(0, len(b.Items)-1).Draw(t, "of")].Action.ID, Set: fmt.Appendf(nil, `{"place":%d}`, place)}
	}
	if p := b.FreePlace(); p > 0 {
		place = p
	}
	return action.FlaskOpen{Place: place, Case: fmt.Sprint(4400 + b.Top.Flask), Base: "upper", Size: "medium"}
}

// about names the flasks that a record moves, looking through corrections and takings back.
func about(b *bench.Bench, body action.Body) map[int]bool {
	out := map[int]bool{}
	for _, s := range bench.Subjects(body, func(id string) (action.Body, bool) {
		it, ok := b.Item(id)
		return it.Action.Body, ok
	}) {
		if s.Class == 'f' {
			out[s.No] = true
		}
	}
	return out
}

// standing gives the place of each flask at work.
func standing(b *bench.Bench) map[int]bench.Spot {
	out := map[int]bench.Spot{}
	for f := range b.AtWork() {
		out[f.No] = b.SpotOf(f)
	}
	return out
}

// Whatever is opened, put in a bath, taken out, moved, ended, corrected and undone: every
// flask at work is found, once, where a plain reading of the records has it; no two stand on
// one place; none moves by a record about another; and no load is kept in the bath.
func TestEveryFlaskIsFound(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(morning, "boot-0")
		var recs []record.Record
		b := bench.Fold(nil, bench.Counters{})
		for range rapid.IntRange(1, 50).Draw(t, "steps") {
			ck.Run(time.Minute)
			body := drawPlaces(t, b)
			r, err := take(t, b, ck, recs, 0, body)
			if err != nil {
				if _, out := body.(action.BathUnload); out {
					t.Fatalf("%+v is refused: %v", body, err)
				}
				refusedFor(t, b, body, err)
				continue
			}
			before := standing(b)
			recs = append(recs, r)
			b = bench.Fold(recs, bench.Counters{})
			moved := about(b, r.Action.Body)
			for no, s := range standing(b) {
				if was, there := before[no]; there && was.Place != s.Place && !moved[no] {
					t.Fatalf("after %s flask %d is at %+v, before at %+v", r.Raw, no, s, was)
				}
			}
			found(t, b, string(r.Raw))
			if len(recs)%10 != 0 {
				continue
			}
			now := timers.Now{Reading: ck.Read()}
			if d := benchtest.Difference(benchtest.Dump(bench.Fold(b.Living(), b.Top), now), benchtest.Dump(b, now)); d != "" {
				t.Fatalf("after %s the bench of the living records is another:\n%s", r.Raw, d)
			}
		}
	})
}

// refusedFor lets an undoing be refused for what rests on a record, or for a flask that
// somebody moved, but not because the place of one in the bath was given away.
func refusedFor(t *rapid.T, b *bench.Bench, body action.Body, err error) {
	back, ok := body.(action.TakeBack)
	if !ok || !strings.Contains(err.Error(), "would stand on place") {
		return
	}
	it, _ := b.Item(back.Of)
	root := bench.Subjects(it.Body, func(id string) (action.Body, bool) {
		it, ok := b.Item(id)
		return it.Action.Body, ok
	})
	for _, s := range root {
		if s.Class == 'l' {
			t.Fatalf("undoing a load is refused: %v", err)
		}
	}
	switch it.Body.(type) {
	case action.BathLoad, action.BathUnload, action.Outcome:
		t.Fatalf("undoing %+v is refused: %v", it.Body, err)
	}
}

// found holds where the flasks are against a plain reading of the records.
func found(t *rapid.T, b *bench.Bench, after string) {
	want := benchtest.Whereabouts(b)
	seen, on := map[int]bool{}, map[int]int{}
	for f := range b.AtWork() {
		at, there := want[f.No]
		s := b.SpotOf(f)
		switch words := b.WhereWords(f); {
		case seen[f.No]:
			t.Fatalf("after %s flask %d is there twice", after, f.No)
		case !there || at.Place != s.Place:
			t.Fatalf("after %s flask %d is at %+v, want %+v", after, f.No, s, at)
		case s.Place > 0 && (on[s.Place] > 0 || b.OnPlace(s.Place) != f || words != fmt.Sprint("place ", s.Place)):
			t.Fatalf("after %s flask %d at %+v is called %q; on that place are %d and %d", after, f.No, s, words, on[s.Place], b.Places[s.Place])
		case s.Place == 0 && strings.HasPrefix(words, "place"):
			t.Fatalf("after %s flask %d stands on no place and is called %q", after, f.No, words)
		case s.Place == 0 && at.Bath != (s.Bath > 0):
			t.Fatalf("after %s flask %d is at %+v, want %+v", after, f.No, s, at)
		case s.Bath > 0 && !slices.Contains(b.StillIn(b.Loads[s.Load]), f.No):
			t.Fatalf("after %s flask %d is not in load %d", after, f.No, s.Load)
		}
		seen[f.No], on[s.Place] = true, f.No
	}
	if len(seen) != len(want) {
		t.Fatalf("after %s at work are %v, want %v", after, slices.Sorted(maps.Keys(seen)), slices.Sorted(maps.Keys(want)))
	}
}

// A book whose loads do not say that flasks leave their places has each on its place from its
// opening to its outcome, as before there was another way; nothing in it needs newer records.
func TestLoadsThatKeepTheirPlaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(morning, "boot-0")
		var recs []record.Record
		b := bench.Fold(nil, bench.Counters{})
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			ck.Run(time.Minute)
			body := drawPlaces(t, b)
			if l, ok := body.(action.BathLoad); ok {
				l.OffPlace = false
				body = l
			}
			r, err := take(t, b, ck, recs, 0, body)
			if err != nil {
				continue
			}
			if back, ok := r.Action.Body.(action.TakeBack); ok && len(back.NoPlace) > 0 {
				continue // an outcome whose place was given away: refused before
			}
			if out, ok := r.Action.Body.(action.BathUnload); ok && len(out.Places) > 0 {
				t.Fatalf("%s names places though each flask kept its own", r.Raw)
			}
			recs = append(recs, r)
			b = bench.Fold(recs, bench.Counters{})
			if off := b.OffPlaces(); len(off) > 0 {
				t.Fatalf("after %s flask %d stands on no place", r.Raw, off[0].No)
			}
			found(t, b, string(r.Raw))
		}
	})
}

// inBath has flasks that left the places 1 to n for the bath.
func inBath(t *testing.T, n int) *paper {
	p := newPaper(t)
	var all []int
	for i := 1; i <= n; i++ {
		p.do(0, open(i))
		all = append(all, i)
	}
	p.do(minute, action.BathLoad{Flasks: all, Programme: "long, 9 h", OffPlace: true}, "4")
	return p
}

// What was opened, undone and taken up again is not undone again beneath what was done since.
func TestUndoingBeneathWhatRestsOnIt(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	p.do(0, action.TakeBack{Of: "a1"}, "6")
	up := p.do(0, action.TakeBack{Of: "a2"}, "6")
	p.do(0, action.CoolWater{Flasks: []int{1}}, "6")
	if _, err := p.tryAt(0, action.TakeBack{Of: up}, "6"); err == nil || !strings.Contains(err.Error(), "1 later entries depend on it") {
		t.Errorf("the opening is undone again beneath the water: %v", err)
	}
	ended := p.do(0, action.Outcome{Flask: 1, Outcome: "remake"})
	up = p.do(0, action.TakeBack{Of: ended}, "6")
	p.do(0, action.Note{Flask: 1, Text: "dull"})
	if _, err := p.tryAt(0, action.TakeBack{Of: up}, "6"); err == nil || !strings.Contains(err.Error(), "1 later entries depend on it") {
		t.Errorf("the outcome counts again before the note: %v", err)
	}
}

// A flask comes back to its own place where that is free, else to the first free one; where
// none is, the load comes out all the same.
func TestWhereFlasksComeBackTo(t *testing.T) {
	p := inBath(t, 3)
	if off := p.b.OffPlaces(); len(off) != 3 || p.b.WhereWords(off[0]) != "bath 1" || p.b.FreePlace() != 1 {
		t.Fatalf("in the bath: %d off their places, %d is free", len(off), p.b.FreePlace())
	}
	p.do(minute, open(2))
	p.do(minute, action.BathUnload{Flasks: []int{1, 2, 3}}, "4")
	for no, want := range map[int]int{1: 1, 2: 4, 3: 3, 4: 2} {
		if got := p.b.Flasks[no].Place; got != want {
			t.Errorf("flask %d is on place %d, want %d", no, got, want)
		}
	}

	p = inBath(t, 6)
	for place := 1; place <= 8; place++ {
		p.do(minute, open(place))
	}
	p.do(minute, action.BathUnload{Flasks: []int{1, 2}}, "4")
	if f, g := p.b.Flasks[1], p.b.Flasks[2]; f.Place != 9 || g.Place != 0 || g.Stage != bench.Cooling || p.b.WhereWords(g) != "no place" {
		t.Errorf("with one place free: %d and %d", f.Place, g.Place)
	}
	if _, err := p.tryAt(0, action.FlaskMove{Flask: 3, Place: 9}, "4"); err == nil || !strings.Contains(err.Error(), "flask 3 is in bath 1: it gets a place when it comes out") {
		t.Errorf("moved out of the bath: %v", err)
	}
	p.do(minute, action.Outcome{Flask: 7, Outcome: "remake"})
	p.do(minute, action.FlaskMove{Flask: 2, Place: 1})
	if g := p.b.Flasks[2]; g.Place != 1 {
		t.Errorf("moved to place %d", g.Place)
	}
}

// Undoing a load brings its flasks back to their places; who finds another there stands
// without one, and is not put there again when that one goes.
func TestUndoingALoadWhosePlacesAreTaken(t *testing.T) {
	p := inBath(t, 2)
	load := p.recs[len(p.recs)-1].Action.ID
	p.do(minute, open(2))
	p.do(minute, action.TakeBack{Of: load}, "6")
	if back := p.recs[len(p.recs)-1].Action.Body.(action.TakeBack); !slices.Equal(back.NoPlace, []int{2}) {
		t.Errorf("the undoing says %+v", back)
	}
	check := func(when string, one, two int) {
		t.Helper()
		if f, g := p.b.Flasks[1], p.b.Flasks[2]; f.Place != one || g.Place != two || f.Stage != bench.Opened || g.Stage != bench.Opened {
			t.Errorf("%s: flask 1 on %d at %q, flask 2 on %d at %q", when, f.Place, f.Stage, g.Place, g.Stage)
		}
	}
	check("undone", 1, 0)
	p.do(minute, action.Outcome{Flask: 3, Outcome: "remake"})
	check("the place is free again", 1, 0)
	p.b = bench.Fold(p.b.Living(), p.b.Top)
	check("of the living records", 1, 0)
	p.do(minute, action.FlaskMove{Flask: 2, Place: 2})
	check("moved", 1, 2)
}

// An outcome that is undone brings the flask back to the bench whoever stands on its place.
func TestUndoingAnOutcomeWhosePlaceIsTaken(t *testing.T) {
	p := newPaper(t)
	p.do(0, open(1))
	ended := p.do(0, action.Outcome{Flask: 1, Outcome: "remake"})
	p.do(0, open(1))
	undone := p.do(0, action.TakeBack{Of: ended}, "6")
	if f := p.b.Flasks[1]; f.Place != 0 || !f.AtWork() || p.b.WhereWords(f) != "no place" {
		t.Errorf("flask 1 is on place %d at %q", f.Place, f.Stage)
	}
	p.do(0, action.TakeBack{Of: undone}, "6")
	if f := p.b.Flasks[1]; f.AtWork() {
		t.Errorf("the outcome counts again, and the flask is at %q", f.Stage)
	}
}

// What a record says of places is held against the bench.
func TestPlacesOfAnUnload(t *testing.T) {
	p := inBath(t, 2)
	p.do(minute, open(2))
	for _, c := range []struct {
		places []int
		says   string
	}{
		{[]int{1, 2}, "place 2 is taken by flask 3 (case 4402)"},
		{[]int{1}, "places lists 1 and flasks 2"},
		{[]int{4, 4}, "places names 4 twice"},
		{[]int{1, 10}, "places must be 1 to 9"},
	} {
		_, err := p.tryAt(0, action.BathUnload{Flasks: []int{1, 2}, Places: c.places}, "4")
		var ask *bench.NeedsReason
		if err == nil || errors.As(err, &ask) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v, want %q", c.places, err, c.says)
		}
	}
	out := p.do(minute, action.BathUnload{Flasks: []int{1, 2}, Places: []int{0, 7}}, "4")
	if f, g := p.b.Flasks[1], p.b.Flasks[2]; f.Place != 0 || g.Place != 7 {
		t.Errorf("told none and 7: on %d and %d", f.Place, g.Place)
	}
	for of, set := range map[string]string{out: `{"places":[1,7]}`, "a3": `{"off_place":false}`} {
		if _, err := p.tryAt(0, action.Correct{Of: of, Set: []byte(set)}, "6"); err == nil {
			t.Errorf("%s of %s is taken", set, of)
		}
	}
}
