package door

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/check"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

func each(as []action.Action) iter.Seq2[action.Action, error] {
	return func(yield func(action.Action, error) bool) {
		for _, a := range as {
			if !yield(a, nil) {
				return
			}
		}
	}
}

// longAtDoor is a running bench that is given a long input, again and again.
type longAtDoor struct {
	t      *rapid.T
	dir    string
	ck     *simclock.Hand
	book   *logbook.Book
	stop   func()
	in     []action.Action
	part   int
	others []string // ids of what other screens were told is saved
	drawn  int
}

func (l *longAtDoor) path() string { return filepath.Join(l.dir, "b.db") }

// must ends the test over an error of what it stands on.
func (l *longAtDoor) must(err error) {
	if err != nil {
		l.t.Helper()
		l.t.Fatal(err)
	}
}

func (l *longAtDoor) begin() {
	var err error
	l.book, err = logbook.Open(l.path(), l.ck)
	l.must(err)
	l.stop, err = Serve(context.Background(), hubOf(l.book, l.ck))
	l.must(err)
}

func (l *longAtDoor) end() {
	l.stop()
	_ = l.book.Close() // once more in the end
}

// draw is something that may be told to a bench.
func (l *longAtDoor) draw(b *logbook.Book, name string) action.Action {
	l.drawn++
	var ids []string
	for _, it := range b.State().Bench.Items {
		ids = append(ids, it.Action.ID)
	}
	body := benchtest.Draw(l.t, b.State().Bench, b.Now(), ids)
	return action.Action{ID: fmt.Sprint(name, l.drawn), At: l.ck.Read().Wall, By: "KT", Why: "8", Body: body}
}

// records gives all that stands in the book.
func (l *longAtDoor) records() (out []record.Record) {
	l.must(l.book.Each(1, func(r record.Record) (bool, error) { out = append(out, r); return true, nil }))
	return out
}

// look holds the book against what must always be: what is in it of the input is its beginning, in
// order and once each; nobody else's record is lost; the bench is that of the records.
func (l *longAtDoor) look() (there int) {
	recs, seen := l.records(), map[string]bool{}
	for _, r := range recs {
		seen[r.Action.ID] = true
		if !strings.HasPrefix(r.Action.ID, "in-") {
			continue
		}
		if a := l.in[there]; a.ID != r.Action.ID || a.Kind() != r.Action.Kind() || !a.At.Equal(r.Action.At) {
			l.t.Fatalf("record %d is %s, want action %d, %s", r.Seq, r.Action.ID, there, a.ID)
		}
		there++
	}
	for _, id := range l.others {
		if !seen[id] {
			l.t.Fatalf("%s of another screen was saved and is not there", id)
		}
	}
	now := l.book.Now()
	if d := benchtest.Difference(benchtest.DumpWork(l.book.State().Bench, now), benchtest.DumpWork(bench.Fold(recs, bench.Counters{}), now)); d != "" {
		l.t.Fatalf("the bench is not that of its records: %s", d)
	}
	return there
}

// killed is the end of whoever hands the input over.
type killed struct{}

// give hands the input over once; between two parts others may do what they like.
func (l *longAtDoor) give(between func()) (told logbook.Long, err error, dead bool) { //nolint:revive // it is no function that failed
	c, err := Dial(l.path())
	l.must(err)
	c.part = l.part
	defer func() {
		switch p := recover().(type) {
		case nil:
		case killed:
			dead = true
		default:
			panic(p)
		}
	}()
	told, err = c.AppendLong(each(l.in), l.ck, func(done, of int) {
		if of > 0 && done < of {
			between()
		}
	})
	return told, err, false
}

// inMemory is a folder in the machine's memory, where there is one: what is asked here is not the disk.
func inMemory(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "flaskside-door-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) }) // it is in memory
	return dir
}

// A long input that is handed to a running bench in parts, while other screens record between
// them, the bench ends, or whoever hands it over is killed: whole parts of it are in the book,
// from its beginning on, each action once; nothing of others is lost; what is told is so; and the
// same input given again goes on from there. Where nobody disturbs it, it is recorded to its end.
func TestLongInputAtTheDoor(t *testing.T) {
	longrun.Checks(t, 40, 100)
	root, n := inMemory(t), 0
	parted, refused, whole := 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		l := &longAtDoor{t: rt, dir: filepath.Join(root, fmt.Sprint(n)), ck: simclock.At(start, "boot-1"), part: rapid.SampledFrom([]int{1, 3, 10, 64}).Draw(rt, "part")}
		l.must(os.Mkdir(l.dir, 0o700))
		defer func() { l.must(os.RemoveAll(l.dir)) }()
		scratch, err := logbook.Open(filepath.Join(l.dir, "scratch.db"), l.ck)
		l.must(err)
		for tries, most := 0, rapid.IntRange(1, 50).Draw(rt, "actions"); tries < 3*most && len(l.in) < most; tries++ {
			a := l.draw(scratch, "in-")
			if saved, err := scratch.Append(a); err == nil && saved.Action.ID == a.ID { // a second answer to an alarm has no record of its own
				l.in = append(l.in, a)
			}
			l.ck.Run(time.Duration(rapid.SampledFrom([]int{0, 10, 60, 900}).Draw(rt, "passes")) * time.Second)
		}
		l.must(scratch.Close())
		l.begin()
		defer l.end()
		had := rapid.IntRange(0, len(l.in)).Draw(rt, "there before")
		_, err = l.book.AppendAll(l.in[:had])
		l.must(err)
		for round := 0; ; round++ {
			before, disturbed, ended := l.look(), false, false
			told, err, dead := l.give(func() {
				if round > 1 {
					return
				}
				switch what := rapid.IntRange(0, 9).Draw(rt, "between"); {
				case what < 4:
					a := l.draw(l.book, "other-")
					if a.Kind() == (action.AlarmHeard{}).Kind() {
						break // the answer of the input would be the second, without a record
					}
					if _, err := l.book.Append(a); err == nil {
						l.others, disturbed = append(l.others, a.ID), true
					}
				case what == 8 && !ended:
					l.end()
					ended = true
				case what == 9:
					panic(killed{})
				}
			})
			if ended {
				l.begin()
			}
			there := l.look()
			if there < before || there != before && there != len(l.in) && there%l.part != 0 {
				rt.Fatalf("%d of %d actions are there after %d: no whole parts of %d", there, len(l.in), before, l.part)
			}
			var p *logbook.Parted
			var bad *logbook.BadLine
			switch {
			case dead:
				parted++
				continue
			case err == nil:
				if there != len(l.in) || told.Recorded != there-before || told.Repeated != before {
					rt.Fatalf("%+v is told of %d actions, %d of them there before and %d now", told, len(l.in), before, there)
				}
				whole++
			case errors.As(err, &p) && (p.Recorded > there || told.Recorded > 0 && p.Recorded != there):
				rt.Fatalf("%d are said to be there, %d are: %v", p.Recorded, there, err)
			case p == nil && (bad == nil && !errors.As(err, &bad) || told.Recorded > 0):
				rt.Fatalf("nothing is said of what is there: %+v, %v", told, err)
			case errors.As(err, &bad) && (bad.Index < there || p != nil && bad.Index >= there+l.part):
				rt.Fatalf("action %d is refused, and %d are there, in parts of %d: %v", bad.Index, there, l.part, err)
			case bad == nil && !ended:
				rt.Fatal(err)
			case p != nil && bad != nil && !disturbed:
				rt.Fatalf("nobody recorded beside it, and all of it was checked: %v", err)
			case bad != nil:
				refused++
				if round > 1 { // what others recorded stands against it
					break
				}
				continue
			default:
				parted++
				continue
			}
			break
		}
		head := l.book.State().Head
		l.end()
		rep, err := logbook.Verify(l.path(), check.Verifying{})
		if err != nil || len(rep.Faults) > 0 || rep.Head != head {
			rt.Fatalf("%v %v", err, rep.Faults)
		}
	})
	t.Logf("%d recorded to the end, %d refused for what others recorded, %d broken off", whole, refused, parted)
	if whole == 0 || refused == 0 || parted == 0 {
		t.Error("the test hardly tried")
	}
}

// What is refused on the copy is refused before anything is recorded, named by its place in the
// whole input; so is an input that cannot be read to its end.
func TestLongInputIsCheckedBeforeTheBenchHasIt(t *testing.T) {
	h := open(t)
	broken := errors.New("the pipe broke")
	as := h.timers("t", 25)
	for name, c := range map[string]struct {
		in    iter.Seq2[action.Action, error]
		index int
	}{
		"refused":    {each(append(slices.Clone(as), action.Action{ID: "x", At: start, By: "KT", Body: action.PressOpen{Flask: 4711}})), 25},
		"no body":    {each(append(slices.Clone(as), action.Action{ID: "x", At: start, By: "KT"})), 25},
		"broken off": {func(yield func(action.Action, error) bool) { _ = yield(as[0], nil) && yield(as[1], broken) }, 1},
	} {
		c2 := h.dial()
		c2.part = 10
		var bad *logbook.BadLine
		if told, err := c2.AppendLong(c.in, h.ck, nil); !errors.As(err, &bad) || bad.Index != c.index || told.Recorded != 0 {
			t.Errorf("%s: %+v, %v, want action %d named", name, told, err, c.index+1)
		}
		if got := h.book.State().Head.Seq; got != 0 {
			t.Errorf("%s: record %d is there", name, got)
		}
	}
}

// Two long inputs, keys and a screen at once: each is recorded to its end, in its own order, and all of
// it is one chain.
func TestLongInputsAtOnce(t *testing.T) {
	h := open(t)
	const each1 = 400
	n := longrun.Times(1, 8)
	done := make(chan error)
	for i := range 2 {
		go func() {
			c, err := Dial(h.path)
			if err == nil {
				c.part = 1 + rand.IntN(40)
				var told logbook.Long
				if told, err = c.AppendLong(each(h.timers(fmt.Sprint("in", i), each1*n)), h.ck, nil); err == nil && told.Recorded != each1*n {
					err = fmt.Errorf("%+v", told)
				}
			}
			done <- err
		}()
	}
	keys := 0
	for running := 2; running > 0; {
		select {
		case err := <-done:
			if running--; err != nil {
				t.Error(err)
			}
		default:
			if _, err := h.book.Append(h.timer(fmt.Sprint("key", keys))); err != nil {
				t.Fatal(err)
			}
			keys++
		}
	}
	next := map[string]int{}
	if err := h.book.Each(1, func(r record.Record) (bool, error) {
		who, no, ok := strings.Cut(r.Action.ID, "-")
		if ok {
			if no != fmt.Sprint(next[who]) {
				t.Errorf("record %d is %s, want number %d", r.Seq, r.Action.ID, next[who])
			}
			next[who]++
		}
		return true, nil
	}); err != nil {
		t.Fatal(err)
	}
	if got := h.book.State().Head.Seq; got != uint64(2*each1*n+keys) || next["in0"] != each1*n || next["in1"] != each1*n {
		t.Errorf("%d records, %v, %d keys", got, next, keys)
	}
	chain(t, h.book, logbook.Head{Hash: record.Genesis(h.book.ID())})
}
