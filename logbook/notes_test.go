package logbook

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// A book that lets go of old notes stands as the fold of all its records does, through bursts of notes, corrections
// and takings back of any of them, also in one long input: the same is shown, refused and offered to be undone.
func TestAnyNumberOfNotes(t *testing.T) {
	longrun.Checks(t, 12, 400)
	dir := inMemory(t)
	rapid.Check(t, func(rt *rapid.T) {
		path := bookIn(t, dir)
		ck := simclock.At(start, "boot-0")
		if rapid.Bool().Draw(rt, "newest format") {
			if err := makeNewest(path, ck); err != nil {
				rt.Fatal(err)
			}
		}
		b, err := Open(path, ck)
		if err != nil {
			rt.Fatal(err)
		}
		w := &noteWalk{walk{t: rt, ck: ck, b: b}}
		w.b.part = 20
		w.m.head = record.Genesis(b.ID())
		defer func() { _ = w.b.Close() }() // closed below when all went well
		w.say(false, action.FlaskOpen{Place: 1, Case: "4401", Base: "upper", Size: "medium"}, action.FlaskOpen{Place: 2, Case: "4402", Base: "upper", Size: "medium"},
			action.MixMake{Flasks: []int{1, 2}})
		for range rapid.IntRange(5, 25).Draw(rt, "steps") {
			w.ck.Run(time.Duration(rapid.IntRange(0, 90).Draw(rt, "passes")) * time.Second)
			w.step()
			w.held()
		}
		if err := w.b.Close(); err != nil {
			rt.Fatal(err)
		}
		if recs, faults := faultsOf(path); len(faults) > 0 || len(recs) != len(w.m.recs) {
			rt.Fatalf("%d records, want %d; faults %v", len(recs), len(w.m.recs), faults)
		}
		if rep, err := Verify(path, check.Verifying{}); err != nil || len(rep.Faults) > 0 {
			rt.Fatalf("verify: %v %v", rep.Faults, err)
		}
	})
}

type noteWalk struct{ walk }

// step does one thing, or many.
func (w *noteWalk) step() {
	switch rapid.IntRange(0, 9).Draw(w.t, "step") {
	case 0, 1, 2:
		var notes []action.Body
		for range rapid.SampledFrom([]int{1, 2, 10, 33, 70}).Draw(w.t, "notes") {
			notes = append(notes, w.note())
		}
		w.say(rapid.Bool().Draw(w.t, "long"), notes...)
	case 3:
		w.reopen()
		w.b.part = 20
	case 4:
		w.say(false, rapid.SampledFrom([]action.Body{action.Outcome{Flask: 1, Outcome: "remake"}, action.FlaskMove{Flask: 2, Place: 7}, action.Coat{Flask: 1, Half: "both"}, action.TimerStart{Label: "tea", Count: "up"}}).Draw(w.t, "work"))
	case 5: // notes, and what mends some of them, in one input
		var all []action.Body
		for range rapid.IntRange(1, 30).Draw(w.t, "mixed") {
			all = append(all, w.note(), w.amendment())
		}
		w.say(true, all...)
	default:
		w.say(false, w.amendment())
	}
}

func (w *noteWalk) note() action.Body {
	text := fmt.Sprint("note ", w.n)
	return rapid.SampledFrom([]action.Body{action.Note{Flask: 1, Text: text}, action.Note{Flask: 1, Text: text}, action.Note{Flask: 2, Text: text}, action.Note{Mix: 1, Text: text}}).Draw(w.t, "note")
}

// amendment mends or undoes any record, often one of the first or the last.
func (w *noteWalk) amendment() action.Body {
	r := w.m.recs[rapid.IntRange(0, len(w.m.recs)-1).Draw(w.t, "of")]
	if _, taken := r.Action.Body.(action.TakeBack); rapid.IntRange(0, 2).Draw(w.t, "undo") == 0 || taken {
		return action.TakeBack{Of: r.Action.ID}
	}
	set := `{"text":"as it should read"}`
	if _, note := r.Action.Body.(action.Note); !note || rapid.Bool().Draw(w.t, "time") {
		at := r.Stamp.At.Add(time.Duration(rapid.IntRange(-40, 40).Draw(w.t, "moved")) * time.Second)
		set = fmt.Sprintf(`{"at":%q}`, at.Format(time.RFC3339))
	}
	return action.Correct{Of: r.Action.ID, Set: json.RawMessage(set)}
}

// named is which record a refusal names, and how many: a book names those at hand.
var named = regexp.MustCompile(`\(record .*\)|(at least )?\d+ later`)

// say has people do things, all at once or none of them; the model goes on with the same.
func (w *noteWalk) say(long bool, bodies ...action.Body) {
	var as []action.Action
	by := rapid.SampledFrom([]string{"KT", "ML", "RS"}).Draw(w.t, "by")
	for _, body := range bodies {
		w.n++
		as = append(as, action.Action{ID: fmt.Sprint("a", w.n), At: w.ck.Read().Wall, By: by, Why: "1", Body: body})
	}
	keep, now := w.m, w.now()
	keep.recs = slices.Clone(keep.recs)
	var want error
	for i, a := range as {
		if _, err := w.m.add(a, now); err != nil {
			w.m, want = keep, &BadLine{i, err}
			break
		}
	}
	var err error
	if long {
		_, err = w.b.AppendLong(each(as))
	} else {
		_, err = w.b.AppendAll(as)
	}
	if got, want := named.ReplaceAllString(fmt.Sprint(err), ""), named.ReplaceAllString(fmt.Sprint(want), ""); got != want {
		w.t.Fatalf("%v: the book says %s, the model %s", bodies, got, want)
	}
}

// held holds the book against the model.
func (w *noteWalk) held() {
	if w.lastOfManyUndone() {
		w.t.Skip("a flask counts as touched by its latest note at hand")
	}
	w.compare()
	for _, by := range []string{"", "KT", "ML", "RS"} {
		model := w.m.bench()
		want, some := model.LastWork()
		got, ok := w.b.State().Bench.LastWork()
		if by != "" {
			want, some = model.LastWorkBy(by)
			got, ok = w.b.State().Bench.LastWorkBy(by)
		}
		if a, note := want.Body.(action.Note); !note || w.later(want) >= 5 || a.Flask > 0 && !model.Flasks[a.Flask].AtWork() {
			continue // of one's own no more than that need be in reach
		}
		if ok != some || got.Seq != want.Seq {
			w.t.Fatalf("undone would be record %d of %q, in the model %d", got.Seq, by, want.Seq)
		}
	}
	if most := 3*(bench.NotesShown+1) + 3*3*5 + 200; len(w.b.State().Bench.Items) > most {
		w.t.Fatalf("%d of %d records are at hand", len(w.b.State().Bench.Items), len(w.m.recs))
	}
}

// later counts the later notes of the same person about the same thing.
func (w *noteWalk) later(it bench.Item) (n int) {
	for _, r := range w.m.recs {
		if a, ok := r.Action.Body.(action.Note); ok && r.Seq > it.Seq && r.Action.By == it.Action.By && it.Action.Kind() == a.Kind() && slices.Equal(a.Subjects(), it.Body.Subjects()) {
			n++
		}
	}
	return n
}

// lastOfManyUndone tells whether of so many notes on a flask as are kept at hand none counts.
func (w *noteWalk) lastOfManyUndone() bool {
	count, counting := map[int]int{}, map[int]int{}
	for _, it := range slices.Backward(w.m.bench().Items) {
		if a, ok := it.Body.(action.Note); ok && count[a.Flask] <= bench.NotesShown {
			if count[a.Flask]++; it.TakenBack == nil {
				counting[a.Flask]++
			}
		}
	}
	for no, n := range count {
		if no > 0 && n > bench.NotesShown && counting[no] == 0 {
			return true
		}
	}
	return false
}

// In one input of more notes than a check keeps in mind, what it says of its own first notes is found, and of a flask that
// it finished long before.
func TestALongInputMendsItsOwnFirstNotes(t *testing.T) {
	t.Parallel()
	var as []action.Action
	say := func(id string, body action.Body) {
		as = append(as, action.Action{ID: id, At: start.Add(time.Duration(len(as)) * time.Second), By: "KT", Why: "1", Body: body})
	}
	say("open 1", action.FlaskOpen{Place: 1, Case: "4401", Base: "upper", Size: "medium"})
	say("open 2", action.FlaskOpen{Place: 2, Case: "4402", Base: "upper", Size: "medium"})
	say("coat 1", action.Coat{Flask: 1, Half: "both"})
	say("end 1", action.Outcome{Flask: 1, Outcome: "remake"})
	for i := range 9000 {
		if i == 100 {
			say("undo", action.TakeBack{Of: "note 6"})
		}
		say(fmt.Sprint("note ", i), action.Note{Flask: 2, Text: "dull"})
	}
	say("mend", action.Correct{Of: "note 5", Set: json.RawMessage(`{"text":"as it should read"}`)})
	say("undo undone", action.TakeBack{Of: "undo"})
	say("undo 7", action.TakeBack{Of: "note 7"})
	say("undo 7 undone", action.TakeBack{Of: "undo 7"})
	say("back 1", action.TakeBack{Of: "end 1"})
	ck := simclock.At(start.Add(4*time.Hour), "boot-1")
	path := filepath.Join(inMemory(t), "bench.db")
	b, err := Open(path, ck)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }() // closed below when all went well
	early := append(slices.Clip(as), action.Action{ID: "early", At: as[len(as)-1].At, By: "KT", Why: "1", Body: action.Correct{Of: "note 5", Set: json.RawMessage(`{"at":"2026-11-25T10:00:00+01:00"}`)}})
	if _, err := b.AppendLong(each(early)); err == nil || !named.MatchString(err.Error()) {
		t.Errorf("note 5 after note 6: %v", err)
	}
	if told, err := b.AppendLong(each(as)); err != nil || told.Recorded != len(as) {
		t.Fatalf("%d of %d recorded: %v", told.Recorded, len(as), err)
	}
	st := b.State()
	if f := st.Bench.OnPlace(1); f == nil || f.Stage != bench.Drying {
		t.Errorf("flask 1 is %+v", f)
	}
	if said, more := st.Bench.LatestNotes(action.Subject{Class: 'f', No: 2}); len(said) != bench.NotesShown || !more || len(st.Bench.Items) > 100 {
		t.Errorf("%d notes shown, more %v, %d records at hand", len(said), more, len(st.Bench.Items))
	}
	all, err := b.OneFlask(2)
	if err != nil {
		t.Fatal(err)
	}
	if said := all.NotesOn(action.Subject{Class: 'f', No: 2}); len(said) != 9000 || said[5].Text != "as it should read" {
		t.Errorf("%d notes, the sixth %q", len(said), said[5].Text)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if rep, err := Verify(path, check.Verifying{}); err != nil || len(rep.Faults) > 0 {
		t.Errorf("verify: %v %v", rep.Faults, err)
	}
}
