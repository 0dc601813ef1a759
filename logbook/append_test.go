package logbook

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/demo"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
)

func flaskOn(place int) action.FlaskOpen {
	return action.FlaskOpen{Place: place, Case: fmt.Sprint(4400 + place), Base: "upper", Size: "medium"}
}

// Saying the same thing twice is harmless; saying another under the same id is not.
func TestSameIDTwice(t *testing.T) {
	h := newHands(t)
	a := action.Action{ID: "mine", At: h.ck.Read().Wall, By: "KT", Body: flaskOn(1)}
	first, err := h.b.Append(a)
	if err != nil || first.Already || first.Seq != 1 {
		t.Fatalf("%+v, %v", first, err)
	}
	h.ck.Run(minute)
	again, err := h.b.Append(a)
	if err != nil || !again.Already || !bytes.Equal(again.Raw, first.Raw) || h.b.State().Head.Seq != 1 {
		t.Errorf("said again: %+v, %v", again, err)
	}
	twice, err := h.b.AppendAll([]action.Action{
		{ID: "mine", At: a.At, By: "KT", Body: flaskOn(1)},
		{ID: "two", At: h.ck.Read().Wall, By: "KT", Body: flaskOn(2)},
		{ID: "two", At: h.ck.Read().Wall, By: "KT", Body: flaskOn(2)},
	})
	if err != nil || len(twice) != 3 || !twice[0].Already || twice[1].Already || !twice[2].Already || twice[2].Seq != 2 || h.b.State().Head.Seq != 2 {
		t.Errorf("in one input: %+v, %v", twice, err)
	}
	for what, other := range map[string]action.Action{
		`that is "flask-open" and this is "inspect"`:                                   {ID: "mine", At: a.At, Body: action.Inspect{Flask: 1}, Why: "1"},
		"that is of 2026-11-25 08:00:00 +01:00 and this of 2026-11-25 08:00:01 +01:00": {ID: "mine", At: a.At.Add(second), Body: flaskOn(1)},
	} {
		refusedAsOther(t, h.b, other, what)
	}
}

// refusedAsOther says something else under an id of the first record.
func refusedAsOther(t *testing.T, b *Book, a action.Action, what string) {
	t.Helper()
	head := b.State().Head
	_, err := b.Append(a)
	if err == nil || b.State().Head != head || !strings.Contains(err.Error(), fmt.Sprintf(`the id %q is that of record `, a.ID)) ||
		!strings.Contains(err.Error(), `, which says something else: `+what+": give each action an id of its own") {
		t.Errorf("%s: %v", what, err)
	}
}

// An id that is used again with another body, another hand or another reason is refused,
// and not taken for something said twice.
func TestSameIDOtherContent(t *testing.T) {
	h := opened(t)
	said := action.Action{ID: "out", At: h.ck.Read().Wall, By: "KT", Body: action.Outcome{Flask: 1, Outcome: "remake", Defects: []string{"porosity"}}, Why: "4"}
	if _, err := h.b.Append(said); err != nil {
		t.Fatal(err)
	}
	if s, err := h.b.Append(said); err != nil || !s.Already {
		t.Errorf("said again: %+v, %v", s, err)
	}
	other := func(change func(a *action.Action)) action.Action { a := said; change(&a); return a }
	refusedAsOther(t, h.b, other(func(a *action.Action) { a.By = "MR" }), `that is by "KT" and this by "MR"`)
	refusedAsOther(t, h.b, other(func(a *action.Action) { a.Why = "5" }), "they give different reasons")
	refusedAsOther(t, h.b, other(func(a *action.Action) {
		a.Body = action.Outcome{Flask: 1, Outcome: "adjusted", Defects: []string{"porosity"}}
	}), "they differ in outcome")
	refusedAsOther(t, h.b, other(func(a *action.Action) {
		a.Body = action.Outcome{Flask: 1, Outcome: "remake", Defects: []string{"crazing"}}
	}), "they differ in defects")
	refusedAsOther(t, h.b, other(func(a *action.Action) { a.Body = action.Outcome{Flask: 1, Outcome: "remake"} }), "they differ in defects")
	refusedAsOther(t, h.b, other(func(a *action.Action) {
		a.Body = action.Outcome{Flask: 2, Outcome: "remake", Defects: []string{"porosity"}}
	}), "they differ in flask")
}

// Every action of a shift can be said again as it was said first, whatever was filled in
// when it was recorded.
func TestEverythingCanBeSaidAgain(t *testing.T) {
	b := shift(t)
	open := start.Add(15 * time.Hour)
	for i, s := range demo.Shift() {
		a := s.Action(i, open)
		if again, err := b.Append(a); err != nil || !again.Already {
			t.Errorf("step %d, %s: %v", i, a.Kind(), err)
		}
	}
}

const second = time.Second

// Several actions are recorded together or not at all, and the first bad one is
// named.
func TestAllOrNothing(t *testing.T) {
	h := newHands(t)
	at := h.ck.Read().Wall
	as := []action.Action{
		{ID: "1", At: at, Body: flaskOn(1)},
		{ID: "2", At: at, Body: action.Coat{Flask: 1, Half: "both"}},
		{ID: "3", At: at, Body: flaskOn(1)},
		{ID: "4", At: at, Body: flaskOn(11)},
	}
	_, err := h.b.AppendAll(as)
	var bad *BadLine
	if !errors.As(err, &bad) || bad.Index != 2 || !strings.HasPrefix(err.Error(), "action 3: place 1 is taken by flask 1") {
		t.Errorf("%v, want the third named", err)
	}
	if st := h.b.State(); st.Head.Seq != 0 || len(st.Bench.Flasks) != 0 {
		t.Errorf("something of it was taken: %+v", st.Head)
	}
	// One alone is refused in its own words.
	if _, err := h.b.Append(as[3]); err == nil || errors.As(err, &bad) || !strings.HasPrefix(err.Error(), "place must be 1 to 9") {
		t.Errorf("one alone: %v", err)
	}
	got, err := h.b.AppendAll(as[:2])
	if err != nil || len(got) != 2 || got[1].Prev != got[0].Hash() || h.b.State().Bench.Flasks[1].Stage != bench.Drying {
		t.Errorf("the good ones: %+v, %v", got, err)
	}
	if got, err := h.b.AppendAll(nil); err != nil || len(got) != 0 {
		t.Errorf("nothing to record: %v, %v", got, err)
	}
}

// A long input in one transaction gives the same book as the same actions one by one.
func TestLongInput(t *testing.T) {
	t.Parallel()
	one, all := newHands(t), newHands(t)
	var as []action.Action
	s := newBusy(one.b, one.ck, 3)
	for range 300 {
		a := s.next()
		got, err := one.b.Append(a)
		if err != nil {
			t.Fatalf("%s: %v", a.Kind(), err)
		}
		as = append(as, got.Action)
	}
	all.ck.Run(one.ck.Read().Wall.Sub(start))
	got, err := all.b.AppendAll(as)
	if err != nil || len(got) != len(as) {
		t.Fatalf("%d of %d, %v", len(got), len(as), err)
	}
	a, b := one.b.State().Bench, all.b.State().Bench
	if fmt.Sprint(a.Places) != fmt.Sprint(b.Places) || a.Top != b.Top {
		t.Errorf("places %v and %v, counters %+v and %+v", a.Places, b.Places, a.Top, b.Top)
	}
	for p := 1; p <= 9; p++ {
		f, g := a.OnPlace(p), b.OnPlace(p)
		if (f == nil) != (g == nil) || f != nil && (f.Stage != g.Stage || len(f.Trials) != len(g.Trials) || f.Case != g.Case) {
			t.Errorf("place %d: %+v and %+v", p, f, g)
		}
	}
}

// Many write and read at once; every record is there once, in one chain, and whoever
// listens hears of each state in order.
func TestManyAtOnce(t *testing.T) {
	h := newHands(t)
	var heard []uint64
	h.b.OnChange(func(s Snapshot) { heard = append(heard, s.Head.Seq) })
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Go(func() {
			for i := range 15 {
				a := action.Action{ID: fmt.Sprintf("%d-%d", w, i), At: h.ck.Read().Wall, Body: action.TimerStart{Label: "x", Count: "up"}}
				s, err := h.b.Append(a)
				if err != nil {
					t.Error(err)
					return
				}
				if _, ok, err := h.b.ByID(a.ID); !ok || err != nil {
					t.Errorf("%s is saved and not found: %v", a.ID, err)
				}
				if st := h.b.State(); st.Head.Seq < s.Seq || len(st.Bench.Windows()) < int(s.Seq) {
					t.Errorf("record %d is saved and the bench stands at %d with %d windows", s.Seq, st.Head.Seq, len(st.Bench.Windows()))
				}
				if err := h.b.Beat(); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if len(heard) != 120 {
		t.Errorf("heard of %d states, want 120", len(heard))
	}
	for i, seq := range heard {
		if seq != uint64(i+1) {
			t.Fatalf("heard of record %d where %d should come", seq, i+1)
		}
	}
}

// A state that was handed out never changes.
func TestStateStands(t *testing.T) {
	h := newHands(t)
	h.do(0, flaskOn(1))
	st := h.b.State()
	before := fmt.Sprintf("%+v %+v", st.Head, *st.Bench.Flasks[1])
	for range 40 {
		h.do(minute, action.Note{Flask: 1, Text: "x"})
	}
	if after := fmt.Sprintf("%+v %+v", st.Head, *st.Bench.Flasks[1]); after != before {
		t.Errorf("a state handed out became\n%s\nfrom\n%s", after, before)
	}
}

func TestReadingOnly(t *testing.T) {
	h := newHands(t)
	h.do(0, flaskOn(1))
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	was, err := os.ReadFile(h.b.Path())
	if err != nil {
		t.Fatal(err)
	}
	b, err := OpenReading(h.b.Path(), h.ck)
	if err != nil {
		t.Fatal(err)
	}
	if b.State().Bench.Places[1] != 1 {
		t.Error("the bench is not there to read")
	}
	if _, err := b.Append(action.Action{ID: "x", At: h.ck.Read().Wall, Body: flaskOn(2)}); err == nil || err.Error() != "the logbook is open for reading only" {
		t.Errorf("written to: %v", err)
	}
	if err := b.Beat(); err != nil {
		t.Errorf("a sign of life of one who reads: %v", err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	if is, err := os.ReadFile(h.b.Path()); err != nil || !bytes.Equal(is, was) {
		t.Errorf("reading changed the book (%v)", err)
	}
}

// Each, Of and ByID give what was recorded, in order.
func TestReading(t *testing.T) {
	h := newHands(t)
	h.route()
	n := h.b.State().Head.Seq
	var seen []uint64
	err := h.b.Each(5, func(r record.Record) (bool, error) { seen = append(seen, r.Seq); return r.Seq < 9, nil })
	if err != nil || fmt.Sprint(seen) != "[5 6 7 8 9]" {
		t.Errorf("from 5 while below 9: %v, %v", seen, err)
	}
	stop := errors.New("stop")
	if err := h.b.Each(1, func(record.Record) (bool, error) { return true, stop }); !errors.Is(err, stop) {
		t.Errorf("the error of the one who reads is lost: %v", err)
	}
	of, err := h.b.Of(action.Subject{Class: 'f', No: 1})
	if err != nil || uint64(len(of)) != n {
		t.Errorf("%d of %d records are about the only flask, its mix and its load (%v)", len(of), n, err)
	}
	for i := 1; i < len(of); i++ {
		if of[i].Seq <= of[i-1].Seq {
			t.Errorf("record %d before %d", of[i-1].Seq, of[i].Seq)
		}
	}
	if of, err = h.b.Of(action.Subject{Class: 'f', No: 2}); err != nil || len(of) != 0 {
		t.Errorf("%d records about a flask that never was (%v)", len(of), err)
	}
	if _, ok, err := h.b.ByID("none"); ok || err != nil {
		t.Errorf("an id that never was: %v, %v", ok, err)
	}
}

// A snapshot is a whole book by itself, as of its moment.
func TestSnapshot(t *testing.T) {
	h := newHands(t)
	h.route()
	want := h.b.State().Head
	path := filepath.Join(t.TempDir(), "copy.db")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.b.Snapshot(f); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	h.do(minute, action.Outcome{Flask: 1, Outcome: "finished here"})
	wholeBook(t, path)
	b, err := Open(path, h.ck)
	if err != nil {
		t.Fatal(err)
	}
	if b.State().Head != want || b.State().Bench.Places[1] != 1 {
		t.Errorf("the copy stands at %v, want %v", b.State().Head, want)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
}

// After closing nothing is taken and nothing is harmed.
func TestClosed(t *testing.T) {
	h := newHands(t)
	h.do(0, flaskOn(1))
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	if err := h.b.Close(); err == nil {
		t.Error("closed twice without a word")
	}
	if _, err := h.b.Append(action.Action{ID: "x", At: h.ck.Read().Wall, Body: flaskOn(2)}); !errors.Is(err, ErrUnknown) {
		t.Errorf("written to after closing: %v", err)
	}
	if err := h.b.Beat(); err != nil {
		t.Errorf("a sign of life after closing: %v", err)
	}
	if _, _, err := h.b.ByID("a0001"); err == nil || errors.Is(err, ErrDamaged) {
		t.Errorf("read after closing: %v", err)
	}
}

// The last sign of life is that of the run before, and bounds what a clock set back
// can say.
// A bench that says something else than its records is made anew from them at the next
// sign of life, and that is told once.
func TestBenchIsMadeAnewAtTheBeat(t *testing.T) {
	h := opened(t)
	said := troubles(h.b)
	h.notes(3)
	want := h.b.State().Bench
	wrong := *want
	wrong.Crew = "ZZ"
	heard := 0
	h.b.OnChange(func(s Snapshot) { heard++ })
	st := h.b.State()
	st.Bench = &wrong
	h.b.state.Store(&st)
	for range 2 {
		if err := h.b.Beat(); err != nil {
			t.Fatal(err)
		}
		if got := h.b.State(); !got.Bench.Same(want) || got.Head != st.Head || heard != 1 {
			t.Fatalf("crew %q after a sign of life, told %d times", got.Bench.Crew, heard)
		}
	}
	if len(*said) != 1 || !strings.Contains((*said)[0], "made anew from them") {
		t.Errorf("told: %q", *said)
	}
}

func TestBeatAcrossRuns(t *testing.T) {
	h := newHands(t)
	h.do(0, flaskOn(1))
	h.do(0, action.Coat{Flask: 1, Half: "both"})
	h.ck.Run(8 * minute)
	if err := h.b.Close(); err != nil { // the last sign of life: 8 min after the coat
		t.Fatal(err)
	}
	h.ck.Reboot(minute, "boot-2")
	h.ck.Step(-time.Hour)
	b, err := Open(h.b.Path(), h.ck)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }() // nothing is written
	if beat := b.State().Beat; beat.BootID != "boot-1" || beat.Boot != time.Hour+8*minute {
		t.Errorf("the sign of life before is %+v", beat)
	}
	if err := b.Beat(); err != nil {
		t.Fatal(err)
	}
	for i, w := range b.State().Bench.Windows() {
		st := w.Stand(b.Now())
		if want := 8*minute + 20*second; st.For != want || !st.ClockBack || !st.Estimated {
			t.Errorf("window %d: %+v, want %v by what the boots prove", i, st.Passed, want)
		}
	}
}

// Of two programs that begin at the same moment, where there is no book yet, one gets
// it and the other is told so.
func TestMadeByTwo(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "bench.db")
	lines := make(chan string, 2)
	for range 2 {
		c := spawn(t, "hold", path, 0)
		in, err := c.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		go func() {
			line, _ := bufio.NewReader(out).ReadString('\n') // a child that says nothing says ""
			lines <- line
		}()
		t.Cleanup(func() {
			_ = in.Close()
			_ = c.Wait() // one of them ends with an error
			if !t.Failed() {
				wholeBook(t, path)
			}
		})
	}
	a, b := <-lines, <-lines
	if b == "open\n" {
		a, b = b, a
	}
	if a != "open\n" || !strings.HasPrefix(b, "error the logbook is in use: "+path) {
		t.Errorf("one says %q, the other %q", a, b)
	}
	if left, err := filepath.Glob(path + ".new*"); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
}

// The list of live records is pruned now and then: at those times it holds what the
// bench rests on and nothing else, in between it is that of the bench shown.
func TestLiveListStaysShort(t *testing.T) {
	h := newHands(t)
	s := newBusy(h.b, h.ck, 5)
	idle, finished := 0, 0
	for range longrun.Times(8, 12) * pruneEvery {
		if _, err := h.b.Append(s.next()); err != nil {
			t.Fatal(err)
		}
		st := h.b.State()
		dead := len(st.Bench.Items) - len(st.Bench.Living())
		if idle = max(idle, dead); st.Head.Seq%pruneEvery == 0 && dead > 0 {
			t.Errorf("record %d: %d records that nothing rests on", st.Head.Seq, dead)
		}
		finished = st.Bench.Top.Flask - len(st.Bench.Flasks)
		stored := 0
		if err := h.b.view(func(tx *bolt.Tx) error { stored = tx.Bucket(layout.Live).Stats().KeyN; return nil }); err != nil {
			t.Fatal(err)
		}
		if stored != len(st.Bench.Items) {
			t.Fatalf("record %d: the list has %d, the bench %d", st.Head.Seq, stored, len(st.Bench.Items))
		}
	}
	t.Logf("%d flasks gone, at most %d records that nothing rests on", finished, idle)
	if idle == 0 || finished == 0 {
		t.Error("nothing was left to prune")
	}
}
